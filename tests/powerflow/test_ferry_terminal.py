"""The worked example of the ferry terminal, figure by figure, to the printed digit."""

from __future__ import annotations

import pytest
from tests.powerflow.balance import check_balance
from tests.powerflow.sites import LOST_LOCAL_AC, ferry_terminal
from tests.references.reference_table import rows

from portdraw.plan.class_grant import class_watts_at_pd
from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.powerflow.planned_device import planned_draws
from portdraw.powerflow.port_power import planned_port_w
from portdraw.powerflow.roll_up import roll_up
from portdraw.powerflow.two_legs import (
    budget_on_ac_w,
    budget_on_feed_w,
    feed_class,
    feeder_w,
    on_ac_w,
    standby_feeder_w,
)
from portdraw.powerflow.unit_flow import CarriedBy, UnitFlow

SITE = ferry_terminal()
TREE = Tree(SITE)
ALL_AC = frozenset(SITE.circuits)


def planned(case: Case, lost: frozenset[str] = frozenset(), site: Site = SITE) -> dict[str, UnitFlow]:
    """The roll-up of the plan, with its balance checked."""
    flows = roll_up(site, Tree(site), planned_draws(site, case).by_port(), lost)
    check_balance(site, flows, case)
    assert all(flow.complete and not flow.reasons and not flow.assumed for flow in flows.values())
    return flows


def printed(value: float, like: str) -> str:
    """A value with as many decimals as the printed figure has."""
    return f"{value:.{len(like.partition('.')[2])}f}"


@pytest.mark.parametrize("row", [pytest.param(row, id=row["unit"]) for row in rows("ferry_terminal_units.csv")])
def test_unit_table_on_a_frost_night(row: dict[str, str]) -> None:
    name = row["unit"]
    on_ac, on_feed = planned(Case.FROST_NIGHT)[name], planned(Case.FROST_NIGHT, LOST_LOCAL_AC)[name]
    granted = feed_class(SITE, TREE, name)
    assert (on_ac.leg, on_feed.leg) == (CarriedBy.AC, CarriedBy.FEED)
    assert granted is not None
    assert on_feed.feeder_w is not None
    assert on_feed.feed_pd_v is not None
    found = {
        "unit": name,
        "out_w": printed(on_ac.outputs_w, row["out_w"]),
        "budget_w": printed(on_ac.budget_w, row["budget_w"]),
        "ac_w": printed(on_ac.ac_w, row["ac_w"]),
        "feed_pd_w": printed(on_feed.feed_pd_w, row["feed_pd_w"]),
        "class_pd_w": printed(class_watts_at_pd(granted), row["class_pd_w"]),
        "fed_budget_w": printed(on_feed.budget_w, row["fed_budget_w"]),
        "asked_w": printed(on_feed.outputs_w, row["asked_w"]),
        "pd_v": printed(on_feed.feed_pd_v, row["pd_v"]),
        "loss_w": printed(on_feed.feed_loss_w, row["loss_w"]),
        "feeder_w": printed(on_feed.feeder_w, row["feeder_w"]),
    }
    assert found == row


@pytest.mark.parametrize("row", [pytest.param(row, id=row["case"]) for row in rows("ferry_terminal_core.csv")])
def test_core_and_ups_in_each_case(row: dict[str, str]) -> None:
    normal, lost = planned(Case(row["case"])), planned(Case(row["case"]), LOST_LOCAL_AC)
    normal_w, lost_w, budget_w = normal["core"].outputs_w, lost["core"].outputs_w, normal["core"].budget_w
    assert budget_w == 440
    assert printed(normal_w, "0.0") == row["normal_w"]
    assert printed(100 * normal_w / budget_w, "0") == row["normal_percent"]
    assert printed(lost_w, "0.0") == row["all_lost_w"]
    assert printed(100 * lost_w / budget_w, "0") == row["all_lost_percent"]
    assert printed(max(0.0, lost_w - budget_w), "0.0") == row["short_w"]


@pytest.mark.parametrize("case", [Case.TYPICAL, Case.NIGHT, Case.FROST_NIGHT])
def test_the_ups_carries_on_without_its_input(case: Case) -> None:
    # the core hangs on UPS-A, whose input hall-1 is AC without a generator: nothing changes at the core's ports
    assert planned(case, ALL_AC)["core"] == planned(case, LOST_LOCAL_AC)["core"]
    flows = planned(case, frozenset({"hall-1"}))
    assert flows["core"].powered


def test_printed_balance_of_the_frost_night() -> None:
    # 562.181 W at the core's ports, the parts as printed; the core's own use and supplies lie above its ports
    row = rows("ferry_terminal_balance.csv")[0]
    flows = planned(Case.FROST_NIGHT, LOST_LOCAL_AC)
    found = check_balance(SITE, flows, Case.FROST_NIGHT)
    assert found.standby_w == 0.0
    assert printed(flows["core"].outputs_w, row["core_outputs_w"]) == row["core_outputs_w"]
    assert printed(found.devices_w, row["devices_w"]) == row["devices_w"]
    assert printed(found.cables_w, row["cables_w"]) == row["cables_w"]
    assert printed(found.own_use_w - 38, row["own_use_w"]) == row["own_use_w"]
    assert printed(found.conversion_w - found.core_conversion_w, row["conversion_w"]) == row["conversion_w"]


def test_the_ptz_at_its_port() -> None:
    # worked example: the ptz of 30 W asks 30.6 W at a port with a limit of 45 W
    assert printed(planned_port_w(SITE, TREE, "berth-2", "1", Case.FROST_NIGHT).pse_w or 0.0, "0.0") == "30.5"
    assert printed(planned_port_w(SITE, TREE, "berth-1", "1", Case.FROST_NIGHT).pse_w or 0.0, "0.0") == "30.6"


@pytest.mark.parametrize("name", [name for name in SITE.units if name != "core"])
def test_the_two_legs_say_what_the_roll_up_says(name: str) -> None:
    on_ac, on_feed = planned(Case.NIGHT)[name], planned(Case.NIGHT, LOST_LOCAL_AC)[name]
    unit = SITE.units[name]
    feeder = TREE.feeder_of(name)
    assert feeder is not None
    assert on_ac_w(unit, on_ac.outputs_w) == on_ac.ac_w
    assert budget_on_ac_w(unit) == on_ac.budget_w
    assert feeder_w(SITE, TREE, name, on_feed.outputs_w) == on_feed.feeder_w
    assert standby_feeder_w(SITE, TREE, name) == on_ac.feeder_w
    assert budget_on_feed_w(SITE, TREE, name) == on_feed.budget_w
    assert planned_port_w(SITE, TREE, *feeder, Case.NIGHT).pse_w == on_ac.feeder_w
