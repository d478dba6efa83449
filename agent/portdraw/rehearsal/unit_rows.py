"""The rows that a unit's agent tells: its own identity, its PoE ports, its watts in its own way, its neighbours."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from portdraw.rehearsal import oids
from portdraw.rehearsal.mib_map import Row, Teller, Told
from portdraw.rehearsal.neighbour_rows import neighbour_rows
from portdraw.rehearsal.oids import Oid
from portdraw.rehearsal.physics import Physics
from portdraw.rehearsal.state import PortState, UnitState
from portdraw.rehearsal.story import Voice, voice_of

DETECTION = {"disabled": 1, "searching": 2, "delivering": 3, "fault": 4, "other fault": 6}  # RFC 3621
ETHERNET = 6  # ethernetCsmacd, IANAifType
CLASS_PD = 2  # pClassPD
USAGE_THRESHOLD_PERCENT = 80
DESTINATION_ROW = 1  # row of the destination address table, LLDP-V2-MIB
OBJECT_IDS = {"group.port": oids.OBJECT_ID_9, "ifIndex": oids.OBJECT_ID_1991}


def rows_of(physics: Physics, name: str, site_name: str) -> list[Row]:
    """Return all rows of one unit's agent."""
    unit = physics.units[name]
    voice = voice_of(name)
    return [
        *_system(physics, unit, voice, site_name),
        *_interfaces(unit),
        *_ports(unit),
        *_watts(unit, voice),
        *_groups(unit),
        *_own_source(physics, unit, voice),
        *_neighbours(physics, unit),
        *neighbour_rows(physics, unit, uplink_index(unit)),
    ]


def _system(physics: Physics, unit: UnitState, voice: Voice, site_name: str) -> Iterator[Row]:
    def up_s() -> float:
        return max(0.0, physics.time_s - unit.powered_since_s)

    description = f"EMULATED switch {unit.name} of {site_name}; not a real device"
    object_id = OBJECT_IDS.get(voice.watts, oids.OBJECT_ID_PLAIN)
    yield _fixed(oids.SYS_DESCR, "octets", description)
    yield _fixed(oids.SYS_OBJECT_ID, "oid", object_id)
    yield Row(oids.SYS_UP_TIME, "ticks", lambda: int(up_s() * 100) % 2**32)
    yield _fixed(oids.SYS_NAME, "octets", unit.name)
    yield _fixed(oids.SYS_LOCATION, "octets", unit.plan.place)
    yield Row(oids.ENGINE_BOOTS, "integer", lambda: unit.boots)
    yield Row(oids.ENGINE_TIME, "integer", lambda: int(up_s()))
    yield _fixed(oids.LLDP_LOC_SYS_NAME, "octets", unit.name)


def _interfaces(unit: UnitState) -> Iterator[Row]:
    for port in unit.ports.values():
        yield from _interface(port.if_index, f"PoE port {port.key}", port.key, port.label, partial(_link, port))
    if unit.feeder is not None:
        yield from _interface(uplink_index(unit), "uplink, PoE in", "uplink", "", lambda: 1)


def _interface(index: int, description: str, name: str, alias: str, link: Teller) -> Iterator[Row]:
    yield _fixed((*oids.IF_INDEX, index), "integer", index)
    yield _fixed((*oids.IF_DESCR, index), "octets", description)
    yield _fixed((*oids.IF_TYPE, index), "integer", ETHERNET)
    yield Row((*oids.IF_OPER_STATUS, index), "integer", link)
    yield _fixed((*oids.IF_NAME, index), "octets", name)
    yield _fixed((*oids.IF_ALIAS, index), "octets", alias)


def _link(port: PortState) -> Told:
    return 1 if port.draw_w > 0 else 2


def _ports(unit: UnitState) -> Iterator[Row]:
    for port in unit.ports.values():
        index = (port.group, port.number)
        yield _fixed((*oids.PORT_ADMIN_ENABLE, *index), "integer", 2 if port.planned_off else 1)
        yield Row((*oids.PORT_DETECTION, *index), "integer", partial(_detection, port))
        yield _fixed((*oids.PORT_PRIORITY, *index), "integer", port.rank)
        yield Row((*oids.PORT_MPS_ABSENT, *index), "counter", partial(getattr, port, "mps_absent"))
        yield Row((*oids.PORT_CLASS, *index), "integer", partial(_class, port))
        yield _fixed((*oids.PORT_INVALID_SIGNATURE, *index), "counter", 0)
        yield Row((*oids.PORT_DENIED, *index), "counter", partial(getattr, port, "denied"))
        yield Row((*oids.PORT_OVERLOAD, *index), "counter", partial(getattr, port, "overloads"))
        yield _fixed((*oids.PORT_SHORT, *index), "counter", 0)


def _detection(port: PortState) -> Told:
    return DETECTION[port.state]


def _class(port: PortState) -> Told:
    """Class as RFC 3621 counts it: one more than the class, class 4 for all above; only told while delivering."""
    return min(port.told_class, 4) + 1 if port.draw_w > 0 else 1


def _milliwatts(port: PortState) -> Told:
    return round(port.draw_w * 1000)


def _watts(unit: UnitState, voice: Voice) -> Iterator[Row]:
    for port in unit.ports.values():
        tell = partial(_milliwatts, port)
        if voice.watts == "802.3.1":
            yield Row((*oids.IEEE_ACTUAL_POWER, port.group, port.number), "integer", tell)
        elif voice.watts == "group.port":
            yield Row((*oids.ENTERPRISE_9_CONSUMPTION, port.group, port.number), "gauge", tell)
        elif voice.watts == "ifIndex":
            yield Row((*oids.ENTERPRISE_1991_CONSUMED, port.if_index), "integer", tell)


def _groups(unit: UnitState) -> Iterator[Row]:
    groups = sorted({port.group for port in unit.ports.values()})
    for group in groups:
        members = [port for port in unit.ports.values() if port.group == group]

        def drawn(members: list[PortState] = members) -> Told:
            return round(sum(port.draw_w for port in members))

        def budget() -> Told:
            return max(1, int(unit.budget_w / len(groups)))  # whole watts, range 1 to 65535 (RFC 3621)

        yield Row((*oids.MAIN_POWER, group), "gauge", budget)
        yield _fixed((*oids.MAIN_OPER_STATUS, group), "integer", 1)
        yield Row((*oids.MAIN_CONSUMPTION, group), "gauge", drawn)
        yield _fixed((*oids.MAIN_THRESHOLD, group), "integer", USAGE_THRESHOLD_PERCENT)


def _own_source(physics: Physics, unit: UnitState, voice: Voice) -> Iterator[Row]:
    """What the unit says of its own supply, in the row of its uplink."""
    if unit.feeder is None or voice.source == "silent":
        return
    index = uplink_index(unit)
    if voice.source == "old root":
        yield _fixed((*oids.OLD_LOC_PORT_CLASS, index), "integer", CLASS_PD)
        yield Row((*oids.OLD_LOC_POWER_SOURCE, index), "octets", partial(_octet_of, physics, unit))
        return
    told = partial(_number_of, physics, unit, oids.NEW_LOC_SOURCE)
    yield _fixed((*oids.NEW_LOC_PORT_CLASS, index), "integer", CLASS_PD)
    yield Row((*oids.NEW_LOC_POWER_SOURCE, index), "integer", told)


def _neighbours(physics: Physics, unit: UnitState) -> Iterator[Row]:
    """The fed units that this unit hears on its ports; each row is there only while the neighbour talks."""
    for port in unit.ports.values():
        if port.feeds is None:
            continue
        below = physics.units[port.feeds]
        voice = voice_of(below.name)
        mark = 100 + port.if_index  # a time mark; its value means nothing (RFC 2021, TimeFilter)
        old_index = (mark, port.if_index, 1)
        new_index = (mark, port.if_index, DESTINATION_ROW, 1)
        role = partial(_heard, physics, below, lambda: CLASS_PD)
        yield Row(
            (*oids.LLDP_REM_SYS_NAME, *old_index), "octets", partial(_heard, physics, below, partial(_name, below))
        )
        if voice.source == "old root":
            octet = partial(_heard, physics, below, partial(_octet_of, physics, below))
            yield Row((*oids.OLD_REM_PORT_CLASS, *old_index), "integer", role)
            yield Row((*oids.OLD_REM_POWER_SOURCE, *old_index), "octets", octet)
        elif voice.source == "802.3.1":
            number = partial(_heard, physics, below, partial(_number_of, physics, below, oids.NEW_REM_SOURCE))
            yield Row((*oids.NEW_REM_PORT_CLASS, *new_index), "integer", role)
            yield Row((*oids.NEW_REM_POWER_SOURCE, *new_index), "integer", number)


def _heard(physics: Physics, below: UnitState, tell: Teller) -> Told:
    return tell() if physics.answers(below.name) else None


def _name(unit: UnitState) -> Told:
    return unit.name


def uplink_index(unit: UnitState) -> int:
    """Return the ifIndex of the port by which a unit is fed: the one after its highest."""
    return max(port.if_index for port in unit.ports.values()) + 1


def _octet_of(physics: Physics, unit: UnitState) -> Told:
    octet = oids.OLD_SOURCE_OCTET.get(physics.source_of(unit))
    return None if octet is None else bytes([octet])


def _number_of(physics: Physics, unit: UnitState, numbers: dict[str, int]) -> Told:
    return numbers.get(physics.source_of(unit))


def _fixed(oid: Oid, kind: str, value: int | str | bytes | Oid) -> Row:
    return Row(oid, kind, lambda: value)
