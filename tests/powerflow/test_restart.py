"""Restart: the ferry terminal against figures worked by hand, small sites by the second, any site by properties."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.powerflow.balance import port_watts, run_ohm
from tests.powerflow.random_sites import small_site
from tests.powerflow.sites import device, feed, ferry_terminal, site, unit
from tests.powerflow.test_flow_properties import relabelled

from portdraw.plan.load_case import Case, declared_w
from portdraw.plan.site import Site
from portdraw.powerflow.course import Course, Step
from portdraw.powerflow.failure import Failure, all_unbacked_ac, single_failures
from portdraw.powerflow.limit_state import limit_states
from portdraw.powerflow.load import DARK, planned_load
from portdraw.powerflow.network import Network, network_of
from portdraw.powerflow.restart import Restart, study_restart
from portdraw.powerflow.solve import solve
from portdraw.powerflow.start_up import boot_s, start_up_of
from portdraw.powerflow.state import NOTHING_OUT, Outage

NETWORK = network_of(ferry_terminal())
SHED_AT_NIGHT = {"foyer-sign", "office-phone-2", "office-phone-1"}


def everything(network: Network) -> Failure:
    found = all_unbacked_ac(network)
    assert found is not None
    return found


def restarted(
    case: Case, failure: Failure | None = None, outage: Outage = NOTHING_OUT, retry_s: float | None = 30.0
) -> Restart:
    return study_restart(NETWORK, start_up_of(NETWORK, planned_load(NETWORK, case)), failure, outage, retry_s=retry_s)


def tier_at(course: Course, at_s: float) -> tuple[float, ...]:
    return next(moment.tier_w for moment in course.moments if moment.at_s == at_s)


def hand_worked_core_w(field: str) -> float:
    """The core's ports with its devices on `field` and seven feeds that take 1.3 W each: cables by bisection."""
    found = 0.0
    for port in NETWORK.site.units["core"].ports.values():
        kind = NETWORK.site.device_types.get(port.type or "")
        classes = port.device_class if kind is None else kind.device_class
        assert isinstance(classes, int)
        pd_w = 1.3 if port.device is None else declared_w(NETWORK.site, port, field)
        assert pd_w is not None
        found += port_watts(pd_w, 54.0, run_ohm(port.cable, 4 if classes >= 5 else 2))
    return found


def test_all_dark_all_back_by_the_second() -> None:
    found = restarted(Case.TYPICAL)
    course = found.course
    # site file: small units boot in 60 s, the core in 90 s; its access points start for 90 s, longest of its devices
    assert [(moment.at_s, moment.units_up) for moment in course.moments][:2] == [(0.0, 0), (60.0, 8)]
    assert next(moment.at_s for moment in course.moments if moment.units_up == 9) == 90.0
    assert course.full_service_s == 180.0
    assert found.fine
    assert found.not_back == ()
    assert tier_at(course, 90.0)[0] == pytest.approx(hand_worked_core_w("startup_w"), abs=1e-6)


@pytest.mark.parametrize(
    ("case", "core_w"), [(Case.TYPICAL, "79.0"), (Case.NIGHT, "81.1"), (Case.FROST_NIGHT, "87.3")]
)
def test_it_ends_where_the_worked_example_runs(case: Case, core_w: str) -> None:
    assert f"{restarted(case).course.moments[-1].tier_w[0]:.1f}" == core_w


def test_what_was_shed_comes_back_with_its_start_up() -> None:
    found = restarted(Case.NIGHT, everything(NETWORK))
    assert set(found.tried_often) == SHED_AT_NIGHT
    assert found.fine
    # a sign starts for 40 s, a phone for 30 s, after the 30 s until a shed port asks again
    assert found.course.full_service_s == 70.0


def test_a_port_that_never_asks_again_stays_off() -> None:
    found = restarted(Case.NIGHT, everything(NETWORK), retry_s=None)
    assert set(found.not_back) == SHED_AT_NIGHT
    assert found.course.full_service_s is None
    assert not found.fine


def test_on_feeds_alone_at_night_ports_ask_without_end() -> None:
    found = restarted(Case.NIGHT, outage=everything(NETWORK).outage)
    # worked example: all unbacked AC lost at night is 20.4 W short, so that no delay can help
    assert found.steady_over
    assert found.mend is None
    (loop,) = found.course.loops
    assert set(found.course.device_names(loop.ports)) >= SHED_AT_NIGHT
    assert loop.period_s > 0
    assert "desk-phone" not in found.not_back


def test_start_delays_are_proposed_and_hold_when_written_into_the_file() -> None:
    outage = everything(NETWORK).outage
    found = restarted(Case.TYPICAL, outage=outage)
    assert [peak.limit.limit for peak in found.course.over] == ["core budget"]
    assert found.mend is not None
    assert found.mend.mends
    units = dict(NETWORK.site.units)
    for delay in found.mend.delays:
        ports = dict(units[delay.unit].ports)
        ports[delay.port] = ports[delay.port].model_copy(update={"start_delay_s": delay.delay_s})
        units[delay.unit] = units[delay.unit].model_copy(update={"ports": ports})
    mended = network_of(NETWORK.site.model_copy(update={"units": units}))
    again = study_restart(mended, start_up_of(mended, planned_load(mended, Case.TYPICAL)), None, outage)
    assert again.course.over == ()
    assert again.fine
    assert again.course.full_service_s == found.mend.course.full_service_s


def timed(ports: dict[str, Any], **more: Any) -> Site:
    """One hub of 60 W with a boot time of 20 s, and cameras of 10 W that take 25 W for 30 s at start."""
    types = {"camera": {"class": 4, "typical_w": 10.0, "startup_w": 25.0, "startup_s": 30}}
    pse = {"budget_w": 60, "voltage_v": 54, "ports": 8, "class_max": 8, "admission": "drawn"}
    hub = unit("main", ports, boot_s=20, pse={**pse, **more})
    return site({"hub": hub}, device_types=types)


def course_of(of: Site, retry_s: float | None = 30.0) -> Restart:
    network = network_of(of)
    return study_restart(network, start_up_of(network, planned_load(network, Case.TYPICAL)), retry_s=retry_s)


def test_a_third_camera_waits_until_the_first_two_have_started() -> None:
    # by hand: three start-ups ask 3 x 25 W and cable of a limit of 60 W, so the highest port is shed at 20 s; at
    # 50 s it asks again, the other two take 10 W each by then: 45 W fit; it is in service 30 s later
    found = course_of(timed({str(at): device(f"cam-{at}") for at in (1, 2, 3)}))
    course = found.course
    assert [(one.at_s, one.step) for one in course.incidents if one.port >= 0] == [(20.0, Step.SHED)]
    assert course.full_service_s == 80.0
    assert found.tried_often == ("cam-3",)
    peak = course.peaks["hub budget"]
    each_w = port_watts(
        25.0, 54.0, run_ohm(network_of(timed({"1": device("c")})).site.units["hub"].ports["1"].cable, 2)
    )
    assert peak.limit.need_w == pytest.approx(3 * each_w, abs=1e-6)
    assert peak.at_s == 20.0
    assert found.mend is not None
    (delay,) = found.mend.delays
    assert (delay.port, delay.delay_s) == ("3", 30.0)
    assert found.mend.course.full_service_s == 80.0


def test_a_declared_start_delay_is_kept() -> None:
    ports = {"1": device("one"), "2": device("two"), "3": device("three", start_delay_s=35)}
    found = course_of(timed(ports))
    assert found.fine
    assert found.course.over == ()
    assert found.course.full_service_s == 20 + 35 + 30


def test_nothing_was_without_power() -> None:
    found = restarted(Case.TYPICAL, everything(NETWORK))
    assert found.course.devices == {}
    assert found.course.full_service_s == 0.0
    assert found.sentences == ("nothing was without power",)


def test_undeclared_times_are_said() -> None:
    of = site({"hub": unit("main", {"1": device("cam")})})
    network = network_of(of)
    found = study_restart(network, start_up_of(network, planned_load(network, Case.TYPICAL)))
    assert any("boot_s is not declared" in line for line in found.course.assumed)
    assert any("startup_s of cam is not declared" in line for line in found.course.assumed)
    assert found.course.full_service_s == 180 + 120  # the assumed boot and start-up


def test_tiers_start_one_after_the_other() -> None:
    below = unit(None, {"1": device("far")}, boot_s=15)
    hub = unit("main", {"1": feed("below"), "2": device("near")}, boot_s=20)
    hub["pse"] = {**hub["pse"], "admission": "drawn"}
    types = {"camera": {"class": 3, "typical_w": 10.0, "startup_s": 30}}
    network = network_of(site({"hub": hub, "below": below}, device_types=types))
    course = study_restart(network, start_up_of(network, planned_load(network, Case.TYPICAL))).course
    up = {network.units[one.unit].name: one.at_s for one in course.incidents if one.step is Step.UNIT_UP}
    assert up == {"hub": 20.0, "below": 35.0}
    assert course.full_service_s == 65.0


def generous(of: Site) -> Site:
    """The same site where units book by drawn watts and have watts to spare."""
    units = {}
    for name, here in of.units.items():
        assert here.pse is not None
        pse = here.pse.model_copy(update={"budget_w": 900.0, "admission": "drawn", "port_limit_w": 99.9})
        ports = {
            key: port if port.feeds is None else port.model_copy(update={"device_class": 8})
            for key, port in here.ports.items()
        }
        units[name] = here.model_copy(update={"pse": pse, "ports": ports})
    ups = {name: one.model_copy(update={"rating_w": 9000.0}) for name, one in of.ups.items()}
    return of.model_copy(update={"units": units, "ups": ups})


def test_enough_sites_come_back_cleanly() -> None:
    """So that the next check is one."""
    clean = 0
    for seed in range(40):
        network = network_of(generous(small_site(seed, plain=True)))
        found = study_restart(network, start_up_of(network, planned_load(network, Case.NIGHT)), propose=False)
        clean += not found.course.over and found.course.settled
    assert clean >= 15


@pytest.mark.parametrize("seed", range(40))
def test_any_site_comes_back_as_it_runs(seed: int) -> None:
    """Where nothing is exceeded on the way, the end is the steady state, port by port, as solved from nothing."""
    network = network_of(generous(small_site(seed, plain=True)))
    load = planned_load(network, Case.NIGHT)
    found = study_restart(network, start_up_of(network, load), propose=False)
    course = found.course
    steady = solve(network, load, NOTHING_OUT)
    assert all(one.at_s <= other.at_s for one, other in zip(course.moments, course.moments[1:], strict=False))
    if not course.over and course.settled:
        lit = sum(
            steady.device_state(of.index, port.at) != DARK
            for of in network.units
            for port in of.ports
            if port.device is not None
        )
        assert course.moments[-1].devices_in_service == lit
        served = sum(steady.demand(of.index).served_w for of in network.units if steady.power(of.index) != DARK)
        assert sum(course.moments[-1].tier_w) == pytest.approx(served, abs=1e-6)
        scratch = {limit.limit: limit for limit in limit_states(steady)}
        for name, points in course.traces.items():
            if points[-1].limit_w is not None:
                assert points[-1].after_w == pytest.approx(scratch[name].need_w, abs=1e-6)
                assert points[-1].limit_w == pytest.approx(scratch[name].limit_w, abs=1e-6)


@pytest.mark.parametrize("seed", range(30))
def test_served_watts_keep_every_budget_in_every_second(seed: int) -> None:
    """Whatever starts, no unit gives more than its tier's budgets allow, and it ends or is a loop."""
    network = network_of(small_site(seed))
    top_w: dict[int, float] = {}
    for of in network.units:
        tier = max(1, network.tree.tier(of.name))
        top_w[tier] = top_w.get(tier, 0.0) + (0.0 if of.unit.pse is None else of.unit.pse.budget_w)
    for failure in (None, *single_failures(network)[:6]):
        found = study_restart(network, start_up_of(network, planned_load(network, Case.FROST_NIGHT)), failure)
        for moment in found.course.moments:
            for tier, watts in enumerate(moment.tier_w, start=1):
                assert watts <= top_w.get(tier, 0.0) + 1e-6
            assert moment.devices_in_service <= moment.devices_powered
        assert found.course.settled or found.course.loops or found.course.end_s > 3600
        if found.mend is not None:
            assert found.mend.course.over == ()


def wh(course: Course, limit: str, until_s: float) -> float:
    """Watt-hours of one limit from its watts over time, as they settle in each second."""
    points = [(point.at_s, point.after_w) for point in course.traces[limit] if point.at_s < until_s]
    ends = [at_s for at_s, _ in points[1:]] + [until_s]
    return sum(watts * (end - at) for (at, watts), end in zip(points, ends, strict=True)) / 3600


def test_peak_and_energy_of_a_tiny_site_by_hand() -> None:
    """Two cameras, 20 s of boot, 30 s of start-up at 25 W, 10 W after it; the second waits 10 s.

    By hand: 20 to 30 s one starts, 30 to 50 s both do, 50 to 60 s one, from 60 s on none.
    """
    found = course_of(timed({"1": device("one"), "2": device("two", start_delay_s=10)}))
    cable = network_of(timed({"1": device("c")})).site.units["hub"].ports["1"].cable
    start_w, steady_w = (port_watts(watts, 54.0, run_ohm(cable, 2)) for watts in (25.0, 10.0))
    peak = found.course.peaks["hub budget"]
    assert peak.at_s == 30.0
    assert peak.limit.need_w == pytest.approx(2 * start_w, abs=1e-6)
    by_hand = (10 * start_w + 20 * 2 * start_w + 10 * (start_w + steady_w) + 40 * 2 * steady_w) / 3600
    assert wh(found.course, "hub budget", 100.0) == pytest.approx(by_hand, abs=1e-9)
    assert found.not_as_before == ()


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(5, 50), st.integers(0, 60)), min_size=1, max_size=4))
def test_start_ups_that_follow_each_other_never_ask_more_than_those_at_once(parts: list[tuple[int, int]]) -> None:
    """Start-up watts are never less than steady ones, so of n ports the peak is lowest one after the other.

    A single delay may raise a peak, where it moves one start-up onto another: nothing is claimed of that.
    """
    watts = [(start / 10 + more / 10, start / 10) for start, more in parts]

    def peak_w(delays: list[float]) -> float:
        ports = {
            str(at): device(f"cam-{at}", typical_w=low, startup_w=high, startup_s=30, start_delay_s=delay)
            for at, ((high, low), delay) in enumerate(zip(watts, delays, strict=True), start=1)
        }
        return course_of(timed(ports)).course.peaks["hub budget"].limit.need_w

    at_once, in_turn = peak_w([0.0] * len(watts)), peak_w([30.0 * at for at in range(len(watts))])
    assert in_turn <= at_once + 1e-6
    cable = network_of(timed({"1": device("c")})).site.units["hub"].ports["1"].cable
    ohm = run_ohm(cable, 2)
    running = [port_watts(low, 54.0, ohm) for _, low in watts]
    starting = [port_watts(max(high, low), 54.0, ohm) for high, low in watts]
    by_hand = max(sum(running[:at]) + starting[at] for at in range(len(watts)))
    assert in_turn == pytest.approx(max(by_hand, sum(running)), abs=1e-6)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(st.integers(0, 400))
def test_names_change_nothing(seed: int) -> None:
    of = small_site(seed, plain=True)
    one, other = (
        study_restart(network, start_up_of(network, planned_load(network, Case.NIGHT)), propose=False)
        for network in (network_of(of), network_of(relabelled(of)))
    )
    assert one.course.full_service_s == other.course.full_service_s
    assert sorted(peak.limit.need_w for peak in one.peaks) == pytest.approx(
        sorted(peak.limit.need_w for peak in other.peaks)
    )
    assert len(one.not_as_before) == len(other.not_as_before)


def test_a_boot_takes_its_time() -> None:
    assert {boot_s(of) for of in NETWORK.units} == {60.0, 90.0}


def test_limits_of_the_end_are_those_of_the_steady_state() -> None:
    steady = {limit.limit for limit in limit_states(solve(NETWORK, planned_load(NETWORK, Case.NIGHT), NOTHING_OUT))}
    assert steady <= set(restarted(Case.NIGHT).course.peaks)
