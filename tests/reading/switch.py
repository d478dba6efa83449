"""A switch of two PoE ports and an uplink in memory, whose rows a test sets by the names of the catalogue."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from tests.reading.map_engine import MapEngine

from portdraw.observation.record import Quantity, Record
from portdraw.observation.unit_observation import UnitObservation
from portdraw.plan.site import Unit
from portdraw.reading.catalogue import standard_catalogue
from portdraw.reading.unit_reader import UnitReader
from portdraw.reading.varbind import Kind, Oid, Varbind, oid_text

OBJECTS = standard_catalogue().objects
TAGS = {Kind.INTEGER: "2", Kind.OCTETS: "4x", Kind.OID: "6"}


class Switch:
    """Ports 1 and 2 deliver; interfaces 101, 102 and, for the uplink, 103."""

    def __init__(self, with_power_table: bool = True) -> None:
        self.engine = MapEngine({})
        self.now_s = 1_000_000.0
        unit = Unit(address="192.0.2.1", access="a")
        self.reader = UnitReader("unit", unit, self.engine, standard_catalogue(), lambda: self.now_s)
        up: Oid = (*OBJECTS["sysUpTime"].arcs, 0)
        self.engine.rows[up] = Varbind(up, Kind.TIMETICKS, 360_000)
        self.set("ifType", {(101,): 6, (102,): 6, (103,): 6})
        self.set("ifName", {(101,): b"e0/1", (102,): b"e0/2", (103,): b"up0"})
        if with_power_table:
            self.set("pethPsePortDetectionStatus", {(1, 1): 3, (1, 2): 3})

    def set(self, name: str, values: Mapping[Oid, int | bytes | Oid]) -> None:
        """Replace the rows of a column; a scalar has the index (0,)."""
        column = OBJECTS[name].arcs
        for oid in [oid for oid in self.engine.rows if oid[: len(column)] == column]:
            del self.engine.rows[oid]
        for index, value in values.items():
            kind = Kind.OCTETS if isinstance(value, bytes) else Kind.OID if isinstance(value, tuple) else Kind.INTEGER
            self.engine.rows[column + index] = Varbind(column + index, kind, value)

    async def poll(self, slow: bool = False) -> UnitObservation:
        """Poll once; what was asked is in `engine.asked` afterwards."""
        self.now_s += 30
        self.engine.asked.clear()
        return await self.reader.poll(5, slow)

    def asked(self) -> int:
        """Return how many requests the last poll took."""
        return len(self.engine.asked)

    def write(self, path: Path) -> Path:
        """Write the rows as a recording, for a real agent to serve; its uptime is its own."""
        lines = []
        for oid in sorted(self.engine.rows):
            varbind = self.engine.rows[oid]
            if varbind.kind is Kind.TIMETICKS:
                continue
            value = varbind.value
            text = value.hex() if isinstance(value, bytes) else oid_text(value) if isinstance(value, tuple) else value
            lines.append(f"{oid_text(oid)}|{TAGS[varbind.kind]}|{text}")
        path.write_text("\n".join(lines) + "\n")
        return path


def told(observation: UnitObservation, port: str | None, quantity: Quantity) -> Record:
    """Return the record of a quantity, which must be there."""
    return observation.index[port, quantity]
