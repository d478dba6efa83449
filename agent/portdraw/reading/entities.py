"""What of an agent's physical entities is about power: supplies, their state, and sensors in supplies and in ports.

Found once, at the start; afterwards only the values of what was found are asked for, by name. An agent without any of
it is asked nothing more.
"""

from __future__ import annotations

import re
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from portdraw.observation.record import Basis, Quantity, Record
from portdraw.reading.catalogue import Catalogue
from portdraw.reading.columns import Column, Reader
from portdraw.reading.decode import PORT_CEILING_W, CannotBeUsedError, decode, sensor_reading
from portdraw.reading.port_identity import PortIdentity
from portdraw.reading.varbind import Oid, Varbind

CHASSIS, POWER_SUPPLY, PORT = 3, 6, 10  # IANA-ENTITY-MIB, IANAPhysicalClass
DEEPEST = 16  # steps up the tree of entities; more is a loop. Common practice, no source
MOST_BY_NAME = 48  # values; more are cheaper as columns. Common practice, no source
MOST_SERIALS = 16
_CLASS, _PARENT, _NAME = "entPhysicalClass", "entPhysicalContainedIn", "entPhysicalName"
_TEXT, _SERIAL, _STATE = "entPhysicalDescr", "entPhysicalSerialNum", "entStateOper"
_TYPE, _SCALE, _PRECISION = "entPhySensorType", "entPhySensorScale", "entPhySensorPrecision"
_VALUE, _WORKS = "entPhySensorValue", "entPhySensorOperStatus"
# RFC 3433, EntitySensorDataType: what a sensor of this type tells of a supply, and of a port
_OF_SUPPLY = {
    3: Quantity.SUPPLY_VOLTAGE_AC,
    4: Quantity.SUPPLY_VOLTAGE_DC,
    5: Quantity.SUPPLY_CURRENT,
    6: Quantity.SUPPLY_DRAW,
}
_OF_PORT = {4: Quantity.PORT_VOLTAGE, 5: Quantity.PORT_CURRENT, 6: Quantity.PORT_DRAW}
_UNIT = {3: "V", 4: "V", 5: "A", 6: "W"}
# words by which sensors of light, not of PoE, are known in recorded agents and in modules' texts
_LIGHT = re.compile(
    r"optic|laser|light|transceiv|xcvr|\bdom\b|s?q?sfp|\blane\b|bias|\b[rt]x\b|transmit|receive|dbm", re.IGNORECASE
)
_INPUT = re.compile(r"\b(in|input|inlet)\b", re.IGNORECASE)
_SEVERAL = "the agent has several sensors of this kind there, and nothing says which is meant"

Values = dict[tuple[str, int], Varbind]


@dataclass(frozen=True, slots=True)
class Sensor:
    """One sensor: its entity, the entity (a port or a supply) that it belongs to, and how its value is read."""

    entity: int
    holder: int
    type: int
    scale: int
    precision: int


class Entities:
    """The supplies and sensors of one agent. `supplies` names each supply by its entity."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._catalogue = catalogue
        self.supplies: dict[int, str] = {}
        self.of_ports: list[Sensor] = []
        self._of_supplies: list[Sensor] = []
        self._several: set[tuple[int, int]] = set()  # holder and type of which nothing says which sensor is meant
        self._with_state: list[int] = []
        self._serials: dict[int, str] = {}  # of chassis and supplies
        self._found_s = 0.0

    async def find(self, reader: Reader, columns: Mapping[str, Column], now_s: float) -> None:
        """Look at classes, sensors and what contains what; ask for the names of what matters. Never for all names."""
        classes, types = _integers(columns.get(_CLASS)), _integers(columns.get(_TYPE))
        parents = _integers(columns.get(_PARENT))
        supplies = [entity for entity, kind in classes.items() if kind == POWER_SUPPLY][:MOST_SERIALS]
        chassis = [entity for entity, kind in classes.items() if kind == CHASSIS][:MOST_SERIALS]
        held = _holders(types, classes, parents)
        self._found_s = now_s
        wanted = [(_SERIAL, entity) for entity in (*chassis, *supplies)]
        wanted += [(name, entity) for name in (_NAME, _STATE) for entity in supplies]
        facts = (_TEXT, _NAME, _SCALE, _PRECISION)
        wanted += [(name, entity) for name in facts for entity in held if (name, entity) not in wanted]
        values = await self._ask(reader, wanted)
        self._with_state = [entity for entity in supplies if (_STATE, entity) in values]
        self._serials = {e: text for e in (*chassis, *supplies) if (text := _text(values, _SERIAL, e))}
        self.supplies = _names(supplies, values)
        inputs: set[int] = set()
        for entity, holder in held.items():
            scale, precision = (values.get((name, entity)) for name in (_SCALE, _PRECISION))
            if scale is None or precision is None or not isinstance(scale.value, int):
                continue
            if not isinstance(precision.value, int):
                continue
            sensor = Sensor(entity, holder, types[entity], scale.value, precision.value)
            words = f"{_text(values, _TEXT, entity)} {_text(values, _NAME, entity)}"
            if _INPUT.search(words):
                inputs.add(entity)
            if classes[holder] == POWER_SUPPLY:
                self._of_supplies.append(sensor)
            elif not _LIGHT.search(words):
                self.of_ports.append(sensor)
        self._of_supplies = self._one_of_each(self._of_supplies, inputs)
        self.of_ports = self._one_of_each(self.of_ports, set())

    def _one_of_each(self, sensors: Sequence[Sensor], inputs: Container[int]) -> list[Sensor]:
        """Return one sensor of each type in each holder: of several the one that is said to be at the input."""
        alike: dict[tuple[int, int], list[Sensor]] = {}
        for sensor in sensors:
            alike.setdefault((sensor.holder, sensor.type), []).append(sensor)
        chosen: list[Sensor] = []
        for key, some in alike.items():
            of_input = [sensor for sensor in some if sensor.entity in inputs]
            best = some if len(some) == 1 else of_input
            if len(best) != 1:
                self._several.add(key)
            chosen.append(best[0] if best else some[0])
        return chosen

    async def read(self, reader: Reader, with_ports: bool) -> Values:
        """Return what supplies and sensors say now; of ports only where that is wanted."""
        every = [*self._of_supplies, *(self.of_ports if with_ports else ())]
        sensors = [sensor for sensor in every if (sensor.holder, sensor.type) not in self._several]
        wanted = [(_STATE, entity) for entity in self._with_state]
        wanted += [(name, sensor.entity) for name in (_VALUE, _WORKS) for sensor in sensors]
        return await self._ask(reader, wanted)

    def records(self, values: Values, now_s: float) -> Iterator[Record]:
        """Return the records of the unit's serial number and of its supplies."""
        serials = dict.fromkeys(text for entity, text in self._serials.items() if entity not in self.supplies)
        source = self._catalogue.source_text
        if serials:
            yield Record(None, Quantity.UNIT_SERIAL, ", ".join(serials), "", None, source(_SERIAL), self._found_s)
        for entity, name in self.supplies.items():
            if entity in self._serials:
                yield Record(
                    *(None, Quantity.SUPPLY_SERIAL, self._serials[entity], "", None, source(_SERIAL), self._found_s),
                    supply=name,
                )
            if entity in self._with_state:
                yield self._state(values.get((_STATE, entity)), name, now_s)
            for sensor in self._of_supplies:
                if sensor.holder == entity:
                    yield self._reading(sensor, values, None, name, _OF_SUPPLY[sensor.type], now_s)

    def port_records(self, values: Values, identity: PortIdentity, now_s: float) -> Iterator[Record]:
        """Return what sensors in ports say, of those that can be put to a printed port."""
        for sensor in self.of_ports:
            port = identity.printed("entity", (sensor.holder,))
            if port is not None and sensor.type in _OF_PORT:
                yield self._reading(sensor, values, port, None, _OF_PORT[sensor.type], now_s)

    def _state(self, varbind: Varbind | None, supply: str, now_s: float) -> Record:
        value, why = None, None
        try:
            if varbind is None:
                raise CannotBeUsedError("the agent did not answer for it")
            value = str(decode(self._catalogue.objects[_STATE], varbind))
        except CannotBeUsedError as error:
            why = str(error)
        source = self._catalogue.source_text(_STATE)
        return Record(None, Quantity.SUPPLY_STATE, value, "", None, source, now_s, why, supply)

    def _reading(
        self,
        sensor: Sensor,
        values: Values,
        port: str | None,
        supply: str | None,
        quantity: Quantity,
        now_s: float,
    ) -> Record:
        value, why = None, None
        unit = _UNIT[sensor.type]
        try:
            if (sensor.holder, sensor.type) in self._several:
                raise CannotBeUsedError(_SEVERAL)
            raw, works = (values.get((name, sensor.entity)) for name in (_VALUE, _WORKS))
            if raw is None or works is None or not isinstance(raw.value, int) or not isinstance(works.value, int):
                raise CannotBeUsedError("the agent did not answer for it")
            value = round(sensor_reading(raw.value, sensor.scale, sensor.precision, works.value), 6)
            if port is not None and unit == "W" and not 0 <= value <= PORT_CEILING_W:
                why = f"{value:g} W is refused: a port gives from 0 to {PORT_CEILING_W} W"
                value = None
        except CannotBeUsedError as error:
            why = str(error)
        basis = Basis.MEASURED if unit == "W" and value is not None else None
        source = self._catalogue.source_text(_VALUE)
        return Record(port, quantity, value, unit, basis, source, now_s, why, supply)

    async def _ask(self, reader: Reader, wanted: Sequence[tuple[str, int]]) -> Values:
        """Return values by object and entity: a few by name, many by their columns."""
        if not wanted:
            return {}
        arcs = {name: self._catalogue.objects[name].arcs for name, _ in wanted}
        if len(wanted) <= MOST_BY_NAME:
            found = await reader.scalars([(*arcs[name], entity) for name, entity in wanted], optional=True)
        else:
            columns = await reader.columns(list(arcs.values()), optional=True)
            found = {
                (*oid, *index): varbind for oid, column in columns.items() for index, varbind in column.rows.items()
            }
        told = (((name, entity), found.get((*arcs[name], entity))) for name, entity in wanted)
        return {key: varbind for key, varbind in told if varbind is not None}


def _holders(types: Mapping[int, int], classes: Mapping[int, int], parents: Mapping[int, int]) -> dict[int, int]:
    """Return the supply or port of each sensor of volts, amperes or watts.

    In a port only what lies in it at once: deeper down is what is plugged in, such as a transceiver and its lanes.
    """
    found: dict[int, int] = {}
    for sensor, kind in types.items():
        if kind not in _UNIT:
            continue
        at = sensor
        for step in range(DEEPEST):
            at = parents.get(at, 0)
            if classes.get(at) == POWER_SUPPLY or (classes.get(at) == PORT and step == 0):
                found[sensor] = at
            if not at or classes.get(at) in (POWER_SUPPLY, PORT):
                break
    return found


def _names(supplies: Iterable[int], values: Values) -> dict[int, str]:
    """Return a name for each supply: its own where no other has the same, else its number among the supplies."""
    names = {entity: _text(values, _NAME, entity) for entity in supplies}
    told = list(names.values())
    return {
        entity: name if name and told.count(name) == 1 else f"supply {place}"
        for place, (entity, name) in enumerate(names.items(), 1)
    }


def _text(values: Values, name: str, entity: int) -> str:
    varbind = values.get((name, entity))
    return varbind.as_text()[:64] if varbind is not None and isinstance(varbind.value, bytes) else ""


def _integers(column: Column | None) -> dict[int, int]:
    rows: Mapping[Oid, Varbind] = column.rows if column is not None else {}
    return {index[0]: v.value for index, v in rows.items() if len(index) == 1 and isinstance(v.value, int)}
