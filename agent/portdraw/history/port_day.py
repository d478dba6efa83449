"""A port's day (or many): how long it drew each 0.1 W value, so that percentiles stay exact over any period.

A reading stands for its poll interval, so time, not the number of readings, is what is counted: days that
were polled at different rates can be added.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import accumulate
from typing import TypeVar

from portdraw.observation.record import Basis, PortState

HOURS = 24

Key = TypeVar("Key")


@dataclass(frozen=True)
class PortDay:
    """One port, or a unit's total (port is None), over the local days first_day to last_day.

    `ms_at` is milliseconds per value in 0.1 W at the PSE output. `ms_unknown` is time that was polled without
    learning the draw; time that nobody polled is in neither. `peak_s` is when the largest draw was first read
    [s since the epoch]. `hour_max_dw` is the largest draw in each local hour of the day, -1 where unknown.
    """

    unit: str
    port: str | None
    first_day: date
    last_day: date
    ms_at: Mapping[int, int]
    ms_unknown: int
    ms_in_state: Mapping[PortState, int]
    ms_on_basis: Mapping[Basis, int]
    peak_s: float | None
    hour_max_dw: tuple[int, ...] = (-1,) * HOURS

    @property
    def day(self) -> date:
        """The local day; the first one where several were merged."""
        return self.first_day

    @property
    def seconds_known(self) -> float:
        """Time for which the draw is known [s]."""
        return sum(self.ms_at.values()) / 1000

    @property
    def seconds_unknown(self) -> float:
        """Time that was polled without learning the draw [s]."""
        return self.ms_unknown / 1000

    @property
    def seconds_delivering(self) -> float:
        """Time in the state "delivering" [s]."""
        return self.seconds_in_state(PortState.DELIVERING)

    def seconds_in_state(self, state: PortState) -> float:
        """Return the time in one port state [s]."""
        return self.ms_in_state.get(state, 0) / 1000

    def seconds_at_or_above(self, watts: float) -> float:
        """Return how long the draw was known to be `watts` or more [s], to the grain of 0.1 W."""
        limit_dw = round(watts * 10)
        return sum(ms for value_dw, ms in self.ms_at.items() if value_dw >= limit_dw) / 1000

    def percentile(self, q: float) -> float | None:
        """Return the smallest draw [W] that was not exceeded for q percent of the known time; q is 0 to 100.

        This is the inverse of the empirical distribution (Hyndman and Fan 1996, definition 1), weighted by
        time: always a value that was read. None where nothing is known. Raises ValueError outside 0 to 100.
        """
        if not 0 <= q <= 100:
            raise ValueError("a percentile is 0 to 100")
        values_dw = sorted(self.ms_at)
        passed_ms = list(accumulate(map(self.ms_at.__getitem__, values_dw)))
        if not passed_ms or passed_ms[-1] <= 0:
            return None
        least_ms = q * passed_ms[-1]
        first = bisect_left(passed_ms, True, key=lambda ms: ms > 0 and ms * 100 >= least_ms)
        return values_dw[first] / 10

    @property
    def mean_w(self) -> float | None:
        """Mean draw over the known time [W], None where nothing is known."""
        total_ms = sum(self.ms_at.values())
        if total_ms == 0:
            return None
        return sum(value_dw * ms for value_dw, ms in self.ms_at.items()) / total_ms / 10

    @property
    def max_w(self) -> float | None:
        """Largest draw that was read [W], None where nothing is known."""
        return max(self.ms_at) / 10 if self.ms_at else None

    @property
    def basis_shares(self) -> dict[Basis, float]:
        """Share of the known time that rests on each basis, largest first; the shares add up to 1."""
        total_ms = sum(self.ms_on_basis.values())
        if total_ms == 0:
            return {}
        ordered = sorted(self.ms_on_basis.items(), key=lambda item: (-item[1], item[0].value))
        return {basis: ms / total_ms for basis, ms in ordered if ms > 0}

    def max_in_hour_w(self, hour: int) -> float | None:
        """Return the largest draw [W] read in a local hour, 0 to 23; None where none was."""
        value_dw = self.hour_max_dw[hour]
        return None if value_dw < 0 else value_dw / 10


class PortDaySum:
    """Adds the days of one port up, one after the other, so that no day need be kept."""

    def __init__(self, first: PortDay) -> None:
        self._unit, self._port = first.unit, first.port
        self._first_day, self._last_day = first.first_day, first.last_day
        self._ms_at: dict[int, int] = {}
        self._ms_unknown = 0
        self._ms_in_state: dict[PortState, int] = {}
        self._ms_on_basis: dict[Basis, int] = {}
        self._peak_dw, self._peak_s = -1, first.peak_s
        self._hour_max_dw: tuple[int, ...] = first.hour_max_dw
        self.add(first)

    def add(self, day: PortDay) -> None:
        """Add a day. Raises ValueError on a day of another port."""
        if (day.unit, day.port) != (self._unit, self._port):
            raise ValueError(f"the days of {self._unit} {self._port} and {day.unit} {day.port} can't be merged")
        self._first_day = min(self._first_day, day.first_day)
        self._last_day = max(self._last_day, day.last_day)
        _add(self._ms_at, day.ms_at)
        self._ms_unknown += day.ms_unknown
        _add(self._ms_in_state, day.ms_in_state)
        _add(self._ms_on_basis, day.ms_on_basis)
        peak_dw = max(day.ms_at, default=-1)
        earlier = self._peak_s is None or (day.peak_s is not None and day.peak_s < self._peak_s)
        if peak_dw > self._peak_dw or (peak_dw == self._peak_dw and earlier):
            self._peak_dw, self._peak_s = peak_dw, day.peak_s
        self._hour_max_dw = tuple(map(max, self._hour_max_dw, day.hour_max_dw))

    def whole(self) -> PortDay:
        """Return what was added so far as one PortDay."""
        return PortDay(
            unit=self._unit,
            port=self._port,
            first_day=self._first_day,
            last_day=self._last_day,
            ms_at=dict(self._ms_at),
            ms_unknown=self._ms_unknown,
            ms_in_state=dict(self._ms_in_state),
            ms_on_basis=dict(self._ms_on_basis),
            peak_s=self._peak_s,
            hour_max_dw=self._hour_max_dw,
        )


def merge(days: Iterable[PortDay]) -> PortDay:
    """Return the days of one port as one. Raises ValueError on no days, or on days of different ports."""
    merged: PortDaySum | None = None
    for day in days:
        if merged is None:
            merged = PortDaySum(day)
        else:
            merged.add(day)
    if merged is None:
        raise ValueError("there is no day to merge")
    return merged.whole()


def merge_by_port(days: Iterable[PortDay]) -> dict[tuple[str, str | None], PortDay]:
    """Return one merged PortDay for every (unit, port); the port of a unit's total is None. Keeps no single day."""
    merged: dict[tuple[str, str | None], PortDaySum] = {}
    for day in days:
        one = merged.get((day.unit, day.port))
        if one is None:
            merged[day.unit, day.port] = PortDaySum(day)
        else:
            one.add(day)
    return {key: one.whole() for key, one in merged.items()}


def _add(into: dict[Key, int], more: Mapping[Key, int]) -> None:
    for key, ms in more.items():
        into[key] = into.get(key, 0) + ms
