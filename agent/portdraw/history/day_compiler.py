"""From the hot readings of a local day to its port-days and unit-days."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
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

    def count(
        self, reading: HotReading, hour: int, draw_dw: int, basis: Basis | None, state: PortState | None
    ) -> None:
        ms = reading.interval_ms
        if state is not None:
            self.ms_in_state[state] = self.ms_in_state.get(state, 0) + ms
        if draw_dw < 0:
            self.ms_unknown += ms
            return
        self.ms_known += ms
        self.ms_at[draw_dw] = self.ms_at.get(draw_dw, 0) + ms
        if basis is not None:
            self.ms_on_basis[basis] = self.ms_on_basis.get(basis, 0) + ms
        if draw_dw > self.peak_dw:
            self.peak_dw, self.peak_ms = draw_dw, reading.time_ms
        if draw_dw > self.hours[hour]:
            self.hours[hour] = draw_dw


def unit_draw(reading: HotReading) -> tuple[int, Basis | None]:
    """Return a unit's draw in 0.1 W (-1 unknown) and what it rests on.

    The sum over the ports where each delivering port tells watts that follow the current; else the unit's own
    total (whole watts in RFC 3621); else the sum of whatever every delivering port tells; else unknown.
    """
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
        polled_ms = 0
        for reading in polls:
            hour = datetime.fromtimestamp(reading.time_ms / 1000, zone).hour
            polled_ms += reading.interval_ms
            for port, draw_dw, mark in zip(reading.ports, reading.draws_dw, reading.marks, strict=True):
                tally = tallies.get(port)
                if tally is None:
                    tally = tallies[port] = _Tally()
                tally.count(reading, hour, draw_dw, basis_of(mark), state_of(mark))
            total_dw, total_basis = unit_draw(reading)
            whole.count(reading, hour, total_dw, total_basis, None)
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
