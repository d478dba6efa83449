"""Local days of the site: where a day begins and ends on the epoch clock, over changes of summer time too."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo


def day_of(time_s: float, zone: ZoneInfo) -> date:
    """Return the local day that holds `time_s` [s since the epoch]."""
    return datetime.fromtimestamp(time_s, zone).date()


def day_start_s(day: date, zone: ZoneInfo) -> float:
    """Return the first instant of a local day [s since the epoch].

    Where a change of clocks skips midnight, the day begins at the change; where midnight comes twice, at the
    first one (PEP 495, fold=0).
    """
    return datetime(day.year, day.month, day.day, tzinfo=zone).timestamp()


def day_end_s(day: date, zone: ZoneInfo) -> float:
    """Return the first instant of the day after [s since the epoch]: 23 to 25 hours after the start."""
    return day_start_s(day + timedelta(days=1), zone)


def days(first: date, last: date) -> Iterator[date]:
    """Yield every day from first to last, both included; nothing where last is before first."""
    for offset in range((last - first).days + 1):
        yield first + timedelta(days=offset)


def gaps(from_s: float, to_s: float, taken: Iterable[tuple[float, float]]) -> Iterator[tuple[float, float]]:
    """Yield what of the span from_s to to_s is left between the spans `taken`, which come in order of start."""
    at_s = from_s
    for start_s, end_s in taken:
        if start_s > at_s:
            yield at_s, min(start_s, to_s)
        at_s = max(at_s, end_s)
    if at_s < to_s:
        yield at_s, to_s
