"""What one switch answered, as a sheet for people: what it tells, how sure, from where, and what it does not tell."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from portdraw.judgement.unit_agreement import told_agreement
from portdraw.observation.record import Quantity, Record
from portdraw.observation.unit_observation import UnitObservation
from portdraw.reporting.capability import (
    NO_OBJECT,
    OF_PORT,
    OF_SUPPLY,
    OF_UNIT,
    OF_UPS,
    Capability,
    capabilities,
    how_sure,
    not_told,
)
from portdraw.reporting.plain_text import plain
from portdraw.reporting.terminal import console

_COUNTERS = {
    Quantity.PORT_DENIED: "denied",
    Quantity.PORT_OVERLOAD: "overload",
    Quantity.PORT_SHORT: "short",
    Quantity.PORT_MPS_ABSENT: "no maintain signature",
}
# heading, quantity, and whether it stands in the table of ports even where no port tells it
_PORT_COLUMNS = (
    ("state", Quantity.PORT_STATE, True),
    ("draw W", Quantity.PORT_DRAW, True),
    ("class", Quantity.PORT_CLASS, True),
    ("LLDP class", Quantity.PORT_CLASS_LLDP, False),
    ("LLDP ext.", Quantity.PORT_CLASS_EXTENDED, False),
    ("asked W", Quantity.PORT_REQUESTED, False),
    ("granted W", Quantity.PORT_GRANTED, False),
    ("V", Quantity.PORT_VOLTAGE, False),
    ("A", Quantity.PORT_CURRENT, False),
    ("at device W", Quantity.PORT_PD_DRAW, False),
    ("priority", Quantity.PORT_PRIORITY, False),
    ("asks priority", Quantity.PORT_PD_PRIORITY, False),
    ("link", Quantity.PORT_LINK, False),
    ("its power source", Quantity.PORT_PD_SOURCE, False),
    ("neighbour", Quantity.PORT_NEIGHBOUR, False),
)
_SUPPLY_COLUMNS = tuple(
    zip(("state", "AC V", "DC V", "A", "W", "serial number"), OF_SUPPLY, strict=True),
)


def print_sheet(address: str, observation: UnitObservation) -> None:
    """Print the sheet in at most 100 columns. A blank is printed as "-", never as zero."""
    out = console()
    took_s = observation.ended_s - observation.began_s
    asked = f"{observation.requests} request{'' if observation.requests == 1 else 's'}"
    out.print(Text(f"{address}: {observation.outcome.value}, {asked} in {took_s:.2f} s", style="bold"))
    if observation.reason:
        out.print(Text(plain(observation.reason, 600)))
    if not observation.records:
        return
    _print_unit(out, observation)
    _print_ports(out, observation)
    _print_supplies(out, observation)
    _print_ups(out, observation)


def _print_unit(out: Console, observation: UnitObservation) -> None:
    _title(out, "The switch")
    _print_values(out, observation, [q for q in OF_UNIT if _told(observation, q)])
    blanks = not_told(observation, [quantity for quantity in OF_UNIT if not _told(observation, quantity)])
    _print_blanks(out, "Not told of the switch", blanks)


def _print_ports(out: Console, observation: UnitObservation) -> None:
    ports = observation.ports()
    _title(out, "Its PoE ports")
    if not ports:
        out.print(Text("The switch tells nothing about PoE ports."))
        return
    able = capabilities(observation, OF_PORT, len(ports))
    _print_capabilities(out, able, "ports")
    known = {one.quantity for one in able}
    _print_blanks(out, "Not told of any port", not_told(observation, [q for q in OF_PORT if q not in known]))
    out.print(Text(told_agreement(observation)))
    others = dict.fromkeys(record.source for record in observation.others)
    if others:
        out.print(Text(f"Port watts are told by further objects too, kept in reserve: {', '.join(others)}."))
    out.print()
    table = _table()
    columns = [
        (heading, quantity)
        for heading, quantity, always in _PORT_COLUMNS
        if always or any(observation.text(port, quantity) for port in ports)
    ]
    table.add_column("port", justify="right")
    for heading, quantity in columns:
        table.add_column(heading, justify="right" if _is_number(quantity) else "left", overflow="fold")
    table.add_column("counters above 0", overflow="fold")
    for port in ports:
        cells = [_cell(observation.get(port, quantity)) for _, quantity in columns]
        table.add_row(port, *cells, Text(_counters(observation, port)))
    out.print(table)
    for sentence in _notes(observation, ports):
        out.print(Text(sentence))


def _print_supplies(out: Console, observation: UnitObservation) -> None:
    supplies = observation.supplies()
    _title(out, "Its supplies")
    if not supplies:
        out.print(Text("The switch tells nothing about its supplies."))
        return
    able = capabilities(observation, OF_SUPPLY, len(supplies))
    _print_capabilities(out, able, "supplies")
    known = {one.quantity for one in able}
    _print_blanks(out, "Not told of any supply", not_told(observation, [q for q in OF_SUPPLY if q not in known]))
    out.print()
    table = _table()
    table.add_column("supply", overflow="fold")
    for heading, quantity in _SUPPLY_COLUMNS:
        table.add_column(heading, justify="right" if _is_number(quantity) else "left", overflow="fold")
    for supply in supplies:
        found = (observation.of_supply(supply, quantity) for _, quantity in _SUPPLY_COLUMNS)
        table.add_row(Text(plain(supply)), *(_cell(record) for record in found))
    out.print(table)
    reasons = dict.fromkeys(r.missing for r in observation.records if r.supply is not None and r.missing)
    for reason in reasons:
        out.print(Text(plain(f"Blank for some supplies: {reason}.")))


def _print_ups(out: Console, observation: UnitObservation) -> None:
    _title(out, "UPS")
    told = [quantity for quantity in OF_UPS if observation.get(None, quantity) is not None]
    if not told:
        out.print(Text("It is no UPS: it has none of the objects of one."))
        return
    _print_values(out, observation, told)
    _print_blanks(out, "Not told of the UPS", not_told(observation, [q for q in OF_UPS if q not in told]))


def _print_values(out: Console, observation: UnitObservation, quantities: Sequence[Quantity]) -> None:
    table = _table()
    for name, width in (("quantity", 19), ("value", 25), ("how sure", 18), ("source", 32)):
        table.add_column(name, overflow="fold", max_width=width)
    for quantity in quantities:
        record = observation.get(None, quantity)
        if record is not None:
            sure = how_sure(quantity, [record]) if record.missing is None else "-"
            table.add_row(quantity.value, Text(_shown(record)), sure, Text(record.source or "-"))
    out.print(table)


def _print_capabilities(out: Console, able: Sequence[Capability], of: str) -> None:
    table = _table()
    for name, width in (("quantity", 22), ("told for", 16), ("unit", 4), ("how sure", 18), ("source", 32)):
        table.add_column(name, overflow="fold", max_width=width)
    for one in able:
        told = f"{one.told} of {one.asked} {of}"
        table.add_row(one.quantity.value, told, one.unit or "-", Text(one.how_sure), Text(", ".join(one.sources)))
    out.print(table)


def _print_blanks(out: Console, title: str, blanks: dict[Quantity, str]) -> None:
    """Print what is not told, each reason once."""
    by_reason: dict[str, list[str]] = {}
    for quantity, why in blanks.items():
        by_reason.setdefault(why, []).append(quantity.value)
    for why, names in by_reason.items():
        out.print(Text(plain(f"{title} ({why}): {', '.join(names)}.", 2000)))


def _title(out: Console, words: str) -> None:
    out.print()
    out.print(Text(words, style="bold"))


def _table() -> Table:
    return Table(box=None, pad_edge=False, show_header=True, header_style="bold")


def _told(observation: UnitObservation, quantity: Quantity) -> bool:
    record = observation.get(None, quantity)
    return record is not None and record.missing != NO_OBJECT


def _is_number(quantity: Quantity) -> bool:
    return any(word in quantity.name for word in ("DRAW", "VOLTAGE", "CURRENT", "REQUESTED", "GRANTED", "CLASS"))


def _notes(observation: UnitObservation, ports: Sequence[str]) -> list[str]:
    """Say once where the ports' watts come from, and once each reason why a port has none."""
    notes: list[str] = []
    for port in ports:
        record = observation.get(port, Quantity.PORT_DRAW)
        if record is not None and record.missing is None and record.basis is not None:
            notes.append(f"Port watts: {record.basis.value}, at the switch's output, from {record.source}.")
        elif record is not None and record.missing is not None:
            notes.append(f"No watts for some ports: {record.missing}.")
    return [plain(note) for note in dict.fromkeys(notes)]


def _counters(observation: UnitObservation, port: str) -> str:
    counts = ((name, observation.number(port, quantity)) for quantity, name in _COUNTERS.items())
    return ", ".join(f"{name} {count:.0f}" for name, count in counts if count) or "-"


def _cell(record: Record | None) -> Text:
    if record is None or record.value is None:
        return Text("-")
    if record.quantity in (Quantity.PORT_CLASS, Quantity.PORT_CLASS_LLDP) and record.value == 4:
        return Text("4+")
    if record.unit in _DECIMALS:
        number = record.number()
        return Text("-" if number is None else _DECIMALS[record.unit](number))
    return Text(plain(str(record.value)))


_DECIMALS: dict[str, Callable[[float], str]] = {"W": "{:.1f}".format, "V": "{:.1f}".format, "A": "{:.2f}".format}


def _shown(record: Record) -> str:
    if record.value is None:
        return f"- ({record.missing})"
    value = f"{record.value:.0f}" if isinstance(record.value, float) else str(record.value)
    return plain(f"{value} {record.unit}".strip())
