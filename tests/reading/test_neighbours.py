"""Neighbours out of LLDP's tables, at both roots: indexes put together by hand from the modules' INDEX clauses."""

from __future__ import annotations

import pytest

from portdraw.plan.site import Unit
from portdraw.reading.catalogue import standard_catalogue
from portdraw.reading.columns import Column
from portdraw.reading.neighbours import Neighbour, neighbour_objects, neighbours_of
from portdraw.reading.port_identity import PortIdentity
from portdraw.reading.varbind import Kind, Oid, Varbind

OBJECTS = neighbour_objects(standard_catalogue())
IDENTITY = PortIdentity(Unit(), [(1, 1), (1, 2), (1, 3)], {1: 6, 2: 6, 3: 6, 9: 6}, {1: "1", 2: "2", 3: "3", 9: "up"})
# IEEE Std 802.1AB-2005: lldpRemTimeMark, lldpRemLocalPortNum, lldpRemIndex
V1: Oid = (0, 2, 1)
# IEEE Std 802.1AB-2009, lldpV2RemTable: time mark, local ifIndex, row of the destination address, row
V2: Oid = (0, 2, 1, 1)


def told(**rows: dict[Oid, bytes | int]) -> dict[str, Column]:
    columns = {name: Column(entry.arcs) for name, entry in OBJECTS.items()}
    for name, values in rows.items():
        for index, value in values.items():
            kind = Kind.OCTETS if isinstance(value, bytes) else Kind.INTEGER
            columns[name].rows[index] = Varbind((*OBJECTS[name].arcs, *index), kind, value)
    return columns


def test_there_is_a_column_for_each_at_both_roots() -> None:
    roots = {entry.arcs[:9] for entry in OBJECTS.values()}
    assert roots == {(1, 0, 8802, 1, 1, 2, 1, 4, 1), (1, 0, 8802, 1, 1, 2, 1, 4, 2), (1, 3, 111, 2, 802, 1, 1, 13, 1)}
    assert len(OBJECTS) == 10


def test_a_neighbour_is_put_together_from_its_rows() -> None:
    columns = told(
        lldpRemSysName={V1: b"pier"},
        lldpRemChassisId={V1: b"\x02\x01\x02\x03\x04\x05"},
        lldpRemSysDesc={V1: b"a switch"},
        lldpRemSysCapEnabled={V1: b"\x28"},  # bits 2 and 4: bridge, router
        lldpRemManAddrIfSubtype={(*V1, 1, 4, 10, 20, 0, 31): 2, (*V1, 2, 16, 0x20, 1, 0xD, 0xB8, *([0] * 11), 1): 2},
    )
    assert neighbours_of(OBJECTS, columns, IDENTITY) == [
        Neighbour(
            "2",
            "pier",
            b"\x02\x01\x02\x03\x04\x05",
            "a switch",
            frozenset({"bridge", "router"}),
            ("10.20.0.31", "2001:db8::1"),
        )
    ]


def test_the_newer_root_is_read_too_and_one_told_at_both_comes_once() -> None:
    newer = told(
        lldpV2RemSysName={V2: b"pier"},
        lldpV2RemChassisId={V2: b"\x02\x01"},
        lldpV2RemSysCapEnabled={V2: b"\x20"},
        lldpV2RemManAddrIfSubtype={(*V2, 1, 4, 10, 20, 0, 31): 2},
    )
    expected = Neighbour("2", "pier", b"\x02\x01", "", frozenset({"bridge"}), ("10.20.0.31",))
    assert neighbours_of(OBJECTS, newer, IDENTITY) == [expected]
    older = told(lldpRemSysName={V1: b"pier"}, lldpRemChassisId={V1: b"\x02\x01"})
    both = {name: column if column.rows else older[name] for name, column in newer.items()}
    (one,) = neighbours_of(OBJECTS, both, IDENTITY)
    assert (one.port, one.name, one.addresses) == ("2", "pier", ("10.20.0.31",))


def test_two_on_one_port_stay_two_and_one_without_a_port_is_kept() -> None:
    columns = told(lldpRemSysName={(0, 2, 1): b"phone", (0, 2, 2): b"desk", (7, 9, 3): b"core"})
    assert [(one.port, one.name) for one in neighbours_of(OBJECTS, columns, IDENTITY)] == [
        ("2", "phone"),
        ("2", "desk"),
        (None, "core"),
    ]
    assert {one.port for one in neighbours_of(OBJECTS, columns, None)} == {None}


@pytest.mark.parametrize(
    "index",
    [
        (1, 4, 10, 20, 0),  # cut short
        (1, 5, 10, 20, 0, 31, 1),
        (6, 6, 2, 1, 2, 3, 4, 5),  # a MAC address (IANA address family 6)
        (1, 4, 10, 20, 0, 999),
        (1, 4, 0, 0, 0, 0),
        (1, 4, 224, 0, 0, 1),
        (2, 16, 0xFE, 0x80, *([0] * 13), 1),  # link-local: good on one link only
        (1,),
        (),
    ],
)
def test_what_is_no_address_to_ask_is_left_out(index: Oid) -> None:
    columns = told(lldpRemSysName={V1: b"pier"}, lldpRemManAddrIfSubtype={(*V1, *index): 2})
    (one,) = neighbours_of(OBJECTS, columns, IDENTITY)
    assert one.addresses == ()


def test_rows_with_too_short_an_index_are_nobody() -> None:
    assert neighbours_of(OBJECTS, told(lldpRemSysName={(2, 1): b"x"}, lldpV2RemSysName={V1: b"y"}), IDENTITY) == []


@pytest.mark.parametrize(
    ("octets", "may_be"),
    [
        (b"\x20", True),  # bridge
        (b"\x08", True),  # router
        (b"\x28\x00", True),
        (b"\x24", False),  # bridge and telephone: a phone with a port
        (b"\x30", False),  # bridge and access point
        (b"\x01", False),  # station only
        (b"\x80", False),
        (b"", True),  # nothing told
        (b"\x00", True),
    ],
)
def test_who_may_be_a_unit(octets: bytes, may_be: bool) -> None:
    """LldpSystemCapabilitiesMap: other 0, repeater 1, bridge 2, access point 3, router 4, telephone 5, station 7."""
    columns = told(lldpRemSysName={V1: b"x"}, lldpRemSysCapEnabled={V1: octets})
    (one,) = neighbours_of(OBJECTS, columns, IDENTITY)
    assert one.may_be_unit is may_be
