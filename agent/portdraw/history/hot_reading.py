"""What one poll of one unit leaves behind in history, and its packed form.

Draws are kept to 0.1 W, the grain of the readings themselves; the last field of a port is one byte of
state and basis. A row is about 26 bytes and 3 bytes a port.
"""

from __future__ import annotations

import math
import struct
from dataclasses import dataclass

from portdraw.observation.record import Basis, PortState, Quantity, Record
from portdraw.observation.unit_observation import Outcome, UnitObservation

# The order of these lists is the file format: append only.
OUTCOMES = (
    Outcome.ANSWERED,
    Outcome.PARTIAL,
    Outcome.SILENT,
    Outcome.REFUSED,
    Outcome.GARBLED,
    Outcome.NOT_READABLE,
)
STATES = (
    None,
    PortState.DISABLED,
    PortState.SEARCHING,
    PortState.DELIVERING,
    PortState.FAULT,
    PortState.TEST,
    PortState.OTHER_FAULT,
)
BASES = (
    None,
    Basis.MEASURED,
    Basis.LEARNED,
    Basis.ESTIMATED,
    Basis.GRANTED,
    Basis.CEILING,
    Basis.PLANNED,
)

# In these states the port gives no power, whatever its other columns still show (RFC 3621,
# pethPsePortDetectionStatus). Test is not among them: its watts are as they are read.
_GIVES_NOTHING = frozenset({PortState.DISABLED, PortState.SEARCHING, PortState.FAULT, PortState.OTHER_FAULT})

_STATE_MARKS = {state.value: number << 3 for number, state in enumerate(STATES) if state is not None}
_BASIS_MARKS = {basis: number for number, basis in enumerate(BASES)}
_MEASURED_MARK = _BASIS_MARKS[Basis.MEASURED]
_STATE, _DRAW = Quantity.PORT_STATE, Quantity.PORT_DRAW
_NOTHING_MARKS = frozenset(_STATE_MARKS[state.value] for state in _GIVES_NOTHING)

UNKNOWN_DW = -1
_UNKNOWN_U16 = 0xFFFF
_HEAD = struct.Struct("<BIiBidI")  # outcome, interval ms, total, its basis, budget, uptime s, port list


@dataclass(frozen=True, slots=True)
class HotReading:
    """One poll of one unit. Draws in 0.1 W at the PSE output, -1 where unknown; `marks` is state and basis.

    `time_ms` is when the answer arrived, on the site clock; the reading stands for `interval_ms` of time.
    `total_dw` and `budget_dw` are as the unit itself reports them.
    """

    unit: str
    time_ms: int
    interval_ms: int
    outcome: Outcome
    total_dw: int
    total_basis: Basis | None
    budget_dw: int
    uptime_s: float | None
    ports: tuple[str, ...]
    draws_dw: tuple[int, ...]
    marks: bytes

    def draw_w(self, port: str) -> float | None:
        """Return a port's draw [W], None where it is unknown or the port was not read."""
        if port not in self.ports:
            return None
        draw_dw = self.draws_dw[self.ports.index(port)]
        return None if draw_dw < 0 else draw_dw / 10

    def state(self, port: str) -> PortState | None:
        """Return a port's state, None where it is unknown or the port was not read."""
        return state_of(self.marks[self.ports.index(port)]) if port in self.ports else None

    def basis(self, port: str) -> Basis | None:
        """Return what a port's watts rest on, None where they are unknown."""
        return basis_of(self.marks[self.ports.index(port)]) if port in self.ports else None


def state_of(mark: int) -> PortState | None:
    """Return the port state in a mark."""
    return STATES[mark >> 3]


def basis_of(mark: int) -> Basis | None:
    """Return the basis in a mark."""
    return BASES[mark & 7]


def to_dw(watts: float | None) -> int:
    """Return watts as a whole number of 0.1 W; -1 for unknown and for what no port or unit can draw."""
    if watts is None or not 0 <= watts < 100_000_000:  # what is no number is in no range
        return UNKNOWN_DW
    return round(watts * 10)


def from_observation(observation: UnitObservation, interval_s: float) -> HotReading:
    """Take from an observation what history keeps; the reading stands for `interval_s` seconds.

    A port whose state says that it gives nothing draws 0 W; every other draw is as it was read.
    """
    # one pass over all records: this runs for every port of the site in every cycle
    states: dict[str, int] = {}
    drawn: dict[str, Record] = {}
    for record in observation.records:
        port = record.port
        if port is None:
            continue
        quantity = record.quantity
        if quantity is _STATE:
            # a state that RFC 3621 does not have is no state
            states[port] = 0 if record.value is None else _STATE_MARKS.get(str(record.value), 0)
            continue
        states.setdefault(port, 0)
        if quantity is _DRAW:
            drawn[port] = record
    draws: list[int] = []
    marks = bytearray()
    for port, mark in states.items():
        of_port = drawn.get(port)
        if mark in _NOTHING_MARKS:
            draw_dw, mark = 0, mark | _MEASURED_MARK
        else:
            draw_dw = UNKNOWN_DW if of_port is None else to_dw(of_port.number())
            if draw_dw >= _UNKNOWN_U16:
                draw_dw = UNKNOWN_DW
            elif of_port is not None and draw_dw >= 0:
                mark |= _BASIS_MARKS[of_port.basis]
        draws.append(draw_dw)
        marks.append(mark)
    total = observation.get(None, Quantity.UNIT_DRAW)
    total_dw = to_dw(observation.number(None, Quantity.UNIT_DRAW))
    return HotReading(
        unit=observation.unit,
        time_ms=round(observation.ended_s * 1000),
        interval_ms=round(interval_s * 1000),
        outcome=observation.outcome,
        total_dw=total_dw,
        total_basis=total.basis if total is not None and total_dw >= 0 else None,
        budget_dw=to_dw(observation.number(None, Quantity.UNIT_BUDGET)),
        uptime_s=observation.number(None, Quantity.UPTIME),
        ports=tuple(states),
        draws_dw=tuple(draws),
        marks=bytes(marks),
    )


def pack(reading: HotReading, port_list_id: int) -> bytes:
    """Return the row's body; the names of its ports are kept once, under `port_list_id`."""
    head = _HEAD.pack(
        OUTCOMES.index(reading.outcome),
        reading.interval_ms,
        reading.total_dw,
        BASES.index(reading.total_basis),
        reading.budget_dw,
        math.nan if reading.uptime_s is None else reading.uptime_s,
        port_list_id,
    )
    draws = (_UNKNOWN_U16 if draw_dw < 0 else draw_dw for draw_dw in reading.draws_dw)
    return head + struct.pack(f"<{len(reading.draws_dw)}H", *draws) + reading.marks


def port_list_id(body: bytes) -> int:
    """Return the number of the port list that a packed row refers to."""
    number: int = _HEAD.unpack_from(body)[6]
    return number


def unpack(unit: str, time_ms: int, body: bytes, ports: tuple[str, ...]) -> HotReading:
    """Return the reading of a packed row. Raises ValueError where body and port list do not fit."""
    count = len(ports)
    if len(body) != _HEAD.size + 3 * count:
        raise ValueError(f"a reading of {unit} has {len(body)} bytes for {count} ports")
    outcome, interval_ms, total_dw, total_basis, budget_dw, uptime_s, _ = _HEAD.unpack_from(body)
    draws = struct.unpack_from(f"<{count}H", body, _HEAD.size)
    return HotReading(
        unit=unit,
        time_ms=time_ms,
        interval_ms=interval_ms,
        outcome=OUTCOMES[outcome],
        total_dw=total_dw,
        total_basis=BASES[total_basis],
        budget_dw=budget_dw,
        uptime_s=None if math.isnan(uptime_s) else uptime_s,
        ports=ports,
        draws_dw=tuple(UNKNOWN_DW if draw_dw == _UNKNOWN_U16 else draw_dw for draw_dw in draws),
        marks=body[_HEAD.size + 2 * count :],
    )
