"""What one switch answered, as a sheet for people and as JSON: each quantity with unit, basis and source object."""

from __future__ import annotations

from rich.table import Table
from rich.text import Text

from portdraw.observation.record import Quantity, Record
from portdraw.observation.unit_observation import UnitObservation
from portdraw.reporting.plain_text import plain
from portdraw.reporting.terminal import console

_OF_UNIT = (
    Quantity.SYSTEM_NAME,
    Quantity.SYSTEM_DESCRIPTION,
    Quantity.SYSTEM_OBJECT_ID,
    Quantity.UPTIME,
    Quantity.UNIT_BUDGET,
    Quantity.UNIT_DRAW,
    Quantity.UNIT_PSE_STATE,
    Quantity.UNIT_OWN_SOURCE,
)
_NO_OBJECT = "the switch has none of the objects that tell it"
_COUNTERS = {
    Quantity.PORT_DENIED: "denied",
    Quantity.PORT_OVERLOAD: "overload",
    Quantity.PORT_SHORT: "short",
    Quantity.PORT_MPS_ABSENT: "no maintain signature",
}


def sheet_json(address: str, observation: UnitObservation) -> dict[str, object]:
    """Return every record of a probe with unit, basis, source, time, or why it is missing."""
    return {
        "format": 1,
        "address": address,
        "outcome": observation.outcome.value,
        "reason": observation.reason,
        "requests": observation.requests,
        "took_s": round(observation.ended_s - observation.began_s, 3),
        "records": [_record_json(record) for record in observation.records],
        "not_told": {
            quantity.value: _NO_OBJECT
            for quantity in _OF_UNIT
            if observation.records and observation.get(None, quantity) is None
        },
    }


def print_sheet(address: str, observation: UnitObservation) -> None:
    """Print the sheet in at most 100 columns. A blank is printed as "-", never as zero."""
    out = console()
    took_s = observation.ended_s - observation.began_s
    asked = f"{observation.requests} request{'' if observation.requests == 1 else 's'}"
    line = f"{address}: {observation.outcome.value}, {asked} in {took_s:.2f} s"
    out.print(Text(line, style="bold"))
    if observation.reason:
        out.print(Text(plain(observation.reason, 600)))
    if not observation.records:
        return
    unit = Table(box=None, pad_edge=False, show_header=True, header_style="bold")
    for name in ("quantity", "value", "source"):
        unit.add_column(name, overflow="fold")
    for quantity in _OF_UNIT:
        record = observation.get(None, quantity)
        unit.add_row(quantity.value, Text(_shown(record)), Text("-" if record is None else record.source))
    out.print(unit)
    ports = observation.ports()
    if not ports:
        out.print(Text("The switch tells nothing about PoE ports."))
        return
    table = Table(box=None, pad_edge=False, show_header=True, header_style="bold")
    for name, side in (
        ("port", "right"),
        ("state", "left"),
        ("draw W", "right"),
        ("class", "right"),
        ("priority", "left"),
        ("neighbour", "left"),
        ("its power source", "left"),
        ("counters above 0", "left"),
    ):
        table.add_column(name, justify="right" if side == "right" else "left", overflow="fold")
    for port in ports:
        draw_w = observation.number(port, Quantity.PORT_DRAW)
        table.add_row(
            port,
            _text(observation, port, Quantity.PORT_STATE),
            "-" if draw_w is None else f"{draw_w:.1f}",
            _text(observation, port, Quantity.PORT_CLASS),
            _text(observation, port, Quantity.PORT_PRIORITY),
            Text(plain(_text(observation, port, Quantity.PORT_NEIGHBOUR))),
            _text(observation, port, Quantity.PORT_PD_SOURCE),
            _counters(observation, port),
        )
    out.print()
    out.print(table)
    for sentence in _notes(observation):
        out.print(Text(sentence))


def _notes(observation: UnitObservation) -> list[str]:
    """Say once where the ports' watts come from, and once each reason why a port has none."""
    notes: list[str] = []
    for port in observation.ports():
        record = observation.get(port, Quantity.PORT_DRAW)
        if record is not None and record.missing is None and record.basis is not None:
            notes.append(f"Port watts: {record.basis.value}, at the switch's output, from {record.source}.")
        elif record is not None and record.missing is not None:
            notes.append(f"No watts for some ports: {record.missing}.")
    if any(observation.number(port, Quantity.PORT_CLASS) == 4 for port in observation.ports()):
        notes.append("Class 4 means 4 or above: this module has no value for classes 5 to 8.")
    return list(dict.fromkeys(notes))


def _counters(observation: UnitObservation, port: str) -> str:
    parts = []
    for quantity, name in _COUNTERS.items():
        count = observation.number(port, quantity)
        if count:
            parts.append(f"{name} {count:.0f}")
    return ", ".join(parts) or "-"


def _text(observation: UnitObservation, port: str, quantity: Quantity) -> str:
    return observation.text(port, quantity) or "-"


def _shown(record: Record | None) -> str:
    if record is None:
        return f"- ({_NO_OBJECT})"
    if record.value is None:
        return f"- ({record.missing})"
    value = f"{record.value:.0f}" if isinstance(record.value, float) else str(record.value)
    return plain(f"{value} {record.unit}".strip())


def _record_json(record: Record) -> dict[str, object]:
    return {
        "port": record.port,
        "quantity": record.quantity.value,
        "value": record.value,
        "unit": record.unit,
        "basis": None if record.basis is None else record.basis.value,
        "source": record.source,
        "read_at_s": round(record.read_s, 3),
        "missing": record.missing,
    }
