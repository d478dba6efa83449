"""What holds in every state of any site: balance, order, limits, names, and what a failure can never do."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.powerflow.random_sites import small_site
from tests.powerflow.sites import device, feed, site, unit

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.powerflow.failure import circuit_pairs, single_failures
from portdraw.powerflow.failure_study import base_state
from portdraw.powerflow.limit_state import limit_states
from portdraw.powerflow.load import DARK, planned_load, scaled_load, uncertain_load
from portdraw.powerflow.network import network_of
from portdraw.powerflow.planned_device import planned_draws
from portdraw.powerflow.roll_up import roll_up_draws
from portdraw.powerflow.shedding import STEP_W, shed_groups
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.solve import solve, solve_after
from portdraw.powerflow.source_load import on_battery, source_watts, supply_watts
from portdraw.powerflow.state import NOTHING_OUT, today
from portdraw.powerflow.unit_flow import CarriedBy

SEEDED = settings(deadline=None, derandomize=True, max_examples=400)
SEEDS = st.integers(0, 5000)


def site_watts(solution: Solution) -> tuple[float, float]:
    """Watts that the sources give and watts that are taken: devices, cables, own use, standby, conversion, UPS."""
    network = solution.network
    given_w = taken_w = 0.0
    for name, circuit in network.site.circuits.items():
        given_w += source_watts(solution, name)[0]
        if name not in solution.outage.sources:
            taken_w += circuit.other_load_w
    for name, ups in network.site.ups.items():
        ups_w = source_watts(solution, name)[0]
        if on_battery(solution, name):
            given_w += ups_w
        else:
            taken_w += ups_w * (1 / ups.efficiency - 1)
        taken_w += ups.other_load_w if name not in solution.outage.sources else 0.0
    for one in network.units:
        if solution.power(one.index) == DARK:
            continue
        standing, demand = solution.standing(one.index), solution.demand(one.index)
        on_ac = standing.leg is CarriedBy.AC
        taken_w += one.own_w
        output_w = _served_to_the_living(solution, one.index)
        if on_ac:
            dc_w = one.own_w + demand.served_w / one.output_efficiency
            taken_w += sum(watts for watts, _ in supply_watts(solution, one.index)) - dc_w
            taken_w += demand.served_w * (1 / one.output_efficiency - 1)
        else:
            taken_w += demand.served_w * (1 / one.fed_efficiency - 1)
        taken_w += demand.served_w - output_w  # what units that are dark for another reason are counted with
        volts = None if one.boosted or on_ac else demand.feeds[standing.first].pd_v
        for port in one.ports:
            if not solution.port_state(one.index, port.at):
                continue
            if port.device is not None and solution.load.units[one.index].status[port.at]:
                power = port.line.carry(solution.load.units[one.index].pd_likely[port.at], volts)
                taken_w += (power.pd_w or 0.0) + (power.loss_w or 0.0)
            elif port.child >= 0 and solution.power(port.child) != DARK:
                ask = solution.demand(port.child).feeds[port.place]
                taken_w += ask.loss_w + (0.0 if ask.carries else ask.pd_w if ask.most_w else 0.0)
    return given_w, taken_w


def _served_to_the_living(solution: Solution, at: int) -> float:
    found = solution.demand(at).served_w
    for port in solution.network.units[at].feed_ports:
        if solution.power(port.child) == DARK and solution.port_state(at, port.at):
            found -= solution.demand(port.child).feeds[port.place].most_w
    return found


@SEEDED
@given(SEEDS)
def test_the_balance_closes_in_every_state(seed: int) -> None:
    network = network_of(small_site(seed, plain=True))
    base = base_state(network, planned_load(network, Case.NIGHT)).likely
    for failure in (None, *single_failures(network)):
        solution = base if failure is None else solve_after(base, failure.outage, failure.hit)
        given_w, taken_w = site_watts(solution)
        assert given_w == pytest.approx(taken_w, abs=1e-5), failure


@SEEDED
@given(SEEDS)
def test_a_failure_never_adds_budget_and_what_is_served_fits(seed: int) -> None:
    network = network_of(small_site(seed))
    load = planned_load(network, Case.FROST_NIGHT)
    base = base_state(network, load).likely
    for failure in (*single_failures(network), *circuit_pairs(network)):
        solution = solve_after(base, failure.outage, failure.hit)
        for one in network.units:
            standing, demand = solution.standing(one.index), solution.demand(one.index)
            assert demand.served_w <= standing.budget_w + STEP_W
            assert demand.served_booked_w <= max(standing.budget_w, demand.served_w) + STEP_W
            live, was = standing.supplies, base.standing(one.index).supplies
            assert all(not now or before for now, before in zip(live, was, strict=True))


@SEEDED
@given(SEEDS)
def test_no_port_is_cut_while_one_that_goes_before_it_stays(seed: int) -> None:
    network = network_of(small_site(seed))
    base = base_state(network, planned_load(network, Case.FROST_NIGHT)).likely
    for failure in (None, *single_failures(network)):
        solution = base if failure is None else solve_after(base, failure.outage, failure.hit)
        for one in network.units:
            demand, standing = solution.demand(one.index), solution.standing(one.index)
            groups = shed_groups(one.rule, one.ranked, standing.newcomers)
            gone = [bool(set(group) & demand.cut) for group in groups if set(group) & _drawing(solution, one.index)]
            assert gone == sorted(gone, reverse=True), f"{seed} {one.name}"


def _drawing(solution: Solution, at: int) -> set[int]:
    unit, load = solution.network.units[at], solution.load.units[at]
    off = solution.outage.off_ports.get(at, frozenset()) | solution.standing(at).grant.refused
    found = set()
    for port in unit.ports:
        watts = load.likely[port.at] if port.child < 0 else solution.demand(port.child).feeds[port.place].most_w
        if watts > 0 and port.at not in off and port.at not in solution.demand(at).dropped:
            found.add(port.at)
    return found


@SEEDED
@given(SEEDS, st.sampled_from([Case.TYPICAL, Case.NIGHT, Case.FROST_NIGHT]))
def test_the_truth_lies_within_the_bounds(seed: int, case: Case) -> None:
    """Any load within the bounds darkens all that is said to go dark and nothing that is said to stay."""
    network = network_of(small_site(seed, plain=True))
    planned = planned_load(network, case)
    bounds = uncertain_load(network, planned, 10)
    outage = today(network, circuits=frozenset(network.site.circuits))
    between = solve(network, bounds, outage, bounds=True)
    for percent in (-10, -4, 0, 3, 10):
        inside = scaled_load(network, planned, percent)
        likely = solve(network, inside, outage)
        for one in network.units:
            for port in one.ports:
                if port.device is None:
                    continue
                said, found = between.device_state(one.index, port.at), likely.device_state(one.index, port.at)
                if said != 1:
                    assert (said == DARK) == (found == DARK), f"{seed} {port.device}"


def relabelled(found: Site) -> Site:
    names = {name: f"z{97 - number} {name}" for number, name in enumerate(found.units)}
    units = {}
    for name, one in reversed(found.units.items()):
        ports = {
            key: port.model_copy(update={"feeds": _renamed(port.feeds, names)}) for key, port in one.ports.items()
        }
        units[names[name]] = one.model_copy(update={"ports": ports})
    return found.model_copy(update={"units": units})


def _renamed(feeds: str | None, names: dict[str, str]) -> str | None:
    if feeds is None:
        return None
    name, slash, inlet = feeds.partition("/")
    return names[name] + slash + inlet


@SEEDED
@given(SEEDS)
def test_names_do_not_matter(seed: int) -> None:
    found = small_site(seed)
    one, other = network_of(found), network_of(relabelled(found))
    for pair in zip(single_results(one), single_results(other), strict=True):
        assert pair[0] == pair[1]


def single_results(network: Any) -> list[tuple[str, frozenset[str]]]:
    base = base_state(network, planned_load(network, Case.NIGHT))
    found = []
    for failure in circuit_pairs(network):
        solution = solve_after(base.likely, failure.outage, failure.hit)
        dark = frozenset(
            port.device
            for unit_ in network.units
            for port in unit_.ports
            if port.device and solution.device_state(unit_.index, port.at) == DARK
        )
        found.append((failure.what, dark))
    return sorted(found)


@st.composite
def trees(draw: st.DrawFn) -> dict[str, Any]:
    """Units with budgets that nothing reaches, so that nothing is shed."""
    units: dict[str, Any] = {"u0": unit("side", {"1": device("d0-1")}, fed=None)}
    for number in range(1, draw(st.integers(2, 5))):
        ports = {
            str(at): device(f"d{number}-{at}", draw(st.integers(5, 90))) for at in range(1, draw(st.integers(1, 3)))
        }
        name = f"u{number}"
        units[name] = unit(draw(st.sampled_from(["main", None])), ports)
        units[name]["fed"]["output"] = draw(st.sampled_from(["boosted", "follows-input"]))
        above = units[f"u{draw(st.integers(0, number - 1))}"]
        above["ports"][str(len(above["ports"]) + 10)] = feed(name, draw(st.integers(5, 60)))
    for one in units.values():
        one["pse"] |= {"budget_w": 2000, "admission": "drawn", "class_max": 8}
    return units


@SEEDED
@given(trees(), st.data())
def test_more_load_never_raises_headroom_and_more_cable_never_volts(
    units: dict[str, Any], data: st.DataObject
) -> None:
    where = data.draw(st.sampled_from(sorted(units)))
    more, longer = copy.deepcopy(units), copy.deepcopy(units)
    more[where]["ports"]["9"] = device("added", 30)
    for one in longer.values():
        for port in one["ports"].values():
            port["cable"]["length_m"] += data.draw(st.integers(1, 30))
    before, after, far = (_solved(one) for one in (units, more, longer))
    if any(_sheds(one) for one in (before, after, far)):
        return
    has = {limit.limit: limit.limit_w - limit.need_w for limit in limit_states(before)}
    for limit in limit_states(after):
        if limit.limit in has:
            assert limit.limit_w - limit.need_w <= has[limit.limit] + 1e-4, limit.limit
    for one in before.network.units:
        for near, distant in zip(before.demand(one.index).feeds, far.demand(one.index).feeds, strict=True):
            if near.pd_v is not None and distant.pd_v is not None:
                assert distant.pd_v <= near.pd_v + 1e-6


def _solved(units: dict[str, Any]) -> Solution:
    network = network_of(site(copy.deepcopy(units)))
    return solve(network, planned_load(network, Case.NIGHT), today(network, circuits=frozenset({"main"})))


def _sheds(solution: Solution) -> bool:
    return any(
        solution.demand(one.index).cut or solution.demand(one.index).dropped or solution.power(one.index) == DARK
        for one in solution.network.units
    )


@SEEDED
@given(SEEDS)
def test_where_nothing_is_shed_the_plain_sums_are_the_same(seed: int) -> None:
    """The roll-up of plain sums that other parts still use says the same as this solver."""
    found = small_site(seed, plain=True)
    network = network_of(found)
    tree = Tree(found)
    for outage in (NOTHING_OUT, today(network, circuits=frozenset({"c0"}))):
        solution = solve(network, planned_load(network, Case.NIGHT), outage)
        if any(
            solution.demand(one.index).cut or solution.standing(one.index).grant.refused or one.admission != "drawn"
            for one in network.units
        ):
            continue
        flows = roll_up_draws(found, tree, planned_draws(found, Case.NIGHT), frozenset(outage.inputs))
        if not all(flow.complete for flow in flows.values()) or solution.outage is not outage:
            continue
        for one in network.units:
            if solution.power(one.index) != DARK:
                assert solution.demand(one.index).asked_w == pytest.approx(flows[one.name].outputs_w)
                assert solution.standing(one.index).budget_w == pytest.approx(flows[one.name].budget_w)
