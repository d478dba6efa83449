"""From a unit's answers to learned draws: the ferry terminal's ticket hall, told as a total only."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from tests.judgement.scene import EVERY_S, answers, ferry_terminal, record

from portdraw.judgement.assessment import SiteAssessment, UnitAssessment
from portdraw.judgement.compare import assess
from portdraw.judgement.draw_estimates import dumped, restored
from portdraw.judgement.memory import Memory
from portdraw.judgement.plan_sheet import plan_sheet
from portdraw.observation.record import Basis, PortState, Quantity
from portdraw.observation.unit_observation import UnitObservation
from portdraw.plan.load_case import Case
from portdraw.plan.tree import Tree

SITE = ferry_terminal()
TREE = Tree(SITE)
NOON_S = 1_772_452_800.0  # 2026-03-02 12:00 in the Atlantic/Faroe zone (UTC+0 in winter)
HALL = "ticket-hall"
FACTOR = 1.2  # every device draws a fifth more than planned
PLANNED = answers(SITE, NOON_S, case=Case.TYPICAL)


def told(unit: str, time_s: float, off: tuple[str, ...] = ()) -> UnitObservation:
    """A unit's answer with its total alone, truncated, some ports off."""
    records, total_w = [], 0.0
    for one in PLANNED[unit].records:
        if one.quantity is Quantity.PORT_DRAW:
            total_w += 0.0 if one.port in off else (one.number() or 0.0) * FACTOR
        elif one.quantity is Quantity.PORT_STATE and one.port in off:
            records.append(record(one.port, one.quantity, PortState.DISABLED, time_s))
        else:
            records.append(replace(one, read_s=time_s))
    records.append(record(None, Quantity.UNIT_DRAW, int(total_w), time_s))
    return UnitObservation(unit, time_s - 1, time_s, PLANNED[unit].outcome, "", tuple(records))


def watch(polls: int, memory: Memory, first: int = 0, unit: str = HALL) -> tuple[SiteAssessment, Memory]:
    """Some polls of one unit; its first port with watts goes off every other 20 polls."""
    port = next(one.port for one in PLANNED[unit].records if one.quantity is Quantity.PORT_DRAW)
    assert port is not None
    for poll in range(first, first + polls):
        time_s = NOON_S + poll * EVERY_S
        found = {unit: told(unit, time_s, (port,) if poll // 20 % 2 else ())}
        seen, memory = assess(SITE, TREE, found, time_s, EVERY_S, emulated=True, memory=memory)
    return seen, memory


def hall_of(seen: SiteAssessment) -> UnitAssessment:
    """The ticket hall."""
    hall = seen.unit(HALL)
    assert hall is not None
    return hall


def test_a_port_that_switches_is_learned_and_the_rest_estimated() -> None:
    seen, _ = watch(180, Memory())
    hall = hall_of(seen)
    first, *others = [port for port in hall.ports if port.state is PortState.DELIVERING]
    assert first.basis is Basis.LEARNED
    assert first.source.startswith("test: learned from ")
    assert {port.basis for port in others} == {Basis.ESTIMATED}
    true_w = FACTOR * next(one.number() or 0.0 for one in PLANNED[HALL].records if one.quantity is Quantity.PORT_DRAW)
    assert first.draw_w == pytest.approx(true_w, abs=0.6)  # a step between whole watts is right to one watt
    assert first.uncertainty_w is not None
    assert abs((first.draw_w or 0.0) - true_w) <= first.uncertainty_w
    for port in others:  # never seen to switch: no surer than the plan's quarter
        assert port.uncertainty_w is not None
        assert port.planned_now_w is not None
        assert port.uncertainty_w >= 0.25 * port.planned_now_w
    assert (hall.draw_w, hall.draw_basis, hall.draw_complete) == (hall.total_w, Basis.MEASURED, True)
    assert sum(port.draw_w or 0.0 for port in hall.ports) == pytest.approx(hall.total_w, abs=1.0)


def test_what_was_learned_outlives_a_restart() -> None:
    _, memory = watch(180, Memory())
    sheet = plan_sheet(SITE, TREE)
    kept = json.loads(json.dumps(dumped(memory.draws[HALL])))
    again = Memory(sheet=sheet, draws={HALL: restored(TREE, sheet, HALL, kept)})
    seen, _ = watch(3, again, first=200)
    learned = [port for port in hall_of(seen).ports if port.basis is Basis.LEARNED]
    assert len(learned) == 1


def test_the_same_answer_teaches_once() -> None:
    _, memory = watch(30, Memory())
    time_s = NOON_S + 29 * EVERY_S
    _, again = assess(SITE, TREE, {HALL: told(HALL, time_s, ("1",))}, time_s + 5, EVERY_S, True, memory)
    assert again.draws[HALL].keyed is memory.draws[HALL].keyed


def test_a_unit_that_falls_silent_has_no_watts_but_keeps_what_it_learned() -> None:
    _, memory = watch(180, Memory())
    seen, after = assess(SITE, TREE, {}, NOON_S + 200 * EVERY_S, EVERY_S, emulated=True, memory=memory)
    assert {port.draw_w for port in hall_of(seen).ports} == {None}
    assert after.draws[HALL].learning is memory.draws[HALL].learning


def test_an_allocation_is_no_total() -> None:
    found = told(HALL, NOON_S)
    granted = [
        replace(one, basis=Basis.GRANTED) if one.quantity is Quantity.UNIT_DRAW else one for one in found.records
    ]
    seen, memory = assess(SITE, TREE, {HALL: replace(found, records=tuple(granted))}, NOON_S, EVERY_S, True, Memory())
    assert memory.draws == {}
    assert {port.basis for port in hall_of(seen).ports if port.state is PortState.DELIVERING} == {None}


@pytest.mark.parametrize("value", [{}, {"ports": 3}, {"ports": [1]}, {"ports": ["1"]}])
def test_what_can_not_be_read_is_refused(value: dict[str, object]) -> None:
    with pytest.raises(ValueError, match="what was learned of draws"):
        restored(TREE, plan_sheet(SITE, TREE), HALL, value)


def test_a_feeder_takes_its_feeds_from_who_carries_them() -> None:
    time_s = NOON_S
    memory = Memory()
    for poll in range(3):
        time_s = NOON_S + poll * EVERY_S
        found = {name: replace(one, began_s=time_s - 1, ended_s=time_s) for name, one in PLANNED.items()}
        fresh = {
            name: replace(one, records=tuple(replace(record, read_s=time_s) for record in one.records))
            for name, one in found.items()
        }
        fresh["core"] = told("core", time_s)
        seen, memory = assess(SITE, TREE, fresh, time_s, EVERY_S, emulated=True, memory=memory)
    core = seen.unit("core")
    assert core is not None
    feeds = [port for port in core.ports if port.feeds_unit and port.state is PortState.DELIVERING]
    assert feeds
    for port in feeds:  # all units below stand on local AC: their feeds are near standby
        assert port.basis is Basis.ESTIMATED
        assert port.draw_w == pytest.approx(port.planned_now_w, abs=2.0)
