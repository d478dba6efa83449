"""Whom a unit hears by LLDP beside the fed units' names: devices, its own feeder, chassis, and how a unit is reached.

Only planned devices speak, and not all kinds: of nine powered devices of one recorded switch six did. A row is there
only while its neighbour talks. A unit's management address is 127.0.0.1, where its agent truly is; LLDP has no port.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from functools import partial

from portdraw.rehearsal import oids
from portdraw.rehearsal.mib_map import Row, Teller, Told
from portdraw.rehearsal.oids import Oid
from portdraw.rehearsal.physics import Physics
from portdraw.rehearsal.state import PortState, UnitState

SILENT_TYPES = frozenset({"barrier", "berth-sensor"})
SPEAKS_AS = {"ap": "ap", "phone": "phone"}  # any other type: a station
LOOPBACK_INDEX = (1, 4, 127, 0, 0, 1)  # IPv4 by IANA's address family numbers, four octets


def neighbour_rows(physics: Physics, unit: UnitState, uplink: int) -> Iterator[Row]:
    """Return the rows of one unit; `uplink` is the ifIndex of the port by which it is fed."""
    yield Row(oids.LLDP_LOC_CHASSIS, "octets", lambda: chassis(unit.name))
    for port in unit.ports.values():
        if port.feeds is not None:
            below = physics.units[port.feeds]
            yield from _of_unit(port.if_index, below, partial(physics.answers, below.name))
        elif port.load is not None:
            yield from _of_device(unit, port)
    if unit.feeder is not None:
        above = physics.units[unit.feeder[0]]
        heard = partial(physics.answers, above.name)
        yield Row((*oids.LLDP_REM_SYS_NAME, *_index(uplink)), "octets", _while(heard, above.name))
        yield from _of_unit(uplink, above, heard)


def chassis(name: str) -> bytes:
    """Return a chassis id made from a name: a locally administered address (IEEE Std 802, bit 1 of octet 1)."""
    return b"\x02" + hashlib.sha256(name.encode()).digest()[:5]


def _index(if_index: int) -> Oid:
    return (100 + if_index, if_index, 1)  # as in unit_rows: a time mark, whose value means nothing


def _of_unit(if_index: int, other: UnitState, heard: Teller) -> Iterator[Row]:
    index = _index(if_index)
    yield Row((*oids.LLDP_REM_CHASSIS, *index), "octets", _while(heard, chassis(other.name)))
    yield Row((*oids.LLDP_REM_SYS_DESC, *index), "octets", _while(heard, f"EMULATED switch {other.name}"))
    yield Row((*oids.LLDP_REM_CAPABILITIES, *index), "octets", _while(heard, bytes([oids.CAPABILITIES["switch"]])))
    if other.plan.readable:
        reach = (*oids.LLDP_REM_ADDRESS_IF, *index, *LOOPBACK_INDEX)
        yield Row(reach, "integer", _while(heard, oids.ADDRESS_OF_IF_INDEX))


def _of_device(unit: UnitState, port: PortState) -> Iterator[Row]:
    planned = unit.plan.ports.get(port.key)
    if planned is None or planned.device is None or planned.type in SILENT_TYPES:
        return
    name, index = planned.device, _index(port.if_index)

    def heard() -> bool:
        return port.draw_w > 0 and port.load is not None and port.load.name == name

    octet = oids.CAPABILITIES[SPEAKS_AS.get(planned.type or "", "station")]
    yield Row((*oids.LLDP_REM_SYS_NAME, *index), "octets", _while(heard, name))
    yield Row((*oids.LLDP_REM_CHASSIS, *index), "octets", _while(heard, chassis(name)))
    yield Row((*oids.LLDP_REM_CAPABILITIES, *index), "octets", _while(heard, bytes([octet])))


def _while(heard: Teller, told: Told) -> Teller:
    return lambda: told if heard() else None
