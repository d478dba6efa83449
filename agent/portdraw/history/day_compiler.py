"""From the hot readings of a local day to its port-days and unit-days."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from itertools import groupby
from zoneinfo import ZoneInfo

from portdraw.history.hot_reading import BASES, HotReading, basis_of, state_of
from portdraw.history.port_day import HOURS, PortDay
from portdraw.observation.record import Basis, PortState

# A unit's sum of ports is trusted where every port's watts follow the current that flows.
_FOLLOWS_CURRENT = frozenset({Basis.MEASURED, Basis.LEARNED, Basis.ESTIMATED})


class _Tally:
    """Counts one port's day while its readings pass."""

    __slots__ = (
        "hours",
        "ms_at",
        "ms_in_state",
        "ms_known",
        "ms_on_basis",
        "ms_unknown",
        "peak_dw",
        "peak_ms",
    )

    def __init__(self) -> None:
        self.ms_at: dict[int, int] = {}
        self.ms_in_state: dict[PortState, int] = {}
        self.ms_on_basis: dict[Basis, int] = {}
        self.ms_known = 0
        self.ms_unknown = 0
        self.peak_dw = -1
        self.peak_ms = -1
        self.hours = [-1] * HOURS

    def count(self, run: _Run, draws_dw: Sequence[int], marks: Sequence[int]) -> None:
        """Count one port's column of a run of readings; equal pairs of draw and mark are counted together."""
        for (draw_dw, mark), times in Counter(zip(draws_dw, marks, strict=True)).items():
            ms = times * run.interval_ms
            state, basis = state_of(mark), basis_of(mark)
            if state is not None:
                self.ms_in_state[state] = self.ms_in_state.get(state, 0) + ms
            if draw_dw < 0:
                self.ms_unknown += ms
                continue
            self.ms_known += ms
            self.ms_at[draw_dw] = self.ms_at.get(draw_dw, 0) + ms
            if basis is not None:
                self.ms_on_basis[basis] = self.ms_on_basis.get(basis, 0) + ms
        for hour, first, last in run.hours:
            top_dw = max(draws_dw[first:last])
            if top_dw > self.hours[hour]:
                self.hours[hour] = top_dw
            if top_dw > self.peak_dw:
                self.peak_dw, self.peak_ms = top_dw, run.times_ms[draws_dw.index(top_dw, first)]


@dataclass(frozen=True)
class _Run:
    """Readings of one unit that follow each other with the same ports and interval; `hours` are (hour, from, to)."""

    interval_ms: int
    times_ms: list[int]
    hours: list[tuple[int, int, int]]


def _runs(polls: Iterable[HotReading], zone: ZoneInfo) -> Iterator[tuple[_Run, list[HotReading]]]:
    for (_, interval_ms), group in groupby(polls, key=lambda reading: (reading.ports, reading.interval_ms)):
        together = list(group)
        hours: list[tuple[int, int, int]] = []
        at = 0
        for hour, same in groupby(datetime.fromtimestamp(one.time_ms / 1000, zone).hour for one in together):
            count = sum(1 for _ in same)
            hours.append((hour, at, at + count))
            at += count
        yield _Run(interval_ms, [one.time_ms for one in together], hours), together


def unit_draw(reading: HotReading) -> tuple[int, Basis | None]:
    """Return a unit's draw in 0.1 W (-1 unknown) and what it rests on.

    The sum over the ports where each delivering port tells watts that follow the current; else the unit's own
    total (whole watts in RFC 3621); else the sum of whatever every delivering port tells; else unknown.
    """
    if reading.draws_dw and min(reading.draws_dw) >= 0:
        worst, follows = _bases_of(reading.marks)
        if follows:
            return sum(reading.draws_dw), BASES[worst]
    total_dw, worst, told, follows = 0, 0, False, True
    for draw_dw, mark in zip(reading.draws_dw, reading.marks, strict=True):
        state = state_of(mark)
        if draw_dw < 0:
            if state is None or state is PortState.DELIVERING:
                return reading.total_dw, reading.total_basis
            continue  # a port that does not deliver adds nothing to the sum
        told = True
        total_dw += draw_dw
        basis = basis_of(mark)
        worst = max(worst, BASES.index(basis))
        follows = follows and (draw_dw == 0 or basis in _FOLLOWS_CURRENT)
    if not told or (reading.total_dw >= 0 and not follows):
        return reading.total_dw, reading.total_basis
    return total_dw, BASES[worst]


@lru_cache(maxsize=256)
def _bases_of(marks: bytes) -> tuple[int, bool]:
    """Return the weakest basis among all ports, and whether all of them follow the current; marks seldom change."""
    return max(mark & 7 for mark in marks), all(basis_of(mark) in _FOLLOWS_CURRENT for mark in marks)


def compile_day(day: date, readings: Iterable[HotReading], zone: ZoneInfo) -> list[PortDay]:
    """Return the port-days, and the unit-days (port None), of readings that all fall in the local day `day`.

    A poll that brought nothing for a port is unknown time for it, if the port was read at all that day.
    """
    by_unit: dict[str, list[HotReading]] = {}
    for reading in readings:
        by_unit.setdefault(reading.unit, []).append(reading)
    compiled: list[PortDay] = []
    for unit, polls in by_unit.items():
        tallies: dict[str, _Tally] = {}
        whole = _Tally()
        for run, together in _runs(polls, zone):
            draws = zip(*(reading.draws_dw for reading in together), strict=True)
            marks = zip(*(reading.marks for reading in together), strict=True)
            for port, port_draws, port_marks in zip(together[0].ports, draws, marks, strict=True):
                tallies.setdefault(port, _Tally()).count(run, port_draws, port_marks)
            totals = [unit_draw(reading) for reading in together]
            whole.count(run, [dw for dw, _ in totals], [BASES.index(basis) for _, basis in totals])
        polled_ms = sum(reading.interval_ms for reading in polls)
        for tally in tallies.values():
            tally.ms_unknown = polled_ms - tally.ms_known
        compiled.append(_port_day(unit, None, day, whole))
        compiled += [_port_day(unit, port, day, tally) for port, tally in tallies.items()]
    return compiled


def _port_day(unit: str, port: str | None, day: date, tally: _Tally) -> PortDay:
    return PortDay(
        unit=unit,
        port=port,
        first_day=day,
        last_day=day,
        ms_at=tally.ms_at,
        ms_unknown=tally.ms_unknown,
        ms_in_state=tally.ms_in_state,
        ms_on_basis=tally.ms_on_basis,
        peak_s=None if tally.peak_ms < 0 else tally.peak_ms / 1000,
        hour_max_dw=tuple(tally.hours),
    )
