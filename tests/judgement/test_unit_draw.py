"""A unit's draw from its ports and its total, and the proof that the two agree."""

from __future__ import annotations

import pytest
from tests.judgement.scene import NIGHT_S, answer, delivering, ferry_terminal, record

from portdraw.judgement.port_draw import PortPlan, assess_port
from portdraw.judgement.unit_draw import UnitDraw, unit_draw
from portdraw.observation.record import Basis, Quantity, Record

SITE = ferry_terminal()


def draw(watts: dict[str, float | None], total_w: float | None, *more: Record) -> UnitDraw:
    """The draw of berth-1 with delivering ports and a total."""
    records = [one for key, port_w in watts.items() for one in delivering(key, port_w, NIGHT_S)]
    if total_w is not None:
        records.append(record(None, Quantity.UNIT_DRAW, total_w, NIGHT_S))
    found = answer("berth-1", NIGHT_S, *records, *more)
    ports = [assess_port(SITE, "berth-1", key, PortPlan(0, 0), found, NIGHT_S - 90) for key in watts]
    return unit_draw(ports, found, NIGHT_S - 90)


@pytest.mark.parametrize(
    ("total_w", "agrees"),
    [(None, True), (30, True), (29, True), (31, True), (32.5, True), (32.7, False), (27.5, True), (27.4, False)],
)
def test_proof_within_one_watt_and_five_percent(total_w: float | None, agrees: bool) -> None:
    found = draw({"1": 20.0, "2": 10.0}, total_w)
    assert (found.draw_w, found.complete) == (30.0, agrees)
    assert bool(found.notes) is not agrees


@pytest.mark.parametrize(("total_w", "factor"), [(30_000, 1000), (300, 10), (3, 10)])
def test_a_wrong_unit_of_measure_is_named(total_w: float, factor: int) -> None:
    (note,) = draw({"1": 20.0, "2": 10.0}, total_w).notes
    assert note == (
        f"its ports sum up to 30.0 W, its own total is {total_w:.1f} W: about {factor} times apart, "
        "so one of them is in another unit of measure"
    )


def test_a_port_without_watts_leaves_only_a_part() -> None:
    found = draw({"1": 20.0, "2": None}, None)
    assert (found.draw_w, found.complete) == (20.0, False)
    assert found.notes == ("1 port without watts: the sum is only the part that is known",)


def test_the_total_stands_in_where_a_port_tells_nothing() -> None:
    assert draw({"1": 20.0, "2": None}, 31.0) == UnitDraw(31.0, Basis.MEASURED, True, 31.0)


def test_nothing_known_is_unknown_not_zero() -> None:
    assert draw({"1": None, "2": None}, None) == UnitDraw(None, None, False, None)
    assert unit_draw([], None, NIGHT_S) == UnitDraw(None, None, False, None)


def test_the_basis_is_that_of_the_worst_part_and_granted_watts_prove_nothing() -> None:
    granted = record("2", Quantity.PORT_GRANTED, 12.95, NIGHT_S)
    found = draw({"1": 20.0, "2": None}, 24.0, granted)
    assert found.basis is Basis.GRANTED
    assert found.complete
