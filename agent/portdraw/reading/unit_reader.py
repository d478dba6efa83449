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
from portdraw.reading.catalogue import Catalogue, IndexKind, MibObject
from portdraw.reading.columns import MOST_VARBINDS_PER_REQUEST, Column, Reader
from portdraw.reading.engine import Engine, Failure, ReadError, Target, parse_address
from portdraw.reading.port_identity import PortIdentity, interfaces
from portdraw.reading.repeated_allocation import repeating
from portdraw.reading.unit_records import Key, UnitRecords
from portdraw.reading.varbind import Oid, Varbind

Pace = Literal["start", "slow", "cycle"]
_RANK = {"discovery": -1, "start": 0, "slow": 1, "cycle": 2}
_TYPE, _NAME = "interface type", "interface name"
# the columns that lead from an index of this kind to an interface
_LEADS_TO_INTERFACE: dict[str, IndexKind] = {
    "interface of a bridge port": "bridge-port",
    "interface of an entity": "entity",
}
CLOCK_TOLERANCE_S = (
    5.0  # an agent's uptime lags behind our clock by less than this and 2 %; common practice, no source
)
MOST_NAMES_IN_A_REASON = 3


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
        self._repeats: dict[str, bool] = {}  # columns of watts: whether they repeat the allocation
        self._kept: dict[Key, Record] = {}
        self._known_ports: dict[str, None] = {}
        self._most = MOST_VARBINDS_PER_REQUEST
        self._uptime: tuple[float, float] | None = None  # seconds, and the loop time at which they were read
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
            if self._restarted(found) and pace != "start":
                self._forget()
                found, columns = await self._ask(reader, pace := "start")
            records = self._build(pace, found, reader.why_missing, columns)
            cut = {name: column.why_cut for name, column in columns.items() if column.why_cut}
            cut |= {name: why for name in found if (why := reader.why_missing.get(self._instance(name)))}
            cut |= records.unplaced
            if cut:
                outcome, reason = Outcome.PARTIAL, _reason(cut)
        except ReadError as error:
            outcome, reason = _outcome(error)
            if error.failure is Failure.TIME_WINDOW:
                self._identity = None
        self._most = min(MOST_VARBINDS_PER_REQUEST, reader.most * 2)  # what was too much last time may do next time
        ordered = sorted(records, key=lambda record: (record.port is not None, sort_key(record.port or "0")))
        return UnitObservation(self.name, began_s, self._now_s(), outcome, reason, tuple(ordered), reader.requests)

    # asking

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
        found = await reader.scalars([self._instance(name) for name in wanted])
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
            if entry.index == "scalar" and _RANK[entry.pace] >= _RANK[pace]
        }

    def _instance(self, name: str) -> Oid:
        return (*self._catalogue.objects[name].arcs, 0)

    def _restarted(self, found: Mapping[str, Varbind | None]) -> bool:
        """True where the uptime is less than what was last read plus the time since."""
        name, uptime = self._catalogue.of(Quantity.UPTIME)[0]
        varbind = found.get(name)
        if varbind is None or not isinstance(varbind.value, int):
            return False
        seconds, now = varbind.value * uptime.scale, asyncio.get_running_loop().time()
        before, self._uptime = self._uptime, (seconds, now)
        if before is None:
            return False
        least = before[0] + (now - before[1]) * 0.98 - CLOCK_TOLERANCE_S
        return seconds < max(least, before[0] - 1)

    def _forget(self) -> None:
        """After a restart of the agent indexes and columns may differ: start anew."""
        self._identity = None
        self._present.clear()
        self._rows.clear()
        self._kept.clear()
        self._repeats.clear()
        self._known_ports.clear()
        self._delivering, self._newly_delivering = None, False

    async def _read_columns(self, reader: Reader, pace: Pace, scalars: Mapping[str, MibObject]) -> dict[str, Column]:
        wanted = {
            name: entry for name, entry in self._catalogue.objects.items() if self._is_wanted(name, entry, pace)
        }
        # in a cycle a group's totals, and what stands alone, are read without a look for rows that were not there
        alone = ("group", "lldp-port") if pace == "cycle" else ()
        single = {entry.arcs for name, entry in wanted.items() if entry.index in alone and self._rows.get(name) == 1}
        single |= {entry.arcs for entry in scalars.values()}
        wanted |= scalars
        # nearly every agent lacks nearly every private column: one row of each is asked for at first
        expected = {entry.arcs: 0 for name, entry in wanted.items() if self._is_private(name)}
        expected |= {entry.arcs: self._rows[name] for name, entry in wanted.items() if name in self._rows}
        columns = await reader.columns([entry.arcs for entry in wanted.values()], expected, single)
        if pace == "start":
            helpers = self._helpers({wanted[name].index for name in wanted if columns[wanted[name].arcs].rows})
            columns |= await reader.columns([entry.arcs for entry in helpers.values()]) if helpers else {}
            wanted |= helpers
        by_name = {name: columns[entry.arcs] for name, entry in wanted.items()}
        for name, column in by_name.items():
            if name in scalars:
                continue
            if column.rows or column.why_cut is None:
                self._present[name] = bool(column.rows)
            if column.why_cut is None:
                self._rows[name] = len(column.rows)
        return by_name

    def _is_wanted(self, name: str, entry: MibObject, pace: Pace) -> bool:
        if entry.index == "scalar" or entry.role in _LEADS_TO_INTERFACE or _RANK[entry.pace] < _RANK[pace]:
            return False
        if not entry.is_for(self._system):
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
        named = (self._catalogue.role(role) for role, kind in _LEADS_TO_INTERFACE.items() if kind in kinds)
        return dict(named)

    # from columns to records

    def _build(
        self,
        pace: Pace,
        found: Mapping[str, Varbind | None],
        why_missing: Mapping[Oid, str],
        columns: Mapping[str, Column],
    ) -> UnitRecords:
        self._repeats |= repeating(self._catalogue, columns)
        granted = {name for name, repeats in self._repeats.items() if repeats}
        records = UnitRecords(self._catalogue, self._present, self._now_s(), granted)
        for name, varbind in found.items():
            records.scalar(name, varbind, why_missing.get(self._instance(name)))
        identity = self._identity or self._identify(columns)
        records.take_ports(columns, identity, self._known_ports)
        records.take_totals(columns)
        records.take_own_source(columns)
        if pace != "cycle":
            self._drop_kept(columns)
        records.put_absent(self._kept.values())
        records.drop_class_of_idle_ports()
        records.say_what_is_missing(columns, self._known_ports)
        self._keep(found, columns, records)
        self._note_delivering(records)
        return records

    def _identify(self, columns: Mapping[str, Column]) -> PortIdentity:
        """Return how rows belong to ports; remembered only where nothing that it rests on was cut off."""
        state_name = self._catalogue.of(Quantity.PORT_STATE)[0][0]
        roles = {role: self._catalogue.role(role)[0] for role in (_TYPE, _NAME, *_LEADS_TO_INTERFACE)}
        rests_on = [columns[name] for name in (state_name, *roles.values()) if name in columns]
        told = {role: columns[name].rows if name in columns else {} for role, name in roles.items()}
        identity = PortIdentity(
            self._unit,
            [(index[0], index[1]) for index in columns[state_name].rows if len(index) == 2],
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
        whole = {objects[name].quantity for name, column in columns.items() if column.why_cut is None}
        whole -= {objects[name].quantity for name, column in columns.items() if column.why_cut is not None}
        self._kept = {key: record for key, record in self._kept.items() if key[1] not in whole}

    def _keep(self, found: Iterable[str], columns: Iterable[str], records: UnitRecords) -> None:
        objects = self._catalogue.objects
        slow = {objects[name].quantity for name in (*found, *columns) if objects[name].pace != "cycle"}
        for record in records:
            key = (record.port, record.quantity)
            idle_class = record.quantity is Quantity.PORT_CLASS and record.missing is not None
            if record.quantity in slow or (idle_class and key in self._kept):
                self._kept[key] = record

    def _note_delivering(self, records: UnitRecords) -> None:
        now = frozenset(
            r.port for r in records if r.quantity is Quantity.PORT_STATE and r.value == PortState.DELIVERING
        )
        self._newly_delivering = self._delivering is not None and not now <= self._delivering
        self._delivering = now


def _reason(cut: Mapping[str, str | None]) -> str:
    """Return one sentence for each reason, with the objects that it cost."""
    by_why: dict[str, list[str]] = {}
    for name, why in cut.items():
        by_why.setdefault(why or "", []).append(name.partition("@")[0])
    parts = []
    for why, names in by_why.items():
        shown = ", ".join(names[:MOST_NAMES_IN_A_REASON])
        more = f" and {len(names) - MOST_NAMES_IN_A_REASON} more" if len(names) > MOST_NAMES_IN_A_REASON else ""
        parts.append(f"{shown}{more}: {why}")
    return "; ".join(parts) + "."


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
