"""Printed numbers and MIB indexes."""

from __future__ import annotations

import pytest

from portdraw.plan.ports import printed_port, snmp_index, sort_key
from portdraw.plan.site import Port, Unit


def test_people_count_two_before_ten() -> None:
    keys = ["2/1", "10", "1/48", "2", "1/5", "1/0/3"]
    assert sorted(keys, key=sort_key) == ["2", "10", "1/5", "1/48", "2/1", "1/0/3"]


# RFC 3621: pethPsePortGroupIndex is 1 on equipment in one piece, the member of a stack otherwise
@pytest.mark.parametrize(("key", "index"), [("3", (1, 3)), ("2/14", (2, 14)), ("1/0/3", (1, 3))])
def test_index_of_a_printed_number(key: str, index: tuple[int, int]) -> None:
    assert snmp_index(key) == index


def test_explicit_index_goes_first() -> None:
    # recorded agents number their 24 PoE ports 3 to 26, after two uplinks
    unit = Unit(ports={"1": Port(snmp="1.3"), "2": Port(snmp="1.4"), "3": Port(snmp="1.5")})
    assert snmp_index("1", unit.ports["1"]) == (1, 3)
    assert printed_port(unit, 1, 4) == "2"
    assert printed_port(unit, 1, 3) == "1"
    assert printed_port(unit, 1, 9) == "9"
    assert printed_port(unit, 1, 2) == "1.2"  # "2" is printed beside another port


@pytest.mark.parametrize("keys", [["1", "2", "24"], ["1/1", "1/48", "2/1"]])
def test_printed_port_is_the_inverse(keys: list[str]) -> None:
    unit = Unit(ports={key: Port() for key in keys})
    assert [printed_port(unit, *snmp_index(key)) for key in keys] == keys


def test_ports_that_the_plan_does_not_list() -> None:
    assert printed_port(Unit(), 1, 7) == "7"
    assert printed_port(Unit(), 2, 7) == "2/7"
    assert printed_port(Unit(ports={"1/1": Port()}), 1, 7) == "1/7"
