"""From readings to days, against sums by hand."""

from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

import pytest
from tests.history.samples import observation, silent

from portdraw.history.day_compiler import compile_day, unit_draw
from portdraw.history.hot_reading import from_observation
from portdraw.history.port_day import PortDay
from portdraw.history.site_day import day_start_s
from portdraw.observation.record import Basis, PortState
from portdraw.observation.unit_observation import UnitObservation

FAROE = ZoneInfo("Atlantic/Faroe")
DAY = date(2026, 3, 2)
START_S = day_start_s(DAY, FAROE)


def compiled(polls: list[tuple[UnitObservation, float]]) -> dict[str | None, PortDay]:
    """Return the port-days of one unit by port."""
    readings = [from_observation(seen, interval_s) for seen, interval_s in polls]
    return {day.port: day for day in compile_day(DAY, readings, FAROE)}


def test_a_reading_stands_for_its_interval() -> None:
    """Uneven spacing: 30 s at 5 W, 300 s at 7 W, 30 s unknown, 30 s without any answer."""
    days = compiled(
        [
            (observation("core", START_S + 10, {"1": 5.0}), 30),
            (observation("core", START_S + 40, {"1": 7.0}), 300),
            (observation("core", START_S + 340, {"1": None}), 30),
            (silent("core", START_S + 370), 30),
        ]
    )
    port = days["1"]
    assert port.ms_at == {50: 30_000, 70: 300_000}
    assert port.seconds_known == 330
    assert port.seconds_unknown == 60
    assert port.seconds_delivering == 360  # the state was told with the unknown watts too
    assert port.peak_s == START_S + 40
    assert port.percentile(50) == 7.0
    assert port.max_in_hour_w(0) == 7.0
    assert days[None].ms_at == port.ms_at
    assert days[None].seconds_unknown == 60


def test_a_port_that_came_later_was_unknown_before() -> None:
    """The unit answered in part at first: that time is unknown for port 2, not zero."""
    days = compiled(
        [
            (observation("core", START_S, {"1": 5.0}), 30),
            (observation("core", START_S + 30, {"1": 5.0, "2": 3.0}), 30),
        ]
    )
    assert days["2"].ms_at == {30: 30_000}
    assert days["2"].seconds_unknown == 30


@pytest.mark.parametrize(
    ("seen", "expected"),
    [
        # every port tells: their sum, finer than the unit's whole watts
        (observation("u", 1, {"1": 5.4, "2": 3.3}, total_w=9), (87, Basis.MEASURED)),
        # a delivering port does not tell: the unit's own total
        (observation("u", 1, {"1": 5.4, "2": None}, total_w=9), (90, Basis.MEASURED)),
        (observation("u", 1, {"1": 5.4, "2": None}), (-1, None)),
        # a port that gives nothing adds nothing
        (observation("u", 1, {"1": 5.4, "2": None}, states={"2": PortState.SEARCHING}), (54, Basis.MEASURED)),
        # what is only granted does not beat a measured total, but is better than nothing
        (observation("u", 1, {"1": 15.4}, basis=Basis.GRANTED, total_w=6), (60, Basis.MEASURED)),
        (observation("u", 1, {"1": 15.4}, basis=Basis.GRANTED), (154, Basis.GRANTED)),
        (observation("u", 1, {}, total_w=6), (60, Basis.MEASURED)),
        (silent("u", 1), (-1, None)),
    ],
)
def test_what_a_unit_draws(seen: UnitObservation, expected: tuple[int, Basis | None]) -> None:
    """By hand."""
    assert unit_draw(from_observation(seen, 30)) == expected


def test_shares_of_basis() -> None:
    """Two thirds measured, one third granted."""
    days = compiled(
        [
            (observation("core", START_S, {"1": 5.0}), 200),
            (observation("core", START_S + 200, {"1": 15.4}, basis=Basis.GRANTED), 100),
        ]
    )
    assert days["1"].basis_shares == pytest.approx({Basis.MEASURED: 2 / 3, Basis.GRANTED: 1 / 3})
