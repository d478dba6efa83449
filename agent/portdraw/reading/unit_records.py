"""Columns of one poll into records: by printed port, in their units, or with the reason why they are missing.

No row is ever replaced by a zero, and no row lands on a port that it may not belong to.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import replace

from portdraw.observation.record import Basis, PortState, PowerSource, Quantity, Record
from portdraw.reading.catalogue import Catalogue, MibObject
from portdraw.reading.columns import Column
from portdraw.reading.decode import CannotBeUsedError, decode, raw_number, scaled
from portdraw.reading.port_identity import REMOTE_KINDS, PortIdentity
from portdraw.reading.varbind import Oid, Varbind

ABOVE_SUPPLY = 1.1  # a total above the supply by more than this is a wrong unit; common practice, no source

MOST_EXPONENT = 24  # RFC 7460, UnitMultiplier: yocto to yotta

Key = tuple[str | None, Quantity]
Beside = Mapping[str, Mapping[Oid, Varbind]]
# rows of these are about the unit as a whole, or are read by somebody else
_NOT_OF_PORTS = frozenset({"group", "ups-line", "physical", "lldp-remote-tlv", "lldp-v2-remote-tlv"})
_TOTALS = frozenset({"group", "ups-line"})


def lasting(entry: MibObject, index: Oid) -> Oid:
    """Return what lasts of an index: the time mark before a neighbour's changes with all that it says."""
    return index[1:] if entry.index in REMOTE_KINDS else index


class UnitRecords:
    """The records of one poll under construction. `present` says which columns the agent turned out to have.

    `granted` names the columns of watts that merely repeat the allocation. `beside` has rows of slower columns that
    go with others, by what lasts of their index. `unplaced` tells, by object, where not one row belongs to a port;
    `others` are the ports' watts from further sources.
    """

    def __init__(
        self,
        catalogue: Catalogue,
        present: Mapping[str, bool],
        now_s: float,
        granted: Container[str] = (),
        beside: Beside | None = None,
    ) -> None:
        self._catalogue = catalogue
        self._present = present
        self._now_s = now_s
        self._granted = granted
        self._beside = beside or {}
        self._of_supplies: list[Record] = []
        self._by_key: dict[Key, Record] = {}
        self.unplaced: dict[str, str] = {}
        self.others: list[Record] = []

    def __bool__(self) -> bool:
        return bool(self._by_key)

    def __iter__(self) -> Iterator[Record]:
        yield from self._by_key.values()
        yield from self._of_supplies

    def get(self, key: Key) -> Record | None:
        """Return the record of a port (None: of the unit) and quantity."""
        return self._by_key.get(key)

    def put(self, record: Record) -> None:
        """Enter a record, in place of an earlier one about the same."""
        if record.supply is None:
            self._by_key[record.port, record.quantity] = record
        else:
            self._of_supplies.append(record)

    def offer(self, record: Record) -> None:
        """Enter a record where none stands yet, where the one that stands says less, or has the same source."""
        other = self._by_key.get((record.port, record.quantity))
        if other is None or _says_more(record, other) or other.source == record.source:
            self.put(record)

    def put_absent(self, records: Iterable[Record]) -> None:
        """Enter records about which this poll has said nothing."""
        for record in records:
            self._by_key.setdefault((record.port, record.quantity), record)

    def scalar(self, name: str, varbind: Varbind | None, why: str | None) -> None:
        """Enter a value of the unit; `why` says why it was not told."""
        entry = self._catalogue.objects[name]
        if varbind is not None:
            self.offer(self._record(name, entry, None, varbind))
        elif why is not None or not entry.rare:
            self.offer(self._missing(name, entry, None, why or "the agent does not have this object"))

    def take_ports(self, by_name: Mapping[str, Column], identity: PortIdentity, known: dict[str, None]) -> None:
        """Enter what is told of ports; `known` is extended by ports with a row that only a PSE port has."""
        watts_name = self._watts_column(by_name, identity)
        has_states = any(self._present.get(name) for name, _ in self._catalogue.of(Quantity.PORT_STATE))
        objects = self._catalogue.objects
        in_order = [name for name in objects if name in by_name]  # of sources, whatever was read first
        in_order.sort(key=lambda name: objects[name].quantity is not Quantity.PORT_STATE)
        spare: list[str] = []
        for name in in_order:
            entry, column = objects[name], by_name[name]
            quantity = entry.quantity
            if quantity is None or entry.index in _NOT_OF_PORTS or quantity is Quantity.UNIT_OWN_SOURCE:
                continue
            if quantity is Quantity.PORT_DRAW and name != watts_name:
                spare.append(name)
                continue
            makes_known = quantity is Quantity.PORT_STATE or (quantity is Quantity.PORT_DRAW and not has_states)
            ports = {index: identity.printed(entry.index, index) for index in column.rows}
            if makes_known and ports and not any(ports.values()):
                self.unplaced[name] = f"none of its {len(ports)} rows can be put to a port"
            for index, port in ports.items():
                if port is None:
                    continue
                if makes_known:
                    known[port] = None
                if port not in known:
                    continue  # a row for a port that has no power table row can't deliver
                record = self._row(name, entry, port, index, by_name)
                other = self._by_key.get((port, quantity))
                if record is not None and (other is None or _says_more(record, other)):
                    self.put(record)

        for name in spare:
            self._keep_in_reserve(name, by_name, identity, known)

    def take_sensors(self, readings: Iterable[Record], known: Container[str]) -> None:
        """Enter what sensors in known ports say, in place of worse sources."""
        for record in readings:
            if record.port in known:
                worse = self._by_key.get((record.port, record.quantity))
                if worse is not None and worse.quantity is Quantity.PORT_DRAW and worse.value is not None:
                    self.others.insert(0, worse)
                self.put(record)

    def take_totals(self, by_name: Mapping[str, Column]) -> None:
        """Enter sums over the groups of the unit; where one group is unknown the sum is."""
        for name, column in by_name.items():
            entry = self._catalogue.objects[name]
            if entry.index not in _TOTALS or entry.quantity is None:
                continue
            parts = [self._record(name, entry, None, varbind) for varbind in column.rows.values()]
            why = next((part.missing for part in parts if part.missing), column.why_cut)
            if why is not None:
                self.put(self._missing(name, entry, None, why))
            elif not parts:
                continue
            elif entry.unit == "W":
                total = sum(part.number() or 0.0 for part in parts)  # every part is there: no unknown is summed as 0
                self.put(_with_value(parts[0], total))
            elif entry.unit == "%":
                self.put(_with_value(parts[0], max(part.number() or 0.0 for part in parts)))
            else:
                words = dict.fromkeys(str(part.value) for part in parts)
                self.put(_with_value(parts[0], ", ".join(words)))
        self._refuse_impossible_total()

    def take_own_source(self, by_name: Mapping[str, Column]) -> None:
        """Enter which leg the unit says it draws from: the row that says something, among those of all its ports."""
        best: Record | None = None
        for name, entry in self._catalogue.of(Quantity.UNIT_OWN_SOURCE):
            column = by_name.get(name)
            for index in column.rows if column else ():
                record = self._row(name, entry, None, index, by_name)
                if record is not None and (best is None or _says_more(record, best)):
                    best = record
            if best is None and column is not None and column.why_cut and self._present.get(name):
                best = self._missing(name, entry, None, column.why_cut)
        told = self._by_key.get((None, Quantity.UNIT_OWN_SOURCE))  # by a scalar: the last in the order of sources
        if best is not None and (told is None or not _says_more(told, best)):
            self.put(best)

    def take_own_feed(self, by_name: Mapping[str, Column]) -> None:
        """Enter what rows of ports by which the unit itself is fed tell: what it asks for and was granted."""
        for name, entry in self._catalogue.objects.items():
            column = by_name.get(name)
            if entry.of_unit is None or column is None:
                continue
            for index, varbind in column.rows.items():
                if self._is_of_port(entry, index, by_name) is False:
                    self.offer(replace(self._record(name, entry, None, varbind), quantity=entry.of_unit))

    def drop_class_of_idle_ports(self) -> None:
        """A class is only valid while the port delivers (RFC 3621, pethPsePortPowerClassifications)."""
        classes = [record for (_, quantity), record in self._by_key.items() if quantity is Quantity.PORT_CLASS]
        for record in classes:
            port = record.port
            if record.missing is not None:
                continue
            state = self._by_key.get((port, Quantity.PORT_STATE))
            if state is not None and state.value is not None and state.value != PortState.DELIVERING:
                self.put(_without_value(record, "a class is only valid while the port delivers"))

    def say_what_is_missing(self, by_name: Mapping[str, Column], known: Iterable[str]) -> None:
        """Enter, for every known port without a state or watts, the reason."""
        ports = list(known)
        for quantity in (Quantity.PORT_STATE, Quantity.PORT_DRAW):
            names = [name for name, _ in self._catalogue.of(quantity)]
            cut = [by_name[name].why_cut for name in names if name in by_name]
            why = next((reason for reason in cut if reason), None)
            source = next((self._catalogue.source_text(name) for name in names if self._present.get(name)), "")
            if why is None:
                why = "the agent has no value for this port" if source else f"this unit does not tell the {quantity}"
            unit = "W" if quantity is Quantity.PORT_DRAW else ""
            self.put_absent(Record(port, quantity, None, unit, None, source, self._now_s, why) for port in ports)

    def _watts_column(self, by_name: Mapping[str, Column], identity: PortIdentity) -> str | None:
        """Return the best column of watts with a row for any port; failing that, the best with rows at all."""
        spare: str | None = None
        columns = self._catalogue.of(Quantity.PORT_DRAW)
        for name, entry in sorted(columns, key=lambda column: column[0] in self._granted):
            rows = by_name[name].rows if name in by_name else {}
            if any(identity.printed(entry.index, index) for index in rows):
                return name
            if not rows and self._present.get(name):
                return name
            if rows and spare is None:
                spare = name
        return spare

    def _keep_in_reserve(
        self, name: str, by_name: Mapping[str, Column], identity: PortIdentity, known: Container[str]
    ) -> None:
        """Keep the ports' watts of a column that is not the best one, for where that turns out to be wrong."""
        entry = self._catalogue.objects[name]
        for index in by_name[name].rows:
            port = identity.printed(entry.index, index)
            record = self._row(name, entry, port, index, by_name) if port is not None and port in known else None
            if record is not None and record.value is not None and record.basis is not Basis.GRANTED:
                self.others.append(record)

    def _refuse_impossible_total(self) -> None:
        draw, budget = (self._by_key.get((None, q)) for q in (Quantity.UNIT_DRAW, Quantity.UNIT_BUDGET))
        drawn_w, budget_w = (record.number() if record is not None else None for record in (draw, budget))
        if draw is None or drawn_w is None or not budget_w or drawn_w <= budget_w * ABOVE_SUPPLY:
            return
        why = f"{drawn_w:g} W is refused: the supply that the agent reports gives {budget_w:g} W"
        self.put(_without_value(draw, why))

    def _is_of_port(self, entry: MibObject, index: Oid, by_name: Mapping[str, Column]) -> bool | None:
        """Return whether `rows_where` holds for a row, None where the agent does not say."""
        told = [self._find(other, index, by_name) for other in entry.rows_where]
        if None in told:
            return None
        pairs = zip(told, entry.rows_where.values(), strict=True)
        return all(varbind is not None and varbind.value in allowed for varbind, allowed in pairs)

    def _find(self, name: str, index: Oid, by_name: Mapping[str, Column]) -> Varbind | None:
        found = by_name[name].rows.get(index) if name in by_name else None
        if found is None and name in self._beside:
            found = self._beside[name].get(lasting(self._catalogue.objects[name], index))
        return found

    def _row(
        self, name: str, entry: MibObject, port: str | None, index: Oid, by_name: Mapping[str, Column]
    ) -> Record | None:
        """Return the record of one row, with what goes with it; None where the row is about the other end."""
        varbind = by_name[name].rows[index]
        if entry.rows_where:
            of_port = self._is_of_port(entry, index, by_name)
            if of_port is False:
                return None
            if of_port is None and isinstance(varbind.value, bytes):
                return self._missing(
                    name, entry, port, "the agent does not say which end of the feed sent these bits"
                )
        record = self._record(name, entry, port, varbind)
        if not entry.companions or record.value is None:
            return record
        objects = self._catalogue.objects
        beside = {other: self._find(other, index, by_name) for other in entry.companions}
        try:
            factor = 1.0
            for other, allowed in entry.only_where.items():
                if raw_number(objects[other], beside[other]) not in allowed:
                    raise CannotBeUsedError(f"{self._catalogue.source_text(other)} says that it is not measured")
            if entry.times:
                factor *= raw_number(objects[entry.times], beside[entry.times])
            if entry.power_of_ten:
                exponent = raw_number(objects[entry.power_of_ten], beside[entry.power_of_ten])
                if abs(exponent) > MOST_EXPONENT:
                    raise CannotBeUsedError(f"the agent sent the power of ten {exponent:g}, which no watts need")
                factor *= 10.0**exponent
            return _with_value(record, scaled(entry, record.value, factor))
        except CannotBeUsedError as error:
            return self._missing(name, entry, port, str(error))

    def _record(self, name: str, entry: MibObject, port: str | None, varbind: Varbind) -> Record:
        assert entry.quantity is not None
        try:
            value = decode(entry, varbind)
        except CannotBeUsedError as error:
            return self._missing(name, entry, port, str(error))
        basis = Basis.GRANTED if name in self._granted else entry.basis
        source = self._catalogue.source_text(name)
        return Record(port, entry.quantity, value, entry.unit, basis, source, self._now_s)

    def _missing(self, name: str, entry: MibObject, port: str | None, why: str) -> Record:
        assert entry.quantity is not None
        source = self._catalogue.source_text(name)
        return Record(port, entry.quantity, None, entry.unit, None, source, self._now_s, why)


def _says_more(new: Record, old: Record) -> bool:
    """True where `new` tells and `old` is missing or "unknown"."""
    if new.missing is not None or new.value == PowerSource.UNKNOWN:
        return False
    return old.missing is not None or old.value == PowerSource.UNKNOWN


def _with_value(record: Record, value: float | str) -> Record:
    return replace(record, value=value, missing=None)


def _without_value(record: Record, why: str) -> Record:
    return replace(record, value=None, basis=None, missing=why)
