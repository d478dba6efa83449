"""The roll-up in its other states: live draws, no second leg, undeclared legs, followed input, rings."""

from __future__ import annotations

from typing import Any

import pytest
from tests.powerflow.balance import check_balance, port_watts
from tests.powerflow.sites import LOST_LOCAL_AC, device, feed, ferry_terminal, site, unit

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.powerflow.planned_device import planned_draws
from portdraw.powerflow.port_link import port_link
from portdraw.powerflow.port_power import planned_port_w
from portdraw.powerflow.roll_up import roll_up
from portdraw.powerflow.unit_flow import CarriedBy, UnitFlow

SIDE = frozenset({"side"})


def two_units(low: dict[str, Any] | None = None, **more: Any) -> Site:
    """A top switch on main that feeds a lower one on side."""
    below = {"1": device("cam-1", 30), "2": device("cam-2", 60)}
    return site(
        {
            "top": unit("main", {"1": feed("low"), "2": device("cam-0", 20)}, fed=None),
            "low": {**unit("side", below), **(low or {})},
        },
        **more,
    )


def planned(found: Site, lost: frozenset[str] = frozenset()) -> dict[str, UnitFlow]:
    """The plan's noon."""
    return roll_up(found, Tree(found), planned_draws(found, Case.TYPICAL).by_port(), lost)


def fed(**more: Any) -> dict[str, Any]:
    """A unit's feed, all declared but for what is given."""
    whole: dict[str, Any] = {
        "prefers": "ac",
        "spare_feed": "held",
        "standby_w": 1.3,
        "efficiency": 0.92,
        "output": "boosted",
        "on_transfer": "sheds-in-time",
    }
    return {"fed": {key: value for key, value in {**whole, **more}.items() if value is not None}}


def test_live_draws_replace_the_plan_and_the_rest_is_named() -> None:
    found = ferry_terminal()
    live = {("waiting-room", "4"): 21.0, ("waiting-room", "8"): 6.5, ("core", "7"): 55.0, ("nobody", "1"): 9.0}
    flows = roll_up(found, Tree(found), live, LOST_LOCAL_AC, Case.NIGHT)
    plan = roll_up(found, Tree(found), planned_draws(found, Case.NIGHT).by_port(), LOST_LOCAL_AC)
    sign_w = planned_port_w(found, Tree(found), "waiting-room", "4", Case.NIGHT).pse_w
    assert sign_w is not None
    # the sign as read, and the device on port 8 that nobody planned; the feed's own reading is not used
    assert flows["waiting-room"].outputs_w == pytest.approx(plan["waiting-room"].outputs_w - sign_w + 21.0 + 6.5)
    assert len(flows["waiting-room"].assumed) == 4
    assert flows["waiting-room"].assumed[0].startswith("waiting-room port 1: no reading, ")
    assert all("port 4:" not in line and "port 8:" not in line for line in flows["waiting-room"].assumed)
    assert flows["core"].outputs_w > plan["core"].outputs_w


def test_a_unit_without_a_second_leg_is_dark_and_takes_nothing() -> None:
    found = two_units()
    flows = planned(found, frozenset({"main"}))
    assert (flows["top"].powered, flows["top"].leg, flows["top"].outputs_w) == (False, CarriedBy.NONE, 0.0)
    # the lower unit stands on its own AC, and its feed is gone: no standby either
    assert (flows["low"].leg, flows["low"].feeder_w, flows["low"].feeds_w) == (CarriedBy.AC, 0.0, {})
    both = planned(found, frozenset({"main", "side"}))
    assert not both["low"].powered
    check_balance(found, flows, Case.TYPICAL)
    check_balance(found, both, Case.TYPICAL)


def test_a_port_that_is_planned_off_feeds_nobody() -> None:
    found = site(
        {"top": unit("main", {"1": feed("low", off=True)}, fed=None), "low": unit("side", {"1": device("cam")})}
    )
    assert planned(found)["top"].outputs_w == 0.0
    assert not planned(found, SIDE)["low"].powered


@pytest.mark.parametrize("prefers", [None, "higher-voltage", "shared"])
def test_an_unknown_preference_counts_both_legs(prefers: str | None) -> None:
    either = planned(two_units(fed(prefers=prefers)))["low"]
    on_ac = planned(two_units(fed(prefers="ac")))["low"]
    on_feed = planned(two_units(fed(prefers="feed")))["low"]
    assert either.leg is CarriedBy.EITHER
    assert (on_ac.leg, on_feed.leg) == (CarriedBy.AC, CarriedBy.FEED)
    assert (either.ac_w, either.feeder_w) == (on_ac.ac_w, on_feed.feeder_w)
    assert either.budget_w == min(on_ac.budget_w, on_feed.budget_w)
    assert any("both legs counted in full" in line for line in either.assumed)


def test_a_hidden_spare_feed_takes_nothing_until_it_carries() -> None:
    found = two_units(fed(spare_feed="hidden", standby_w=None))
    assert planned(found)["low"].feeder_w == 0.0
    assert (planned(found, SIDE)["low"].feeder_w or 0.0) > 20


def test_ports_that_follow_the_input() -> None:
    # worked example: at 47.7 V a 25.5 W device 90 m away has 42.0 V, under its 42.5 V, though on AC it had 49.1 V
    found = ferry_terminal()
    north = found.units["north-pier"]
    assert north.fed is not None
    ports = {**north.ports, "7": north.ports["3"].model_copy(update={"device": "lamp", "typical_w": 25.5})}
    camera_cable = ports["7"].cable
    assert camera_cable is not None
    ports["7"] = ports["7"].model_copy(update={"cable": camera_cable.model_copy(update={"length_m": 90})})
    follows = north.fed.model_copy(update={"output": "follows-input"})

    def with_ports(kept: dict[str, Any]) -> Site:
        unit_model = north.model_copy(update={"fed": follows, "ports": kept})
        return found.model_copy(update={"units": {**found.units, "north-pier": unit_model}})

    ohm = 0.0938 * 90 * 1.09825 + 0.2
    # on AC its ports have the declared 54 V
    on_ac = planned_port_w(with_ports(ports), Tree(found), "north-pier", "7", Case.TYPICAL)
    assert f"{on_ac.pd_v:.1f}" == "49.1"
    # on feed with the frost night's 56.1 W the input falls to 47.7 V and the ports with it: their cables lose more
    case = Case.FROST_NIGHT
    same = with_ports(dict(north.ports))
    boosted = roll_up(found, Tree(found), planned_draws(found, case).by_port(), LOST_LOCAL_AC)["north-pier"]
    flow = roll_up(same, Tree(same), planned_draws(same, case).by_port(), LOST_LOCAL_AC)["north-pier"]
    assert f"{boosted.feed_pd_v:.1f}" == "47.7"
    assert flow.feed_pd_v is not None
    assert boosted.feed_pd_v is not None
    assert flow.outputs_w > boosted.outputs_w
    assert flow.feed_pd_v < boosted.feed_pd_v
    # the lamp at that voltage, by the printed figures, and refused in words
    lamp = port_link(with_ports(ports), "north-pier", "7").at_voltage(boosted.feed_pd_v).carry(25.5)
    assert f"{lamp.pd_v:.1f}" == "42.0"
    assert lamp.reason == "north-pier port 7: 42.0 V at the device, below its minimum of 42.5 V"
    # in the roll-up: two such lamps pull the input, and so each other, below it
    both = {"7": ports["7"], "8": ports["7"].model_copy(update={"device": "lamp-2"})}
    dim_site = with_ports(both)
    dim = roll_up(dim_site, Tree(dim_site), planned_draws(dim_site, Case.TYPICAL).by_port(), LOST_LOCAL_AC)[
        "north-pier"
    ]
    assert dim.feed_pd_v is not None
    at_lamp_v = dim.feed_pd_v - port_watts(25.5, dim.feed_pd_v, ohm) / dim.feed_pd_v * ohm
    assert dim.reasons == (
        f"north-pier port 7: {at_lamp_v:.1f} V at the device, below its minimum of 42.5 V",
        f"north-pier port 8: {at_lamp_v:.1f} V at the device, below its minimum of 42.5 V",
    )
    assert dim.complete  # the watts are known, the lamps are dark


def test_followed_input_settles_where_every_voltage_agrees() -> None:
    # solved apart by bisection: the sweep's end must satisfy every cable's own equation
    found = two_units(fed(output="follows-input"))
    flow = planned(found, SIDE)["low"]
    assert flow.feed_pd_v is not None
    assert flow.feeder_w is not None
    outputs_w = sum(port_watts(10, flow.feed_pd_v, 0.0938 * length_m * 1.09825 + 0.2) for length_m in (30, 60))
    assert flow.outputs_w == pytest.approx(outputs_w, abs=1e-6)
    ohm = (0.0938 * 50 * 1.09825 + 0.2) / 2
    assert flow.feeder_w == pytest.approx(port_watts(6 + outputs_w / 0.92, 54, ohm), abs=1e-6)
    assert flow.feed_pd_v == pytest.approx(54 - flow.feeder_w / 54 * ohm, abs=1e-6)


def test_a_feed_that_cannot_carry_is_never_zero() -> None:
    lamps = {str(number): device(f"lamp-{number}", 20, "light") for number in range(1, 6)}
    found = site({"top": unit("main", {"1": feed("low", 400)}, fed=None), "low": unit("side", lamps)})
    flows = planned(found, SIDE)
    assert flows["low"].feeder_w is None
    assert flows["low"].reasons == ("top port 1: no operating point",)
    assert not flows["top"].complete
    assert "the watts of low can't be computed" in flows["top"].reasons[0]


def test_a_second_feed_takes_over() -> None:
    found = site(
        {
            "a": unit("main", {"1": feed("low/in-1")}, fed=None),
            "b": unit("side", {"1": feed("low/in-2")}, fed=None),
            "low": unit(None, {"1": device("cam")}),
        }
    )
    normal, lost = planned(found), planned(found, frozenset({"main"}))
    assert normal["low"].feeds_w[("a", "1")] == pytest.approx(lost["low"].feeds_w[("b", "1")])
    assert normal["low"].feeds_w[("b", "1")] == pytest.approx(1.3, abs=0.01)  # standby
    assert lost["low"].powered
    assert not planned(found, frozenset({"main", "side"}))["low"].powered


def test_units_that_feed_each_other_end_and_say_so() -> None:
    found = site(
        {
            "top": unit("main", {"1": feed("one")}, fed=None),
            "one": unit("side", {"1": feed("two")}),
            "two": unit("side", {"1": feed("one")}),
        }
    )
    flows = planned(found)
    assert not flows["one"].complete
    power = planned_port_w(found, Tree(found), "top", "1", Case.TYPICAL)
    assert power.pse_w is None
    assert power.reason == "top port 1: units feed each other, no watts can be computed"


def test_everything_undeclared_is_named() -> None:
    bare = {"supplies": [{"from": "side"}], "pse": {"budget_w": 60, "ports": 8}, "ports": {"1": device("cam")}}
    found = site({"top": unit("main", {"1": {"feeds": "low"}}, fed=None), "low": bare})
    said = " | ".join(planned(found)["low"].assumed)
    for word in (
        "own_use_w", "the efficiency of the supply from side", "output_efficiency", "fed efficiency", "output",
        "prefers", "spare_feed", "standby_w", "on_transfer", "class", "cable",
    ):  # fmt: skip
        assert f"{word} is not declared" in said, word
