"""Admission, demotion, shedding, legs and volts of one state, on sites where every figure can be said by hand."""

from __future__ import annotations

from typing import Any

import pytest
from tests.powerflow.sites import cable, device, feed, ferry_terminal, site, unit

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.powerflow.failure_study import base_state, study_failures
from portdraw.powerflow.load import DARK, SURE, Reading, live_load, planned_load
from portdraw.powerflow.network import Network, network_of
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.solve import solve
from portdraw.powerflow.standing import Standing
from portdraw.powerflow.state import NOTHING_OUT, Outage, today

RULES = [
    ("priority-then-highest-port", {"5", "4"}),
    ("highest-port", {"6", "5"}),
    ("newest-first", {"6", "5"}),
    ("lowest-priority-bank", {"1", "4", "5"}),
    ("refuse-newcomers", {"6", "5"}),
    ("all-off", {"1", "2", "3", "4", "5", "6"}),
]


def solved(found: Site, outage: Outage | None = None, case: Case = Case.TYPICAL) -> Solution:
    network = network_of(found)
    return solve(network, planned_load(network, case), NOTHING_OUT if outage is None else outage)


def standing(solution: Solution, name: str) -> Standing:
    return solution.standing(solution.network.index[name])


def shed(solution: Solution, name: str) -> set[str]:
    at = solution.network.index[name]
    return {port.key for port in solution.network.units[at].ports if solution.port_state(at, port.at) == DARK}


def dark(solution: Solution) -> set[str]:
    return {
        port.device
        for one in solution.network.units
        for port in one.ports
        if port.device is not None and solution.device_state(one.index, port.at) == DARK
    }


@pytest.mark.parametrize(("rule", "gone"), RULES)
def test_ports_go_in_the_order_of_the_rule(rule: str, gone: set[str]) -> None:
    # six cameras of 10 W; 2 critical, 3 and 6 high, the others low; about 10.2 W each at the port, 45 W to give
    priorities = {"2": "critical", "3": "high", "6": "high"}
    ports = {str(at): device(f"d{at}", priority=priorities.get(str(at), "low")) for at in range(1, 7)}
    whole = unit("main", ports, fed=None)
    whole["pse"] |= {"budget_w": 45, "admission": "drawn", "shed": rule}
    assert shed(solved(site({"one": whole})), "one") == gone


def test_equal_fits() -> None:
    ports = {str(at): device(f"d{at}", 0, "light") for at in (1, 2)}
    whole = unit("main", ports, fed=None)
    whole["pse"] |= {"admission": "drawn"}
    asked = solved(site({"one": whole})).demand(0).asked_w
    whole["pse"] |= {"budget_w": asked}
    assert shed(solved(site({"one": whole})), "one") == set()
    whole["pse"] |= {"budget_w": asked - 0.001}
    assert shed(solved(site({"one": whole})), "one") == {"2"}


def by_class() -> Site:
    """The ferry terminal with a core that books by class."""
    found = ferry_terminal()
    core = found.units["core"]
    assert core.pse is not None
    core = core.model_copy(update={"pse": core.pse.model_copy(update={"admission": "class"})})
    return found.model_copy(update={"units": {**found.units, "core": core}})


def test_a_core_that_books_by_class() -> None:
    # worked example: 769 W wanted of 440 in normal running while 87 W are drawn; in port order ports 1-4 class 8,
    # port 5 demoted to class 6, port 6 to class 3 (fed budget 4.6 W against a need of 49.6), port 7 refused
    solution = solved(by_class(), case=Case.FROST_NIGHT)
    core = solution.network.units[solution.network.index["core"]]
    grant = standing(solution, "core").grant
    classes = {port.key: grant.classes[port.at] for port in core.ports if port.at not in grant.refused}
    assert [classes[key] for key in "123456"] == [8, 8, 8, 8, 6, 3]
    assert "7" not in classes
    assert sum(grant.booked_w) == pytest.approx(4 * 90 + 60 + 15.4)
    assert solution.demand(core.index).asked_w < 87
    lost = solved(by_class(), today(solution.network, circuits=frozenset({"hall-2"})), Case.FROST_NIGHT)
    assert f"{standing(lost, 'ticket-hall').budget_w:.1f}" == "4.6"
    assert f"{lost.demand(lost.network.index['ticket-hall']).asked_w:.1f}" == "49.6"
    assert lost.power(lost.network.index["waiting-room"]) == DARK  # its port was refused: no leg is left


def test_a_demoted_device_that_takes_more_is_dark() -> None:
    # class 4 of 30 W does not fit beside the first one in 50 W, class 3 of 15.4 W does, and 25.5 W is above it
    ports = {"1": device("one", 5, "light"), "2": device("two", 5, "light")}
    whole = unit("main", ports, fed=None)
    whole["pse"] |= {"budget_w": 50, "admission": "class"}
    solution = solved(site({"sw": whole}))
    assert standing(solution, "sw").grant.classes == (4, 3)
    assert dark(solution) == {"two"}
    assert any("class 3" in line for line in solution.demand(0).reasons)


def test_a_port_that_refuses_its_class_is_dark_from_the_start() -> None:
    ports = {"1": device("camera", 5), "2": device("sensor", 5, device_class=1, typical_w=2.0)}
    whole = unit("main", ports, fed=None)
    whole["pse"] |= {"class_max": 2}
    network = network_of(site({"sw": whole}))
    base = base_state(network, planned_load(network, Case.TYPICAL))
    assert {network.units[at].ports[port].device for at, port in base.dark} == {"camera"}
    assert "refuses it" in planned_load(network, Case.TYPICAL).units[0].reasons[0]
    # a draw that was read proves that it is powered all the same
    live = live_load(network, "now", {("sw", "1"): Reading(10.0, 9.5, 10.5)}, Case.TYPICAL)
    assert base_state(network, live).dark == frozenset()


def test_a_load_above_its_class_at_the_port_has_no_power() -> None:
    ports = {"1": device("hungry", 90, "light", typical_w=30.5)}
    solution = solved(site({"sw": unit("main", ports, fed=None)}))
    assert dark(solution) == {"hungry"}
    # above class at the device, but within it at the port: powered, and a finding of the plan
    ports = {"1": device("thirsty", 5, "light", typical_w=26.5)}
    assert dark(solved(site({"sw": unit("main", ports, fed=None)}))) == set()


def hidden(**more: Any) -> Site:
    """Two units whose hidden spare feeds ask a core of 100 W, and a camera on it."""
    fed = {"prefers": "ac", "spare_feed": "hidden", "efficiency": 0.92, "output": "boosted",
           "on_transfer": "sheds-in-time"}  # fmt: skip
    core = unit("main", {"1": device("beside"), "2": feed("a", 20), "3": feed("b", 20)}, fed=None)
    core["pse"] |= {"budget_w": 100, **more}
    leaves = {name: unit("side", {"1": device(f"{name}-cam")}, fed=fed) for name in ("a", "b")}
    return site({"core": core, **leaves})


def test_hidden_feeds_book_nothing_until_they_ask_and_the_second_is_refused() -> None:
    found = hidden(admission="class")
    network = network_of(found)
    base = base_state(network, planned_load(network, Case.TYPICAL))
    assert sum(base.likely.standing(network.index["core"]).grant.booked_w) == pytest.approx(15.4)
    lost = study_failures(network, planned_load(network, Case.TYPICAL)).of("circuit side")
    # 100 - 15.4 W: class 6 for the first (60 W), class 3 for the second (15.4 W): 6 W of its own and 6.4 W to give
    assert set(lost.restarts) == {"a", "b"}
    assert lost.dark == ("b-cam",)


def test_newcomers_are_refused_before_what_is_on() -> None:
    rest = {"admission": "drawn", "budget_w": 35, "shed": "refuse-newcomers"}
    network = network_of(hidden(**rest))
    lost = study_failures(network, planned_load(network, Case.TYPICAL)).of("circuit side")
    assert "beside" in lost.stays
    assert lost.dark == ("b-cam",)


def test_a_unit_that_prefers_its_feed_goes_to_ac_when_the_feed_is_shed() -> None:
    leaf = unit("side", {"1": device("leaf-cam")})
    leaf["fed"] |= {"prefers": "feed"}
    core = unit("main", {"1": device("beside", priority="critical"), "2": feed("leaf", 20, priority="low")}, fed=None)
    core["pse"] |= {"budget_w": 20, "admission": "drawn"}
    solution = solved(site({"core": core, "leaf": leaf}))
    assert standing(solution, "leaf").leg == "ac"
    assert dark(solution) == set()


def test_the_second_feed_takes_over_and_its_feeder_bears_it() -> None:
    leaf = unit(None, {"1": device("leaf-cam")})
    one = unit("main", {"1": feed("leaf/in-1", 20)}, fed=None)
    two = unit("side", {"1": feed("leaf/in-2", 20)}, fed=None)
    found = site({"one": one, "two": two, "leaf": leaf})
    network = network_of(found)
    lost = study_failures(network, planned_load(network, Case.TYPICAL)).of("circuit main")
    assert lost.dark == ()
    solution = solve(network, planned_load(network, Case.TYPICAL), today(network, circuits=frozenset({"main"})))
    assert solution.demand(network.index["two"]).asked_w > 16


def test_a_unit_that_passes_its_input_through() -> None:
    # worked example: at north-pier's 47.7 V a 25.5 W device 90 m away has 42.0 V, under its 42.5 V, on AC 49.1 V
    found = ferry_terminal()
    pier = found.units["north-pier"]
    assert pier.fed is not None
    ports = dict(pier.ports)
    ports["5"] = ports["3"].model_copy(
        update={"device": "far-light", "type": None, "device_class": 4, "typical_w": 25.5, "max_w": 25.5,
                "cable": ports["3"].cable and ports["3"].cable.model_copy(update={"length_m": 90.0})}
    )  # fmt: skip
    network = network_of(found.model_copy(update={"units": {**found.units, "north-pier": pier.model_copy(
        update={"ports": ports})}}))  # fmt: skip
    line = next(port for port in network.units[network.index["north-pier"]].ports if port.key == "5").line
    lost = solved(found, today(network, circuits=frozenset(found.circuits)), Case.FROST_NIGHT)
    input_v = lost.demand(lost.network.index["north-pier"]).feeds[0].pd_v
    assert f"{input_v:.1f}" == "47.7"
    volts = [line.carry(25.5, source_v).pd_v for source_v in (input_v, 54.0)]
    assert [f"{one:.1f}" for one in volts if one is not None] == ["42.0", "49.1"]
    assert line.carry(25.5, input_v).reason is not None
    assert "below its minimum of 42.5 V" in (line.carry(25.5, input_v).reason or "")


def following(lengths: list[int], own_w: float, count: int) -> Network:
    """A chain of units that follow their input, each with cameras of its own."""
    units: dict[str, Any] = {"u0": unit("main", {"9": feed("u1", lengths[0])}, fed=None)}
    for number, length_m in enumerate([*lengths[1:], 0], 1):
        ports: dict[str, Any] = {str(at): device(f"d{number}-{at}", 20) for at in range(1, count + 1)}
        if length_m:
            ports["9"] = feed(f"u{number + 1}", length_m, priority="critical")
        units[f"u{number}"] = unit(None, ports, own_use_w=own_w)
        units[f"u{number}"]["fed"] |= {"output": "follows-input"}
        units[f"u{number}"]["pse"] |= {"admission": "drawn"}
    return network_of(site(units))


def test_a_chain_that_follows_its_input_closes_its_balance() -> None:
    network = following([60, 60, 60], 3.0, 1)
    solution = solve(network, planned_load(network, Case.TYPICAL), NOTHING_OUT)
    given_w = solution.demand(network.index["u0"]).served_w
    devices_w = cables_w = own_w = conversion_w = 0.0
    for one in network.units[:-1]:
        ask, demand = solution.demand(one.index).feeds[0], solution.demand(one.index)
        cables_w += ask.loss_w
        own_w += one.own_w
        conversion_w += demand.served_w * (1 / one.fed_efficiency - 1)
        for port in one.ports:
            if port.device is not None:
                power = port.line.carry(10.0, ask.pd_v)
                devices_w += 10.0
                cables_w += power.loss_w or 0.0
    assert solution.power(0) == SURE
    assert given_w == pytest.approx(devices_w + cables_w + own_w + conversion_w, abs=1e-5)


def test_a_cascade_that_cannot_be_powered_says_so_at_each_unit() -> None:
    network = following([1900, 1900, 1900], 8.0, 0)
    solution = solve(network, planned_load(network, Case.TYPICAL), NOTHING_OUT)
    assert all(solution.power(one.index) == DARK for one in network.units if one.name != "u0")
    for one in network.units:
        if one.name != "u0":
            assert solution.demand(one.index).feeds[0].reason, one.name


def test_the_edge_of_what_a_run_can_carry() -> None:
    # V^2 = 4 P R (IEEE 802.3, P_Class): exactly there the device has half the voltage, a hair beyond there is nothing
    ohm = 54.0**2 / (4 * 10.0)
    ports = {"1": {"device": "edge", "class": 3, "typical_w": 10.0, "min_v": 37.0,
                   "cable": {**cable(0), "connectors_ohm": 0.0, "series_ohm": 0.0}}}  # fmt: skip
    line = network_of(site({"sw": unit("main", ports, fed=None)})).units[0].ports[0].line
    link = line.link.__class__(line.link.name, 54.0, (ohm,), (1.0,), line.link.limits, ())
    at_edge, beyond = link.carry(10.0), link.carry(10.0 + 1e-6)
    assert at_edge.pd_v == pytest.approx(27.0)
    assert at_edge.reason is not None
    assert "below its minimum" in at_edge.reason
    assert beyond.pse_w is None
    assert beyond.reason is not None
    assert "no operating point" in beyond.reason


def test_units_that_feed_each_other_count_as_the_worst() -> None:
    one = unit("main", {"1": feed("two"), "2": device("cam")})
    two = unit("side", {"1": feed("one")})
    network = network_of(site({"one": one, "two": two}))
    found = study_failures(network, planned_load(network, Case.TYPICAL))
    assert set(network.uncomputed.values()) == {
        "one: units feed each other, no watts can be computed",
        "two: units feed each other, no watts can be computed",
    }
    assert found.of("circuit side").verdict.outcome == "not survived"


def test_supply_modes_and_a_lost_module() -> None:
    for mode, whole_w, one_w in (("combined", 440, 220), ("n+1", 220, 220), ("n+n", 220, 220), ("single", 220, 220)):
        found = ferry_terminal()
        core = found.units["core"].model_copy(update={"supply_mode": mode})
        network = network_of(found.model_copy(update={"units": {**found.units, "core": core}}))
        load = planned_load(network, Case.NIGHT)
        lost = solve(network, load, today(network, supplies=frozenset({("core", 1)})))
        assert standing(solve(network, load, NOTHING_OUT), "core").budget_w == whole_w
        assert standing(lost, "core").budget_w == one_w
