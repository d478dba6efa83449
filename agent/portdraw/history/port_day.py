"""A port's day (or many): how long it drew each 0.1 W value, so that percentiles stay exact over any period.

A reading stands for its poll interval, so time, not the number of readings, is what is counted: days that
were polled at different rates can be added.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
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
        total_ms = sum(self.ms_at.values())
        passed_ms = 0
        for value_dw in sorted(self.ms_at):
            passed_ms += self.ms_at[value_dw]
            if passed_ms > 0 and passed_ms * 100 >= q * total_ms:
                return value_dw / 10
        return None

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


def merge(days: Iterable[PortDay]) -> PortDay:
    """Return the days of one port as one. Raises ValueError on no days, or on days of different ports."""
    listed = list(days)
    if not listed:
        raise ValueError("there is no day to merge")
    first = listed[0]
    ms_at: dict[int, int] = {}
    ms_in_state: dict[PortState, int] = {}
    ms_on_basis: dict[Basis, int] = {}
    peak_dw, peak_s = -1, None
    for day in listed:
        if (day.unit, day.port) != (first.unit, first.port):
            raise ValueError(f"the days of {first.unit} {first.port} and {day.unit} {day.port} can't be merged")
        _add(ms_at, day.ms_at)
        _add(ms_in_state, day.ms_in_state)
        _add(ms_on_basis, day.ms_on_basis)
        day_peak_dw = max(day.ms_at, default=-1)
        earlier = peak_s is None or (day.peak_s is not None and day.peak_s < peak_s)
        if day_peak_dw > peak_dw or (day_peak_dw == peak_dw and earlier):
            peak_dw, peak_s = day_peak_dw, day.peak_s
    return PortDay(
        unit=first.unit,
        port=first.port,
        first_day=min(day.first_day for day in listed),
        last_day=max(day.last_day for day in listed),
        ms_at=ms_at,
        ms_unknown=sum(day.ms_unknown for day in listed),
        ms_in_state=ms_in_state,
        ms_on_basis=ms_on_basis,
        peak_s=peak_s,
        hour_max_dw=tuple(map(max, zip(*(day.hour_max_dw for day in listed), strict=True))),
    )


def merge_by_port(days: Iterable[PortDay]) -> dict[tuple[str, str | None], PortDay]:
    """Return one merged PortDay for every (unit, port); the port of a unit's total is None."""
    grouped: dict[tuple[str, str | None], list[PortDay]] = {}
    for day in days:
        grouped.setdefault((day.unit, day.port), []).append(day)
    return {key: merge(group) for key, group in grouped.items()}


def _add(into: dict[Key, int], more: Mapping[Key, int]) -> None:
    for key, ms in more.items():
        into[key] = into.get(key, 0) + ms
