"""Planned watts of feed ports for the legs as they stand, held against the worked example of the ferry terminal."""

from __future__ import annotations

import pytest
from tests.powerflow.sites import ferry_terminal

from portdraw.judgement.assessment import Carrying
from portdraw.judgement.plan_sheet import plan_now, plan_sheet
from portdraw.plan.load_case import Case
from portdraw.plan.tree import Tree

# Worked example of the ferry terminal (second solver): watts at the feeder in a frost night, all local AC lost.
NORTH_PIER_ON_FEED_W = 76.4
BREAKWATER_ON_FEED_W = 20.7


@pytest.mark.parametrize("breakwater", [Carrying.ALL, Carrying.NONE, Carrying.UNKNOWN])
def test_the_largest_case_of_a_feed_that_carries_has_every_unit_below_on_its_feed(breakwater: Carrying) -> None:
    site = ferry_terminal()
    tree = Tree(site)
    feeds = dict.fromkeys(site.units, Carrying.NONE) | {"north-pier": Carrying.ALL, "breakwater": breakwater}
    plan = plan_now(plan_sheet(site, tree), tree, feeds, Case.TYPICAL)["core", "1"]
    assert plan.max_w == pytest.approx(NORTH_PIER_ON_FEED_W, abs=0.05)
    assert plan.now_w is not None
    assert plan.max_w is not None
    assert plan.now_w < plan.max_w


def test_a_feed_of_which_nothing_is_known_may_be_as_large_as_the_unit_below_it() -> None:
    site = ferry_terminal()
    tree = Tree(site)
    plans = plan_now(plan_sheet(site, tree), tree, {}, Case.TYPICAL)
    spare_w, largest_w = plans["north-pier", "6"].now_w, plans["north-pier", "6"].max_w
    assert largest_w == pytest.approx(BREAKWATER_ON_FEED_W, abs=0.05)
    assert spare_w is not None
    assert spare_w < 2.0  # held at 1.3 W at the device, plus cable
