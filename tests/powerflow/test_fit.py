"""Fit: the ferry terminal worked by hand; every offer put into the file and held against the failure study."""

from __future__ import annotations

import pytest
from tests.powerflow.balance import port_watts
from tests.powerflow.random_sites import large_site, small_site
from tests.powerflow.sites import device, feed, ferry_terminal, site, unit

from portdraw.plan.load_case import Case
from portdraw.plan.site import Cable, Port, Site
from portdraw.powerflow.failure_study import study_failures
from portdraw.powerflow.fit import study_fit
from portdraw.powerflow.fit_result import Fit, Leg, LimitRoom, PortFit
from portdraw.powerflow.free_port import Wish, free_ports, without_free_port
from portdraw.powerflow.limit_state import limit_states
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.network import network_of
from portdraw.powerflow.solve import solve
from portdraw.powerflow.state import NOTHING_OUT

FERRY_TERMINAL = ferry_terminal()
DOME = Wish(
    5, 38.0, 38.0, 38.0, 38.0, length_m=40, cable_type="cat6a", conductor="copper", near="north-pier"
)  # fmt: skip
STEADY = (Case.TYPICAL, Case.NIGHT, Case.FROST_NIGHT)


def with_third_module() -> Site:
    """The ferry terminal with the mend of the worked example: a third module of 220 W in the core."""
    core = FERRY_TERMINAL.units["core"]
    assert core.pse is not None
    more = {"supplies": (*core.supplies, core.supplies[0]), "pse": core.pse.model_copy(update={"budget_w": 660.0})}
    return FERRY_TERMINAL.model_copy(update={"units": {**FERRY_TERMINAL.units, "core": core.model_copy(update=more)}})


def at(fit: Fit, unit_name: str, port: str | None = None) -> PortFit:
    return next(one for one in fit.ports if one.free.unit == unit_name and (port is None or one.free.port == port))


def room(fit: PortFit, limit: str) -> LimitRoom:
    return next(one for one in fit.binding if one.limit.limit == limit)


def four_pair_w(pd_w: float, length_m: float) -> float:
    """Watts at the port by bisection: 9.38 ohm per 100 m (TIA-568.2), 45 + 15 C undeclared, four pairs."""
    ohm = (0.0938 * length_m * (1 + 0.00393 * (60 - 20)) + 0.2) / 2
    return port_watts(pd_w, 54.0, ohm)


def test_a_dome_at_the_north_pier_is_refused_on_its_feed() -> None:
    fit = study_fit(FERRY_TERMINAL, DOME)
    assert not fit.fits
    found = at(fit, "north-pier")
    new_w = four_pair_w(38.0, 40)
    assert found.at_port_w[Case.TYPICAL] == pytest.approx(new_w, abs=1e-6)
    # worked example, frost night: 56.1 W asked of a fed budget of 59.6 W; with local AC 36.8 W out of 90 W
    on_feed = room(found, "north-pier budget on PoE feed")
    assert f"{on_feed.before_w:.1f}" == "56.1"
    assert f"{on_feed.limit.limit_w:.1f}" == "59.6"
    assert on_feed.limit.need_w == pytest.approx(on_feed.before_w + new_w, abs=1e-6)
    on_ac = room(found, "north-pier budget")
    assert f"{on_ac.before_w:.1f}" == "36.8"
    assert (on_ac.state, on_ac.margin_percent, on_ac.limit.limit_w) == ("normal running", 20, 90)
    assert not on_ac.limit.over
    assert on_ac.binds
    assert {one.leg for one in found.legs} == {Leg.AC, Leg.FEED}
    assert {one.room.case for one in found.legs} == set(STEADY)


def test_the_ports_asked_for_come_first_and_alike_ones_are_one() -> None:
    fit = study_fit(FERRY_TERMINAL, DOME)
    assert [(one.free.unit, one.free.nearness) for one in fit.ports][:3] == [
        ("north-pier", 0), ("north-pier", 0), ("breakwater", 1),
    ]  # fmt: skip
    # ports 4 and 5 lie between ports in use, 7 and 8 above them
    assert [(one.port, one.alike) for one in free_ports(FERRY_TERMINAL, "north-pier")][:2] == [("4", 1), ("7", 1)]


def test_a_class_that_is_too_small_and_one_that_the_port_can_not_grant() -> None:
    small = study_fit(FERRY_TERMINAL, Wish(3, 16.0, length_m=40, conductor="copper", near="north-pier"))
    # every port grants class 3: it is the device that contradicts itself, and the ports are ranked by the rest
    assert at(small, "north-pier").unpowered == ()
    assert not small.fits
    assert small.own[0].endswith("above its class of 15.4 W (typical, 16 W at the device)")
    large = study_fit(FERRY_TERMINAL, Wish(8, 60.0, length_m=10, conductor="copper", near="north-pier"))
    assert at(large, "north-pier").unpowered
    start = study_fit(FERRY_TERMINAL, Wish(5, 38.0, 38.0, None, 45.0, length_m=40, near="north-pier"))
    assert [line.endswith("above its class of 45 W (start-up, 45 W at the device)") for line in start.own] == [True]
    assert at(start, "north-pier").refusal.startswith("north-pier budget on PoE feed, circuit pier-7 lost")
    # breakwater's ports grant class 4 at most: that speaks against the port
    assert at(start, "breakwater").unpowered[0].startswith("breakwater port 5: ")


def test_watts_above_the_class_that_the_port_still_gives_are_a_finding() -> None:
    """14 W at the device are above class 3 (12.95 W), and with this cable still within 15.4 W at the port."""
    fit = study_fit(FERRY_TERMINAL, Wish(3, 14.0, 14.0, 14.0, 14.0, length_m=10, conductor="copper"))
    assert at(fit, "north-pier").unpowered == ()
    assert fit.wish.above_class == "it takes 14 W, its class 3 allows 12.95 W at the device"
    assert DOME.above_class == ""


def test_a_broken_promise_is_not_made_worse() -> None:
    """At night the core is 20.4 W short without any new device: nothing fits that asks more of it."""
    fit = study_fit(FERRY_TERMINAL, Wish(1, 2.0, 2.0, 2.0, 2.0, length_m=10, conductor="copper"))
    assert not fit.fits
    for port in fit.ports:
        assert room(port, "core budget").bound_before


def test_with_the_mend_of_the_worked_example_a_phone_fits() -> None:
    phone = Wish(2, 3.2, 3.2, 3.2, 5.0, length_m=20, conductor="copper", near="ticket-hall")
    fit = study_fit(with_third_module(), phone)
    assert fit.fits
    assert fit.ports[0].free.unit == "ticket-hall"
    assert fit.ports[0].fits
    assert fit.ports[0].refusal == ""
    pier = at(fit, "north-pier")
    # 56.1 + 3.2 W and cable of 59.6 W: within the limit, beyond 95 % of it
    assert room(pier, "north-pier budget on PoE feed").sentence.endswith("margin of 5 % used, 56.1 W without it")


def test_who_else_would_go_dark() -> None:
    """At noon all unbacked AC leaves 29.7 W; a dome on the core's port 8 takes more, so the sign on 17 goes."""
    core = at(study_fit(FERRY_TERMINAL, DOME), "core", "8")
    assert any(line.endswith("typical: darkens foyer-sign") for line in core.darkens)
    last = at(study_fit(FERRY_TERMINAL, DOME), "core", "19")  # sheds itself first
    assert not any("typical" in line for line in last.darkens)


def test_a_battery_that_would_no_longer_last() -> None:
    ups = FERRY_TERMINAL.ups["ups-a"].model_copy(update={"health_percent": 53.0})
    shorter = with_third_module().model_copy(update={"ups": {"ups-a": ups}})
    fit = study_fit(shorter, Wish(4, 20.0, 20.0, 20.0, 20.0, length_m=10, conductor="copper", near="core"))
    assert any("min of the 60 min promised" in line for line in fit.ports[0].minutes)
    assert not fit.fits


def test_what_was_not_given_is_said() -> None:
    fit = study_fit(FERRY_TERMINAL, Wish(2, 3.0, length_m=20))
    assert any(line.startswith("new device: night watts are not given, 3 W") for line in fit.assumed)
    assert "new device: conductor is not declared, copper-clad counted" in fit.assumed
    assert not any("port 19" in line for line in fit.assumed)


def test_a_full_unit_and_one_without_pse_are_said() -> None:
    full = unit("main", {"1": device("one"), "2": feed("pass")})
    full["pse"] = {**full["pse"], "ports": 2}
    bare = unit("main", {})
    del bare["pse"]
    yard = site({"full": full, "pass": bare})
    assert without_free_port(yard) == (
        "full: no port is free", "pass: it declares no pse, so nothing can be offered",
    )  # fmt: skip
    assert study_fit(yard, Wish(2, 3.0)).ports == ()


def test_members_of_a_stack_offer_declared_spare_ports_only() -> None:
    stack = unit("main", {"1/1": device("one"), "1/2": {}, "2/1": {"label": "B"}})
    yard = site({"stack": stack})
    assert [(free.port, free.label, free.alike) for free in free_ports(yard, None)] == [("1/2", "", 1)]


def put(of: Site, port: PortFit, wish: Wish) -> Site:
    """The site with the device really on a port, as somebody would write it."""
    cable = Cable(type="cat6a", length_m=wish.length_m, conductor="copper")
    made = Port.model_validate(
        {
            "device": "added", "class": wish.device_class, "typical_w": wish.typical_w, "night_w": wish.night_w,
            "frost_night_w": wish.frost_night_w, "startup_w": wish.startup_w, "cable": cable,
        }
    )  # fmt: skip
    here = of.units[port.free.unit]
    there = here.model_copy(update={"ports": {**here.ports, port.free.port: made}})
    return of.model_copy(update={"units": {**of.units, port.free.unit: there}})


@pytest.mark.parametrize("seed", range(24))
def test_every_offer_holds_once_it_is_in_the_file(seed: int) -> None:
    """Where it fits, no device goes dark that did not before, and no limit that moved is over its margin."""
    of = small_site(seed, plain=True)
    wish = Wish(2, 3.0, 4.0, 5.0, 5.0, length_m=20, cable_type="cat6a", conductor="copper")
    fit = study_fit(of, wish)
    for port in fit.ports[:3]:
        new, old = network_of(put(of, port, wish)), network_of(of)
        harmed: list[str] = []
        for case in STEADY:
            loads = planned_load(new, case), planned_load(old, case)
            for limit in limit_states(solve(new, loads[0], NOTHING_OUT)):
                was = {one.limit: one.need_w for one in limit_states(solve(old, loads[1], NOTHING_OUT))}
                if limit.need_w > was.get(limit.limit, 0.0) + 1e-6 and limit.need_w > limit.limit_w * 0.8 + 1e-6:
                    harmed.append(limit.limit)
            after, before = study_failures(new, loads[0]), study_failures(old, loads[1])
            for result in after.results:
                known = {one.what for one in before.results}
                if result.failure.kind.value == "all unbacked AC" or result.failure.after is not None:
                    continue  # this site promises nothing of it; generators are judged while they start
                if result.what not in known:
                    continue  # the controller of a unit that had nothing on its ports
                harmed.extend(set(result.dark) - set(before.of(result.what).dark) - {"added", *before.dark})
        if port.fits:
            assert harmed == [], (port.free, harmed)
        elif harmed:
            assert port.refusal


@pytest.mark.parametrize("seed", range(20))
def test_less_watts_fit_wherever_more_do(seed: int) -> None:
    of = small_site(seed, plain=True)
    less, more = (
        study_fit(of, Wish(4, watts, watts, watts, watts, length_m=20, conductor="copper")) for watts in (5.0, 15.0)
    )
    small = {(one.free.unit, one.free.port): one.fits for one in less.ports}
    for port in more.ports:
        if port.fits and all(of.units[name].pse is not None for name in of.units):
            assert small[port.free.unit, port.free.port]


def test_a_large_site_is_looked_at_in_part() -> None:
    fit = study_fit(large_site(30, devices=20), Wish(2, 3.0, length_m=20, near="u12"), most_ports=3)
    assert len(fit.ports) == 3
    assert fit.not_looked_at > 0
    assert fit.ports[0].free.unit == "u12"
