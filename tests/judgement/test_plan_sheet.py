"""Planned watts of feed ports for the legs as they stand, held against the worked example of the ferry terminal."""

from __future__ import annotations

import pytest
from tests.powerflow.sites import ferry_terminal

from portdraw.judgement.assessment import Carrying
from portdraw.judgement.plan_sheet import PlanSheet, plan_now, plan_sheet
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


def test_what_a_sheet_keeps_is_what_a_fresh_one_works_out() -> None:
    """Night, day and night again, with legs that change in between; each beside a sheet that has kept nothing yet."""
    site = ferry_terminal()
    tree = Tree(site)
    used = plan_sheet(site, tree)
    states = [dict.fromkeys(site.units, carrying) for carrying in (Carrying.NONE, Carrying.ALL)]
    states += [states[0] | {"north-pier": Carrying.PART}, {}, states[0]]
    seen = set()
    for feeds in states:
        for case in (Case.NIGHT, Case.TYPICAL, Case.FROST_NIGHT, Case.NIGHT):
            fresh = PlanSheet(site, used.watts, used.facts)
            plans = plan_now(used, tree, feeds, case)
            assert plans == plan_now(fresh, tree, feeds, case)
            seen.add(tuple(plans.values()))
    assert len(seen) > len(states)


def test_the_first_plan_is_that_with_every_feed_spare() -> None:
    site = ferry_terminal()
    tree = Tree(site)
    sheet = plan_sheet(site, tree)
    spare = dict.fromkeys(site.units, Carrying.NONE)
    for case in (Case.NIGHT, Case.TYPICAL):
        assert sheet.first_plan(case) == plan_now(sheet, tree, spare, case)
