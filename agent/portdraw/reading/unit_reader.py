"""Reads one unit: what to ask at which pace, and the answers into records.

At the start, and after a restart of the agent, everything in the catalogue is asked for; afterwards only what the
agent turned out to have. Slow quantities keep their own time of reading. No row is ever replaced by a zero.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Literal

from portdraw.observation.record import PortState, PowerSource, Quantity, Record
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.ports import sort_key
from portdraw.plan.site import Unit
from portdraw.reading.catalogue import Catalogue, MibObject
from portdraw.reading.columns import Column, Reader
from portdraw.reading.decode import CannotBeUsedError, decode
from portdraw.reading.engine import Engine, Failure, ReadError, Target, parse_address
from portdraw.reading.port_identity import PortIdentity
from portdraw.reading.varbind import Oid, Varbind

Pace = Literal["start", "slow", "cycle"]
_RANK = {"start": 0, "slow": 1, "cycle": 2}
_ONLY_WHILE_DELIVERING = frozenset({Quantity.PORT_CLASS})


class UnitReader:
    """Polls one readable unit through an engine. `now_s` is the site clock; deadlines are wall time."""

    def __init__(
        self, name: str, unit: Unit, engine: Engine, catalogue: Catalogue, now_s: Callable[[], float]
    ) -> None:
        self.name = name
        self._unit = unit
        self._engine = engine
        self._catalogue = catalogue
        self._now_s = now_s
        self._target: Target = parse_address(unit.address or "", unit.access)
        self._present: dict[str, bool] = {}
        self._identity: PortIdentity | None = None
        self._kept: dict[tuple[str | None, Quantity], Record] = {}
        self._known_ports: dict[str, None] = {}
        self._uptime_s: float | None = None

    async def poll(self, deadline_s: float, slow: bool) -> UnitObservation:
        """Read once, within `deadline_s` of wall time. Never raises for what the agent does."""
        began_s = self._now_s()
        reader = Reader(self._engine, self._target, asyncio.get_running_loop().time() + deadline_s)
        records: dict[tuple[str | None, Quantity], Record] = {}
        cut: list[str] = []
        outcome, reason = Outcome.ANSWERED, ""
        try:
            pace: Pace = "start" if self._identity is None else "slow" if slow else "cycle"
            pace = await self._read_scalars(reader, pace, records)
            await self._read_tables(reader, pace, records, cut)
            if cut:
                outcome, reason = Outcome.PARTIAL, "; ".join(dict.fromkeys(cut))
        except ReadError as error:
            outcome, reason = _outcome(error)
            if records and outcome is Outcome.SILENT:
                outcome = Outcome.PARTIAL
            if error.failure is Failure.TIME_WINDOW:
                self._identity = None
        for key, record in self._kept.items():
            if outcome in (Outcome.ANSWERED, Outcome.PARTIAL):
                records.setdefault(key, record)
        ordered = sorted(records.values(), key=lambda record: (record.port is not None, sort_key(record.port or "0")))
        return UnitObservation(self.name, began_s, self._now_s(), outcome, reason, tuple(ordered), reader.requests)

    # scalars

    async def _read_scalars(
        self, reader: Reader, pace: Pace, records: dict[tuple[str | None, Quantity], Record]
    ) -> Pace:
        uptime_name, uptime = self._catalogue.of(Quantity.UPTIME)[0]
        wanted = {uptime_name: uptime, **(self._scalars(pace) if pace != "cycle" else {})}
        found = await reader.scalars([(*entry.arcs, 0) for entry in wanted.values()])
        now_s = self._now_s()
        restarted = False
        for name, entry in wanted.items():
            varbind = found.get((*entry.arcs, 0))
            record = self._record(name, entry, None, varbind, now_s)
            if entry.quantity is Quantity.UPTIME:
                seconds = record.number()
                restarted = seconds is not None and self._uptime_s is not None and seconds + 1 < self._uptime_s
                self._uptime_s = seconds if seconds is not None else self._uptime_s
            self._store(records, record, entry)
        if restarted and pace != "start":
            self._forget()
            return await self._read_scalars(reader, "start", records)
        return pace

    def _scalars(self, pace: Pace) -> dict[str, MibObject]:
        return {
            name: entry
            for name, entry in self._catalogue.objects.items()
            if entry.index == "scalar" and _RANK[entry.pace] >= _RANK[pace]
        }

    def _forget(self) -> None:
        """After a restart of the agent indexes and columns may differ: start anew."""
        self._identity = None
        self._present.clear()
        self._kept.clear()
        self._known_ports.clear()

    # tables

    async def _read_tables(
        self,
        reader: Reader,
        pace: Pace,
        records: dict[tuple[str | None, Quantity], Record],
        cut: list[str],
    ) -> None:
        wanted = {
            name: entry
            for name, entry in self._catalogue.objects.items()
            if entry.index != "scalar"
            and _RANK[entry.pace] >= _RANK[pace]
            and (pace != "cycle" or self._present.get(name, False))
        }
        columns = await reader.columns([entry.arcs for entry in wanted.values()])
        now_s = self._now_s()
        by_name = {name: columns[entry.arcs] for name, entry in wanted.items()}
        for name, column in by_name.items():
            complete = column.why_cut is None
            if column.rows or complete:
                self._present[name] = bool(column.rows)
            if not complete:
                cut.append(f"{name.partition('@')[0]}: {column.why_cut}")
        if self._identity is None:
            self._identity = self._identify(by_name)
        self._take_ports(by_name, records, now_s)
        self._take_totals(by_name, records, now_s)
        self._take_own_source(by_name, records, now_s)
        self._say_what_is_missing(pace, by_name, records, now_s)

    def _identify(self, by_name: dict[str, Column]) -> PortIdentity:
        state_name = self._catalogue.of(Quantity.PORT_STATE)[0][0]
        type_name, name_name = (
            self._catalogue.role("interface type")[0],
            self._catalogue.role("interface name")[0],
        )
        ports = [(i[0], i[1]) for i in by_name[state_name].rows if len(i) == 2] if state_name in by_name else []
        types = {i[0]: v.value for i, v in _rows(by_name, type_name).items() if isinstance(v.value, int)}
        names = {i[0]: v.as_text() for i, v in _rows(by_name, name_name).items()}
        return PortIdentity(self._unit, ports, types, names)

    def _take_ports(
        self, by_name: dict[str, Column], records: dict[tuple[str | None, Quantity], Record], now_s: float
    ) -> None:
        assert self._identity is not None
        watts_name = self._watts_column(by_name)
        powered_only = bool(self._present.get(self._catalogue.of(Quantity.PORT_STATE)[0][0]))
        for name, column in by_name.items():
            entry = self._catalogue.objects[name]
            quantity = entry.quantity
            if quantity is None or entry.index == "group" or quantity is Quantity.UNIT_OWN_SOURCE:
                continue
            if quantity is Quantity.PORT_DRAW and name != watts_name:
                continue
            for index, varbind in column.rows.items():
                port = self._identity.printed(entry.index, index)
                if port is None:
                    continue
                if quantity in (Quantity.PORT_STATE, Quantity.PORT_DRAW) and not (
                    powered_only and quantity is Quantity.PORT_DRAW
                ):
                    self._known_ports[port] = None
                if port not in self._known_ports:
                    continue  # a row for a port that has no power table row can't deliver
                record = self._record(name, entry, port, varbind, now_s)
                known = records.get((port, quantity))
                if known is None or _says_more(record, known):
                    self._store(records, record, entry)
        self._class_only_while_delivering(records)

    def _watts_column(self, by_name: dict[str, Column]) -> str | None:
        for name, _ in self._catalogue.of(Quantity.PORT_DRAW):
            if name in by_name and by_name[name].rows:
                return name
            if name not in by_name and self._present.get(name):
                return name
        return None

    def _class_only_while_delivering(self, records: dict[tuple[str | None, Quantity], Record]) -> None:
        for (port, quantity), record in list({**self._kept, **records}.items()):
            if quantity in _ONLY_WHILE_DELIVERING and record.missing is None:
                state = records.get((port, Quantity.PORT_STATE))
                if state is not None and state.value is not None and state.value != PortState.DELIVERING:
                    why = "a class is only valid while the port delivers"
                    records[(port, quantity)] = _without_value(record, why)

    def _take_totals(
        self, by_name: dict[str, Column], records: dict[tuple[str | None, Quantity], Record], now_s: float
    ) -> None:
        for name, column in by_name.items():
            entry = self._catalogue.objects[name]
            if entry.index != "group" or entry.quantity is None:
                continue
            parts = [self._record(name, entry, None, varbind, now_s) for varbind in column.rows.values()]
            if not parts:
                continue
            missing = next((part.missing for part in parts if part.missing), column.why_cut)
            if missing is not None:
                self._store(records, _without_value(parts[0], missing), entry)
            elif entry.unit == "W":
                total = sum(part.number() or 0.0 for part in parts)  # every part is there: no unknown is summed as 0
                self._store(records, _with_value(parts[0], total), entry)
            else:
                words = dict.fromkeys(str(part.value) for part in parts)
                self._store(records, _with_value(parts[0], ", ".join(words)), entry)

    def _take_own_source(
        self, by_name: dict[str, Column], records: dict[tuple[str | None, Quantity], Record], now_s: float
    ) -> None:
        best: Record | None = None
        chosen: MibObject | None = None
        for name, entry in self._catalogue.of(Quantity.UNIT_OWN_SOURCE):
            for varbind in _rows(by_name, name).values():
                record = self._record(name, entry, None, varbind, now_s)
                if best is None or _says_more(record, best):
                    best, chosen = record, entry
        if best is not None and chosen is not None:
            self._store(records, best, chosen)

    def _say_what_is_missing(
        self,
        pace: Pace,
        by_name: dict[str, Column],
        records: dict[tuple[str | None, Quantity], Record],
        now_s: float,
    ) -> None:
        for quantity in (Quantity.PORT_STATE, Quantity.PORT_DRAW):
            candidates = self._catalogue.of(quantity)
            why = next(
                (by_name[name].why_cut for name, _ in candidates if name in by_name and by_name[name].why_cut),
                None,
            )
            source = next(
                (self._catalogue.source_text(name) for name, _ in candidates if self._present.get(name)), ""
            )
            if why is None:
                why = "the agent has no value for this port" if source else f"this unit does not tell the {quantity}"
            for port in self._known_ports:
                if (port, quantity) not in records:
                    unit = "W" if quantity is Quantity.PORT_DRAW else ""
                    records[(port, quantity)] = Record(port, quantity, None, unit, None, source, now_s, why)

    # records

    def _record(self, name: str, entry: MibObject, port: str | None, varbind: Varbind | None, now_s: float) -> Record:
        assert entry.quantity is not None
        source = self._catalogue.source_text(name)
        if varbind is None:
            why = "the agent does not have this object"
            return Record(port, entry.quantity, None, entry.unit, None, source, now_s, why)
        try:
            value = decode(entry, varbind)
        except CannotBeUsedError as error:
            return Record(port, entry.quantity, None, entry.unit, None, source, now_s, str(error))
        return Record(port, entry.quantity, value, entry.unit, entry.basis, source, now_s)

    def _store(self, records: dict[tuple[str | None, Quantity], Record], record: Record, entry: MibObject) -> None:
        key = (record.port, record.quantity)
        records[key] = record
        if entry.pace != "cycle":
            self._kept[key] = record


def _rows(by_name: dict[str, Column], name: str) -> dict[Oid, Varbind]:
    return by_name[name].rows if name in by_name else {}


def _says_more(new: Record, old: Record) -> bool:
    """True where `new` tells and `old` is missing or "unknown"."""
    if new.missing is not None or new.value == PowerSource.UNKNOWN:
        return False
    return old.missing is not None or old.value == PowerSource.UNKNOWN


def _with_value(record: Record, value: float | str) -> Record:
    return Record(record.port, record.quantity, value, record.unit, record.basis, record.source, record.read_s, None)


def _without_value(record: Record, why: str) -> Record:
    return Record(record.port, record.quantity, None, record.unit, None, record.source, record.read_s, why)


def _outcome(error: ReadError) -> tuple[Outcome, str]:
    if error.failure.is_credentials:
        return Outcome.REFUSED, f"{error}."
    if error.failure in (Failure.GARBLED, Failure.TIME_WINDOW):
        return Outcome.GARBLED, f"{error}."
    if error.failure is Failure.UNREACHABLE:
        return Outcome.SILENT, f"{error}."
    return Outcome.SILENT, (
        f"{error}. It is off, can't be reached, or refuses these credentials: "
        "a wrong community or privacy secret looks the same as silence."
    )
