"""Which printed port a row is about. A row without a sure port has none; two rows never share one."""

from __future__ import annotations

from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portdraw.plan.site import Unit
from portdraw.reading.catalogue import IndexKind
from portdraw.reading.port_identity import PortIdentity
from portdraw.reading.port_identity import interfaces as interfaces_of
from portdraw.reading.varbind import Kind, Oid, Varbind

BARE = Unit()
KINDS: list[IndexKind] = list(get_args(IndexKind))


def ethernet(names: dict[int, str]) -> dict[int, int]:
    return dict.fromkeys(names, 6)


def interfaces(
    names: dict[int, str], power: list[tuple[int, int]], types: dict[int, int] | None = None, unit: Unit = BARE
) -> dict[int, str | None]:
    identity = PortIdentity(unit, power, ethernet(names) if types is None else types, names)
    return {number: identity.printed("if-index", (number,)) for number in names}


def test_power_index_that_is_the_interface_index() -> None:
    names = {number: f"port {number}" for number in range(1001, 1014)}
    found = interfaces(names, [(1, number) for number in range(1001, 1009)])
    assert found == {number: (str(number) if number < 1009 else None) for number in names}


def test_names_counted_from_zero() -> None:
    names = {500 + port: f"x-0/0/{port}" for port in range(24)}
    names |= {600: "mgmt0", 601: "x-0/0/0.0", 602: "x-0/1/0", 603: "x-0/1/1"}
    found = interfaces(names, [(1, port) for port in range(1, 9)])
    told = {number: port for number, port in found.items() if port}
    assert told == {500 + port: str(port + 1) for port in range(8)}


def test_stack_members_by_the_first_number_of_the_name() -> None:
    names = {member * 100 + port: f"E{member}/0/{port}" for member in (1, 2) for port in range(1, 9)}
    found = interfaces(names, [(member, port) for member in (1, 2) for port in range(1, 9)])
    assert found == {member * 100 + port: f"{member}/{port}" for member in (1, 2) for port in range(1, 9)}


def test_stack_without_a_power_table_keeps_its_members_apart() -> None:
    names = {member * 100 + port: f"E{member}/1/{port}" for member in (1, 2) for port in range(1, 9)}
    found = interfaces(names, [])
    assert found[101] in ("1", "1/1")
    assert found[201] == "2/1"
    assert len(set(found.values())) == 16


def test_uplinks_do_not_take_the_numbers_of_ports() -> None:
    """Half as many uplinks as ports, named alike but for the module."""
    names = {port: f"e1/1/{port}" for port in range(1, 9)} | {64 + port: f"e1/2/{port}" for port in range(1, 5)}
    found = interfaces(names, [])
    assert found == {**{port: str(port) for port in range(1, 9)}, 65: None, 66: None, 67: None, 68: None}


def test_two_equal_modules_are_not_guessed() -> None:
    names = {port: f"e1/1/{port}" for port in range(1, 9)} | {64 + port: f"e1/2/{port}" for port in range(1, 9)}
    assert set(interfaces(names, []).values()) == {None}


def test_explicit_index_wins() -> None:
    unit = Unit.model_validate({"ports": {"1": {"snmp": "1.2"}, "2": {"snmp": "1.1"}}})
    names = {1: "e0", 2: "e1"}
    assert interfaces(names, [(1, 1), (1, 2)], unit=unit) == {1: "2", 2: "1"}
    identity = PortIdentity(unit, [(1, 1), (1, 2)], ethernet(names), names)
    assert identity.printed("group-port", (1, 1)) == "2"
    assert identity.printed("lldp-remote", (0, 2, 7)) == "1"


def test_an_index_of_another_length_has_no_port() -> None:
    identity = PortIdentity(BARE, [(1, 1)], {1: 6}, {1: "e1"})
    for kind in KINDS:
        assert identity.printed(kind, ()) is None
        assert identity.printed(kind, (1, 1, 1, 1, 1, 1)[: 2 if kind == "if-index" else 6]) is None or "lldp" in kind


def test_bridge_ports_and_entities_lead_to_interfaces() -> None:
    names = {number: f"port {number}" for number in (101, 102, 103)}
    identity = PortIdentity(
        BARE, [(1, 1), (1, 2)], ethernet(names), {101: "e0/1", 102: "e0/2", 103: "up0"}, {11: 101, 13: 103}, {7: 102}
    )
    assert [identity.printed("bridge-port", (number,)) for number in (11, 12, 13, 101)] == ["1", None, None, None]
    assert [identity.printed("entity", (number,)) for number in (7, 1, 102)] == ["2", None, None]
    without = PortIdentity(BARE, [(1, 1), (1, 2)], ethernet(names), {101: "e0/1", 102: "e0/2"})
    assert [without.printed(kind, (101,)) for kind in ("bridge-port", "entity")] == [None, None]


@pytest.mark.parametrize(
    ("power", "told"),
    [
        ([(1, 1), (1, 2)], {0: None, 1: "1", 2: "2", 3: None}),
        ([(2, 1), (2, 2)], {1: "2/1", 2: "2/2"}),
        ([(1, 1), (2, 1), (2, 2)], {1: None, 2: "2/2"}),  # 1 is in both groups
        ([(1, 1), (2, 25)], {1: "1/1", 25: "2/25"}),  # numbers that go on through the groups
        ([], {0: None, 1: "1", 60: "60"}),
    ],
)
def test_a_port_number_without_a_group(power: list[tuple[int, int]], told: dict[int, str | None]) -> None:
    identity = PortIdentity(BARE, power, {}, {})
    assert {number: identity.printed("port", (number,)) for number in told} == told
    lower = {number - 1: port for number, port in told.items() if number}
    assert {number: identity.printed("port-from-zero", (number,)) for number in lower} == lower


def test_port_zero_is_a_sum_unless_the_power_table_has_it() -> None:
    assert PortIdentity(BARE, [(1, 1)], {}, {}).printed("group-port", (1, 0)) is None
    assert PortIdentity(BARE, [(1, 0), (1, 1)], {}, {}).printed("group-port", (1, 0)) == "0"


def test_interfaces_of_an_entity() -> None:
    """RFC 6933, entAliasMappingIdentifier: instance 3.22 with the value ifIndex.17 is entity 3 at ifIndex 17."""
    if_index: Oid = (1, 3, 6, 1, 2, 1, 2, 2, 1, 1)
    rows: dict[Oid, Varbind] = {
        (3, 22): Varbind((1,), Kind.OID, (*if_index, 17)),
        (4, 0): Varbind((1,), Kind.OID, (*if_index, 18)),
        (4, 9): Varbind((1,), Kind.OID, (*if_index, 19)),  # two interfaces: which one is not said
        (5, 0): Varbind((1,), Kind.OID, (1, 3, 6, 1, 2, 1, 31, 1, 1, 1, 1, 20)),  # a row of another table
        (6, 0): Varbind((1,), Kind.OCTETS, b"ifIndex.21"),
        (7, 0): Varbind((1,), Kind.NO_SUCH_INSTANCE, None),
    }
    assert interfaces_of(rows) == {3: 17}


numbers = st.integers(0, 2**32 - 1)
small = st.integers(0, 60)
words = st.one_of(
    st.text(max_size=12),
    st.builds(lambda head, member, port: f"{head}{member}/0/{port}", st.sampled_from(["e", "x-"]), small, small),
    st.builds(lambda port: f"port {port}", small),
)


@given(
    st.lists(st.tuples(small, small), max_size=30),
    st.dictionaries(st.one_of(small, numbers), words, max_size=40),
    st.dictionaries(st.one_of(small, numbers), st.sampled_from([6, 1, 53, 161]), max_size=40),
)
def test_two_interfaces_never_share_a_port(
    power: list[tuple[int, int]], names: dict[int, str], types: dict[int, int]
) -> None:
    """For any tables: no exception, no port twice, and with a power table only ports that are in it."""
    identity = PortIdentity(BARE, power, types, names)
    told = [port for number in {*names, *types} if (port := identity.printed("if-index", (number,)))]
    assert len(told) == len(set(told))
    powered = [identity.printed("group-port", pair) for pair in set(power)]
    if power:
        assert set(told) <= set(powered)


@given(st.lists(st.tuples(st.integers(1, 9), st.integers(1, 64)), min_size=1, max_size=40, unique=True))
def test_two_rows_of_the_power_table_never_share_a_port(power: list[tuple[int, int]]) -> None:
    identity = PortIdentity(BARE, power, {}, {})
    printed = [identity.printed("group-port", pair) for pair in power]
    assert None not in printed
    assert len(set(printed)) == len(printed)


@given(st.sampled_from(KINDS), st.lists(numbers, max_size=6).map(tuple))
def test_any_index_gives_a_port_or_none(kind: IndexKind, index: tuple[int, ...]) -> None:
    identity = PortIdentity(BARE, [(1, 1), (1, 2)], {1: 6, 2: 6}, {1: "e1", 2: "e2"})
    printed = identity.printed(kind, index)
    assert printed is None or printed
    if kind in ("group", "scalar"):
        assert printed is None


@pytest.mark.parametrize("name", ["", "9" * 400, "e" + "1" * 30, "٣", "e²", "\x00"])
def test_odd_names_are_no_ports(name: str) -> None:
    assert interfaces({1: name}, [(1, 1)], types={}) == {1: None}
