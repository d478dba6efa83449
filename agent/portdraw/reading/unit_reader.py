"""Reads one unit: what to ask at which pace, and what to remember between polls.

At the start, and after a restart of the agent, everything in the catalogue is asked for; afterwards only what the
agent turned out to have. Slow quantities keep their own time of reading until a slow poll reads them again.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Mapping
from typing import Literal

from portdraw.observation.record import PortState, Quantity, Record
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.ports import sort_key
from portdraw.plan.site import Unit
from portdraw.reading.agent_uptime import AgentUptime
from portdraw.reading.catalogue import Catalogue, IndexKind, MibObject
from portdraw.reading.columns import MOST_VARBINDS_PER_REQUEST, Column, Reader
from portdraw.reading.engine import Engine, Failure, ReadError, Target, parse_address
from portdraw.reading.entities import Entities, Values
from portdraw.reading.poll_outcome import outcome_of, reason_of
from portdraw.reading.port_identity import PortIdentity, interfaces
from portdraw.reading.raw_tlvs import power_rows, records_of
from portdraw.reading.repeated_allocation import repeating
from portdraw.reading.unit_records import Key, UnitRecords, lasting
from portdraw.reading.varbind import Oid, Varbind

Pace = Literal["start", "slow", "cycle"]
_RANK = {"discovery": -1, "start": 0, "slow": 1, "cycle": 2}
_TYPE, _NAME = "interface type", "interface name"
# the columns that lead from an index of this kind to an interface
_LEADS_TO_INTERFACE: dict[str, IndexKind] = {
    "interface of a bridge port": "bridge-port",
    "interface of an entity": "entity",
}
# columns of a port's watts that are better than a sensor in the port
_BEFORE_SENSORS = ("pethPsePortActualPower", "pethPsePortActualPower@mib-2")


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
        self._rows: dict[str, int] = {}  # of each complete column, at the last reading
        self._identity: PortIdentity | None = None
        self._system: Oid | None = None  # sysObjectID
        self._goes_beside = frozenset(
            other
            for entry in catalogue.objects.values()
            for other in (*entry.companions, *entry.rows_where)
            if catalogue.objects[other].pace != "cycle"
        )
        self._beside: dict[str, dict[Oid, Varbind]] = {}  # slow columns without which faster ones mean nothing
        self._entities = Entities(catalogue)
        self._repeats: dict[str, bool] = {}  # columns of watts: whether they repeat the allocation
        self._kept: dict[Key, Record] = {}
        self._known_ports: dict[str, None] = {}
        self._most = MOST_VARBINDS_PER_REQUEST
        self._uptime = AgentUptime()
        self._delivering: frozenset[str | None] | None = None
        self._newly_delivering = False

    @property
    def identity(self) -> PortIdentity | None:
        """How rows belong to ports; None before a whole first reading."""
        return self._identity

    async def poll(self, deadline_s: float, slow: bool) -> UnitObservation:
        """Read once, within `deadline_s` of wall time. Never raises for what the agent does."""
        began_s = self._now_s()
        deadline = asyncio.get_running_loop().time() + deadline_s
        reader = Reader(self._engine, self._target, deadline, most=self._most)
        records = UnitRecords(self._catalogue, self._present, began_s)
        outcome, reason = Outcome.ANSWERED, ""
        try:
            # a port that begins to deliver has a new class and neighbour: they can't wait for the next slow poll
            pace: Pace = "start" if self._identity is None else "slow" if slow or self._newly_delivering else "cycle"
            found, columns = await self._ask(reader, pace)
            if (self._restarted(found) or self._rows_changed(columns)) and pace != "start":
                self._forget()
                found, columns = await self._ask(reader, pace := "start")
            if pace == "start":
                await self._find_entities(reader, columns)
            of_entities = await self._entities.read(reader, with_ports=self._needs_port_sensors())
            records = self._build(pace, found, reader.why_missing, columns, of_entities)
            cut = {name: column.why_cut for name, column in columns.items() if column.why_cut}
            cut |= {name: why for name in found if (why := reader.why_missing.get(self._instance(name)))}
            cut |= records.unplaced
            if cut:
                outcome, reason = Outcome.PARTIAL, reason_of(cut)
        except ReadError as error:
            outcome, reason = outcome_of(error)
            if error.failure is Failure.TIME_WINDOW:
                self._identity = None
        self._most = min(MOST_VARBINDS_PER_REQUEST, reader.most * 2)  # what was too much last time may do next time
        ordered = sorted(records, key=lambda record: (record.port is not None, sort_key(record.port or "0")))
        told = tuple(ordered), reader.requests, tuple(records.others)
        return UnitObservation(self.name, began_s, self._now_s(), outcome, reason, *told)

    async def _ask(self, reader: Reader, pace: Pace) -> tuple[dict[str, Varbind | None], dict[str, Column]]:
        """Return scalars and columns by name. In a cycle the one scalar travels with the columns."""
        wanted = self._scalars(pace)
        if pace == "cycle":
            columns = await self._read_columns(reader, pace, wanted)
            uptimes = {name: columns.pop(name) for name in wanted}
            for name, column in uptimes.items():
                if column.why_cut:
                    reader.why_missing[self._instance(name)] = column.why_cut
            return {name: column.rows.get((0,)) for name, column in uptimes.items()}, columns
        found: dict[Oid, Varbind] = {}
        asked = {name: entry for name, entry in wanted.items() if not entry.rare}
        wanted = {}
        while asked:  # what few agents have is asked for by itself, and what hangs on it afterwards
            found |= await reader.scalars([self._instance(name) for name in asked], optional=bool(wanted))
            self._note_scalars(asked, found, reader.why_missing)
            wanted |= asked
            asked = {name: entry for name, entry in self._scalars(pace).items() if name not in wanted}
        name, _ = self._catalogue.of(Quantity.SYSTEM_OBJECT_ID)[0]
        if pace == "start" and name in wanted:
            told = found.get(self._instance(name))
            self._system = told.value if told is not None and isinstance(told.value, tuple) else None
        columns = await self._read_columns(reader, pace, {})
        return {name: found.get(self._instance(name)) for name in wanted}, columns

    def _scalars(self, pace: Pace) -> dict[str, MibObject]:
        return {
            name: entry
            for name, entry in self._catalogue.objects.items()
            if entry.index == "scalar" and _RANK.get(entry.pace, -1) >= _RANK[pace]
            if self._is_open(entry) and (not entry.rare or self._present.get(name, pace != "cycle"))
        }

    def _note_scalars(self, asked: Iterable[str], found: Mapping[Oid, Varbind], why: Mapping[Oid, str]) -> None:
        for name in asked:
            told = self._instance(name) in found
            if told or self._instance(name) not in why:
                self._present[name] = told

    def _is_open(self, entry: MibObject) -> bool:
        """True where the agent has what the object hangs on, and lacks what it stands in for."""
        if entry.after and not self._present.get(entry.after, False):
            return False
        return not entry.unless or self._present.get(entry.unless) is False

    def _instance(self, name: str) -> Oid:
        return (*self._catalogue.objects[name].arcs, 0)

    def _restarted(self, found: Mapping[str, Varbind | None]) -> bool:
        """True where the uptime tells that the agent has started anew."""
        name, uptime = self._catalogue.of(Quantity.UPTIME)[0]
        varbind = found.get(name)
        if varbind is None or not isinstance(varbind.value, int):
            return False
        return self._uptime.restarted(varbind.value * uptime.scale, asyncio.get_running_loop().time())

    def _rows_changed(self, columns: Mapping[str, Column]) -> bool:
        """True where the power table has another set of rows than the one by which ports are told apart."""
        states = [columns[name] for name, _ in self._catalogue.of(Quantity.PORT_STATE) if name in columns]
        if self._identity is None or any(column.why_cut for column in states):
            return False
        pairs = {(index[0], index[1]) for column in states for index in column.rows if len(index) == 2}
        return bool(pairs) and not self._identity.has(pairs)

    def _forget(self) -> None:
        """After a restart of the agent, or with other rows, indexes and columns may differ: start anew."""
        self._identity = None
        self._present.clear()
        self._rows.clear()
        self._kept.clear()
        self._repeats.clear()
        self._beside.clear()
        self._entities = Entities(self._catalogue)
        self._known_ports.clear()
        self._delivering, self._newly_delivering = None, False

    async def _read_columns(self, reader: Reader, pace: Pace, scalars: Mapping[str, MibObject]) -> dict[str, Column]:
        by_name = await self._read_round(reader, pace, scalars, {})
        while pace != "cycle":  # what hangs on columns that have just turned out to be there, or not to be
            further = await self._read_round(reader, pace, {}, by_name)
            if not further:
                break
            by_name |= further
        if pace == "start":
            objects = self._catalogue.objects
            helpers = self._helpers({objects[name].index for name, column in by_name.items() if column.rows})
            by_name |= await self._read_helpers(reader, helpers)
        return by_name

    async def _read_round(
        self, reader: Reader, pace: Pace, scalars: Mapping[str, MibObject], read: Mapping[str, Column]
    ) -> dict[str, Column]:
        wanted = {
            name: entry
            for name, entry in self._catalogue.objects.items()
            if name not in read and self._is_wanted(name, entry, pace)
        }
        if not wanted and not scalars:
            return {}
        # in a cycle a group's totals, and what stands alone, are read without a look for rows that were not there
        alone = ("group", "lldp-port") if pace == "cycle" else ()
        single = {entry.arcs for name, entry in wanted.items() if entry.index in alone and self._rows.get(name) == 1}
        single |= {entry.arcs for entry in scalars.values()}
        wanted |= scalars
        # nearly every agent lacks nearly every private column: one row of each is asked for at first
        expected = {entry.arcs: 0 for name, entry in wanted.items() if self._is_private(name)}
        expected |= {entry.arcs: self._rows[name] for name, entry in wanted.items() if name in self._rows}
        columns = await reader.columns([entry.arcs for entry in wanted.values()], expected, single, bool(read))
        by_name = {name: columns[entry.arcs] for name, entry in wanted.items()}
        for name, column in by_name.items():
            if name not in scalars:
                self._note_column(name, column)
        return by_name

    def _note_column(self, name: str, column: Column) -> None:
        entry = self._catalogue.objects[name]
        if column.rows or column.why_cut is None:
            told = power_rows(column.rows) if entry.syntax == "octets" else column.rows
            self._present[name] = bool(told)
        if column.why_cut is None:
            self._rows[name] = len(column.rows)
        if name in self._goes_beside and (column.why_cut is None or name not in self._beside):
            self._beside[name] = {lasting(entry, index): varbind for index, varbind in column.rows.items()}

    async def _read_helpers(self, reader: Reader, helpers: Mapping[str, MibObject]) -> dict[str, Column]:
        arcs = [entry.arcs for entry in helpers.values()]
        columns = await reader.columns(arcs, optional=True) if helpers else {}
        return {name: columns[entry.arcs] for name, entry in helpers.items()}

    async def _find_entities(self, reader: Reader, columns: dict[str, Column]) -> None:
        """Find supplies and sensors; where sensors lie in ports, read too how entities lead to interfaces."""
        await self._entities.find(reader, columns, self._now_s())
        helpers = self._helpers({"entity"} if self._entities.of_ports else set())
        columns |= await self._read_helpers(reader, {name: e for name, e in helpers.items() if name not in columns})

    def _needs_port_sensors(self) -> bool:
        """Sensors in ports come after the standard's own column of watts, and before all others."""
        return not any(self._present.get(name) for name in _BEFORE_SENSORS)

    def _is_wanted(self, name: str, entry: MibObject, pace: Pace) -> bool:
        if entry.index == "scalar" or entry.role in _LEADS_TO_INTERFACE or _RANK.get(entry.pace, -1) < _RANK[pace]:
            return False
        if not entry.is_for(self._system) or not self._is_open(entry):
            return False
        if pace == "cycle" or (pace == "slow" and self._is_private(name) and self._tells_watts()):
            return self._present.get(name, True)  # what was cut off is asked for again
        return True

    def _is_private(self, name: str) -> bool:
        return self._catalogue.module_of[name].enterprise is not None

    def _tells_watts(self) -> bool:
        return any(self._present.get(name) for name, _ in self._catalogue.of(Quantity.PORT_DRAW))

    def _helpers(self, kinds: set[IndexKind]) -> dict[str, MibObject]:
        """Return the columns that lead from these kinds of index to interfaces."""
        return dict(self._catalogue.role(role) for role, kind in _LEADS_TO_INTERFACE.items() if kind in kinds)

    def _build(
        self,
        pace: Pace,
        found: Mapping[str, Varbind | None],
        why_missing: Mapping[Oid, str],
        columns: Mapping[str, Column],
        of_entities: Values,
    ) -> UnitRecords:
        self._repeats |= repeating(self._catalogue, columns)
        granted = {name for name, repeats in self._repeats.items() if repeats}
        now_s = self._now_s()
        records = UnitRecords(self._catalogue, self._present, now_s, granted, self._beside)
        for name, varbind in found.items():
            records.scalar(name, varbind, why_missing.get(self._instance(name)))
        identity = self._identity or self._identify(columns)
        records.take_ports(columns, identity, self._known_ports)
        if self._needs_port_sensors():
            records.take_sensors(self._entities.port_records(of_entities, identity, now_s), self._known_ports)
        records.take_totals(columns)
        records.take_own_source(columns)
        records.take_own_feed(columns)
        if pace != "cycle":
            self._drop_kept(columns)
        records.put_absent(self._kept.values())
        self._take_raw_tlvs(columns, identity, records)
        records.drop_class_of_idle_ports()
        records.say_what_is_missing(columns, self._known_ports)
        self._keep(found, columns, records)
        self._note_delivering(records)
        for record in self._entities.records(of_entities, now_s):
            records.put(record)
        return records

    def _take_raw_tlvs(self, columns: Mapping[str, Column], identity: PortIdentity, records: UnitRecords) -> None:
        for name, column in columns.items():
            entry = self._catalogue.objects[name]
            rows = power_rows(column.rows) if entry.syntax == "octets" else {}
            for index, varbind in rows.items():
                port = identity.printed(entry.index, index)
                if port is None or port not in self._known_ports:
                    continue
                for record in records_of(port, index, varbind, self._catalogue.source_text(name), self._now_s()):
                    records.offer(record)

    def _identify(self, columns: Mapping[str, Column]) -> PortIdentity:
        """Return how rows belong to ports; remembered only where nothing that it rests on was cut off."""
        state_names = [name for name, _ in self._catalogue.of(Quantity.PORT_STATE) if name in columns]
        roles = {role: self._catalogue.role(role)[0] for role in (_TYPE, _NAME, *_LEADS_TO_INTERFACE)}
        rests_on = [columns[name] for name in (*state_names, *roles.values()) if name in columns]
        told = {role: columns[name].rows if name in columns else {} for role, name in roles.items()}
        identity = PortIdentity(
            self._unit,
            [(index[0], index[1]) for name in state_names for index in columns[name].rows if len(index) == 2],
            {index[0]: varbind.value for index, varbind in told[_TYPE].items() if isinstance(varbind.value, int)},
            {index[0]: varbind.as_text() for index, varbind in told[_NAME].items()},
            *(interfaces(told[role]) for role in _LEADS_TO_INTERFACE),
        )
        if all(column.why_cut is None for column in rests_on):
            self._identity = identity
        return identity

    def _drop_kept(self, columns: Mapping[str, Column]) -> None:
        """What a complete column no longer tells is gone: a neighbour that left must not stay on its port."""
        objects = self._catalogue.objects
        whole = {q for name, column in columns.items() if column.why_cut is None for q in objects[name].tells}
        whole -= {q for name, column in columns.items() if column.why_cut is not None for q in objects[name].tells}
        self._kept = {key: record for key, record in self._kept.items() if key[1] not in whole}

    def _keep(self, found: Iterable[str], columns: Iterable[str], records: UnitRecords) -> None:
        objects = self._catalogue.objects
        slow = {q for name in (*found, *columns) if objects[name].pace != "cycle" for q in objects[name].tells}
        for record in records:
            key = (record.port, record.quantity)
            idle_class = record.quantity is Quantity.PORT_CLASS and record.missing is not None
            if record.quantity in slow or (idle_class and key in self._kept):
                self._kept[key] = record

    def _note_delivering(self, records: UnitRecords) -> None:
        states = (record for record in records if record.quantity is Quantity.PORT_STATE)
        now = frozenset(record.port for record in states if record.value == PortState.DELIVERING)
        self._newly_delivering = self._delivering is not None and not now <= self._delivering
        self._delivering = now
