"""Sums of the load schedule, with a model of watts that a person can add up."""

from __future__ import annotations

from typing import Any

import pytest
from tests.plan.samples import drawn

from portdraw.plan.load_case import Case
from portdraw.plan.planned_load import LoadSchedule, PlannedSource, PlannedUnit, PortWatts, Sum, Verdict
from portdraw.plan.schedule import load_schedule
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree

STANDBY_W = 1.0
OWN_USE_W = 5.0


class PlainWatts:
    """Devices of 10 W, at night 20 W; no losses; a unit uses 5 W of its own; half of the watts at AC are lost."""

    def __init__(self, unknown: str = "") -> None:
        self.unknown = unknown

    def device(self, unit: str, port_key: str, case: Case) -> PortWatts:
        if f"{unit} port {port_key}" == self.unknown:
            return PortWatts(None, f"{self.unknown}: no operating point")
        return PortWatts(20.0 if case is Case.NIGHT else 10.0)

    def feed(self, feeder: str, port_key: str, outputs_w: float, *, carrying: bool) -> PortWatts:
        return PortWatts(outputs_w + OWN_USE_W if carrying else STANDBY_W)

    def ac_w(self, unit: str, outputs_w: float) -> float | None:
        return (outputs_w + OWN_USE_W) * 2

    def budget_on_ac_w(self, unit: str) -> float | None:
        return 100.0

    def budget_on_feed_w(self, unit: str) -> float | None:
        return 40.0


CAMERA = {"device": "cam", "class": 3}


def camera(name: str) -> dict[str, Any]:
    return CAMERA | {"device": name}


def chain(**leaf: Any) -> Site:
    """head feeds middle feeds leaf; two, one and one devices; head and middle share circuit slip-1."""
    one, fed = [{"from": "slip-1"}], {"prefers": "ac"}
    two = {"1": camera("a"), "2": camera("b")}
    units = {
        "head": {"supplies": one, "ports": two | {"3": {"feeds": "middle"}, "4": {}}},
        "middle": {"supplies": one, "fed": fed, "ports": {"1": camera("c"), "2": {"feeds": "leaf"}}},
        "leaf": {"supplies": [{"from": "slip-2"}], "fed": fed, "ports": {"1": camera("d")}} | leaf,
    }
    return drawn(units)


def worked_out(site: Site, unknown: str = "") -> LoadSchedule:
    return load_schedule(site, Tree(site), PlainWatts(unknown))


def unit(schedule: LoadSchedule, name: str) -> PlannedUnit:
    return next(one for one in schedule.units if one.unit == name)


def source(schedule: LoadSchedule, name: str) -> PlannedSource:
    return next(one for one in schedule.sources if one.name == name)


def test_normal_running_and_all_feeds_carrying() -> None:
    schedule = worked_out(chain())
    watts = {
        one.unit: (one.normal[Case.TYPICAL].watts, one.normal[Case.NIGHT].watts, one.carrying[Case.TYPICAL].watts)
        for one in schedule.units
    }
    # leaf 10; middle 10 + 1 standby, or 10 + (10 + 5); head 20 + 1 standby, or 20 + (25 + 5)
    assert watts == {"leaf": (10, 20, 10), "middle": (11, 21, 25), "head": (21, 41, 50)}
    assert [one.tier for one in schedule.units] == [1, 2, 3]


def test_a_unit_without_supplies_counts_in_full_on_its_feed() -> None:
    schedule = worked_out(chain(supplies=[]))
    assert unit(schedule, "middle").normal[Case.TYPICAL].watts == 10 + (10 + 5)


@pytest.mark.parametrize("prefers", ["feed", "shared", "higher-voltage", "unknown"])
def test_what_does_not_surely_prefer_ac_counts_in_full(prefers: str) -> None:
    schedule = worked_out(chain(fed={"prefers": prefers}))
    assert unit(schedule, "middle").normal[Case.TYPICAL].watts == 10 + (10 + 5)


def test_tiers_add_devices() -> None:
    tiers = worked_out(chain()).tiers
    assert [(tier.tier, tier.units) for tier in tiers] == [(1, ("head",)), (2, ("middle",)), (3, ("leaf",))]
    # class 3 at the PD input, nothing else declared: 12.95 W (IEEE 802.3)
    assert tiers[0].devices[Case.TYPICAL].watts == pytest.approx(2 * 12.95)


def test_circuits_add_units_and_other_load() -> None:
    schedule = worked_out(chain())
    first = source(schedule, "slip-1")
    assert first.normal[Case.TYPICAL].watts == (21 + 5) * 2 + (11 + 5) * 2
    assert first.carrying[Case.TYPICAL].watts == (50 + 5) * 2  # middle lives from its feed then
    assert first.limit_w == 16 * 230 * 0.8
    assert source(schedule, "slip-2").carrying[Case.TYPICAL].watts == 0


def test_a_ups_stands_between_and_shares_divide() -> None:
    supplies = [{"from": "battery", "pse_share_w": 30}, {"from": "slip-2", "pse_share_w": 10}]
    site = drawn(
        {"head": {"supplies": supplies, "ports": {"1": camera("a")}}},
        ups={"battery": {"input": "slip-1", "rating_w": 500, "battery_wh": 1, "efficiency": 0.5, "other_load_w": 7}},
    )
    schedule = worked_out(site)
    assert source(schedule, "battery").normal[Case.TYPICAL].watts == 7 + 30 * 0.75  # (10 + 5) x 2 at AC
    assert source(schedule, "slip-1").normal[Case.TYPICAL].watts == (7 + 30 * 0.75) / 0.5
    assert source(schedule, "slip-2").normal[Case.TYPICAL].watts == 30 * 0.25
    assert source(schedule, "slip-1").units == ("battery",)


def test_unknown_is_never_zero() -> None:
    schedule = worked_out(chain(), unknown="leaf port 1")
    leaf, middle = unit(schedule, "leaf"), unit(schedule, "middle")
    assert leaf.normal[Case.NIGHT] == Sum(0, ("leaf port 1",))
    assert middle.normal[Case.NIGHT] == Sum(21)  # standing by it is known
    assert middle.carrying[Case.NIGHT] == Sum(20, ("middle port 2",))
    assert source(schedule, "slip-2").normal[Case.NIGHT].missing == ("leaf",)
    doubtful = {held.what for held in schedule.held() if held.verdict is Verdict.UNKNOWN and held.judged}
    assert "leaf, normal running" in doubtful
    assert "circuit slip-2, normal running" in doubtful
    assert leaf.ports[0].reasons == {"leaf port 1: no operating point": tuple(Case)}


def test_units_in_a_ring_are_left_out() -> None:
    one = [{"from": "slip-1"}]
    ports = {"1": camera("a"), "2": {"feeds": "b"}, "3": {"feeds": "c"}}
    units = {
        "a": {"supplies": one, "ports": ports},
        "b": {"ports": {"1": {"feeds": "a"}}},
        "c": {"ports": {"1": camera("d")}},  # below the ring, not in it
    }
    schedule = worked_out(drawn(units))
    assert [planned.unit for planned in schedule.units] == ["c"]
    assert source(schedule, "slip-1").normal[Case.TYPICAL] == Sum(0, ("a",))
    units["b"] = {"ports": {}}
    assert [planned.unit for planned in worked_out(drawn(units)).units] == ["a", "b", "c"]


def test_a_feed_into_a_ring_is_unknown() -> None:
    units = {
        "ring": {"ports": {"1": {"feeds": "ring/in-2"}}},
        "head": {"supplies": [{"from": "slip-1"}], "ports": {"1": {"feeds": "ring"}}},
    }
    head = unit(worked_out(drawn(units)), "head")
    assert head.normal[Case.TYPICAL] == Sum(0, ("head port 1",))


def test_what_is_declared_but_not_judged() -> None:
    units = {"head": {"supplies": [{"from": "slip-1"}]}}
    more = {
        "policy": {"must_survive": {"any_single": "all"}},
        "ups": {"battery": {"input": "slip-1", "rating_w": 500, "battery_wh": 1}},
        "generators": {"set-1": {"rating_w": 9000, "feeds": ["P1"]}},
    }
    assert worked_out(drawn(units, **more)).not_judged == ("must_survive", "battery_wh", "generators")
    assert worked_out(drawn(units, policy={"margin_percent": 10})).not_judged == ()


@pytest.mark.parametrize(
    ("total", "limit_w", "verdict"),
    [
        (Sum(80), 100, Verdict.FITS),  # equal fits
        (Sum(80.1), 100, Verdict.MARGIN_USED),
        (Sum(100), 100, Verdict.MARGIN_USED),
        (Sum(100.1), 100, Verdict.OVER),
        (Sum(100.1, ("x",)), 100, Verdict.OVER),  # already too much, whatever is missing
        (Sum(10, ("x",)), 100, Verdict.UNKNOWN),
        (Sum(10), None, Verdict.UNKNOWN),
    ],
)
def test_verdict(total: Sum, limit_w: float | None, verdict: Verdict) -> None:
    assert total.held_against(limit_w, 20) is verdict


def test_what_counts() -> None:
    counted = {(held.what, held.case) for held in worked_out(chain()).held() if held.judged}
    assert ("head, normal running", Case.STARTUP) in counted
    assert ("head, normal running", Case.MAXIMUM) not in counted
    assert ("middle, all feeds carrying", Case.NIGHT) in counted
    assert ("head, all feeds carrying", Case.NIGHT) not in counted  # no promise to outlast loss of all AC
    site = chain()
    survive = {"must_survive": {"all_unbacked_ac": {"minutes": 60}}}
    promised = Site.model_validate(site.model_dump(by_alias=True) | {"policy": survive})
    assert ("head, all feeds carrying", Case.NIGHT) in {
        (held.what, held.case) for held in worked_out(promised).held() if held.judged
    }


@pytest.mark.parametrize(("mode", "second_w"), [("main-standby", STANDBY_W), ("shared", 10 + OWN_USE_W)])
def test_of_two_inputs_the_second_stands_by_unless_they_share(mode: str, second_w: float) -> None:
    # how shared inputs divide the load is not known: each counts in full, the worse side
    supplies = [{"from": "slip-1"}]
    units = {
        "head": {"supplies": supplies, "ports": {"1": {"feeds": "leaf/in-2"}, "2": {"feeds": "leaf/in-1"}}},
        "leaf": {"supplies": supplies, "fed": {"prefers": "ac"}, "feeds_mode": mode, "ports": {"1": camera("d")}},
    }
    head = unit(worked_out(drawn(units)), "head")
    carrying = {port.port: port.carrying_w[Case.TYPICAL] for port in head.ports}
    assert carrying == {"2": 10 + OWN_USE_W, "1": second_w}


def test_a_port_planned_off_takes_nothing() -> None:
    units = {
        "head": {"supplies": [{"from": "slip-1"}], "ports": {"1": camera("a") | {"off": True}, "2": camera("b")}}
    }
    assert unit(worked_out(drawn(units)), "head").normal[Case.NIGHT] == Sum(20)
