"""Where local days begin and end. Reference: the changes of clocks in the IANA time zone database."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portdraw.history.site_day import day_end_s, day_of, day_start_s, days, gaps

FAROE = ZoneInfo("Atlantic/Faroe")


def utc_s(text: str) -> float:
    """Return seconds since the epoch of a UTC time."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("day", "start", "hours"),
    [
        (date(2026, 3, 28), "2026-03-28T00:00", 24),
        (date(2026, 3, 29), "2026-03-29T00:00", 23),  # clocks go from 01:00 to 02:00 (EU summer time, 01:00 UTC)
        (date(2026, 3, 30), "2026-03-29T23:00", 24),
        (date(2026, 10, 25), "2026-10-24T23:00", 25),  # and back at 01:00 UTC
    ],
)
def test_days_around_summer_time(day: date, start: str, hours: int) -> None:
    """Faroe: UTC in winter, UTC+1 in summer."""
    assert day_start_s(day, FAROE) == utc_s(start)
    assert (day_end_s(day, FAROE) - day_start_s(day, FAROE)) / 3600 == hours


def test_a_midnight_that_does_not_exist() -> None:
    """Santiago: on 2024-09-08 clocks went from 00:00 to 01:00 (04:00 UTC); the day is 23 h long."""
    zone, day = ZoneInfo("America/Santiago"), date(2024, 9, 8)
    assert day_start_s(day, zone) == utc_s("2024-09-08T04:00")
    assert (day_end_s(day, zone) - day_start_s(day, zone)) / 3600 == 23


def test_a_day_that_does_not_exist() -> None:
    """Apia had no 2011-12-30: the island crossed the date line."""
    zone = ZoneInfo("Pacific/Apia")
    assert day_start_s(date(2011, 12, 30), zone) == day_end_s(date(2011, 12, 30), zone)


@given(st.integers(0, 4_000_000_000), st.sampled_from(["Atlantic/Faroe", "America/Santiago", "Asia/Kathmandu"]))
def test_every_moment_is_within_its_day(time_s: int, name: str) -> None:
    """day_of agrees with start and end."""
    zone = ZoneInfo(name)
    day = day_of(time_s, zone)
    assert day_start_s(day, zone) <= time_s < day_end_s(day, zone)


def test_days_are_counted_with_both_ends() -> None:
    """By hand."""
    assert list(days(date(2026, 2, 28), date(2026, 3, 1))) == [date(2026, 2, 28), date(2026, 3, 1)]
    assert list(days(date(2026, 3, 1), date(2026, 2, 28))) == []


@pytest.mark.parametrize(
    ("taken", "left"),
    [
        ([], [(10, 20)]),
        ([(0, 12)], [(12, 20)]),
        ([(12, 14), (14, 16)], [(10, 12), (16, 20)]),
        ([(0, 30)], []),
        ([(5, 15), (6, 8)], [(15, 20)]),
        ([(18, 25)], [(10, 18)]),
        ([(25, 30)], [(10, 20)]),
    ],
)
def test_gaps(taken: list[tuple[float, float]], left: list[tuple[float, float]]) -> None:
    """By hand, of the span 10 to 20."""
    assert list(gaps(10, 20, taken)) == left
