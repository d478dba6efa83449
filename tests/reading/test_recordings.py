"""Recorded agents, served by net-snmp's agent and read as a unit: port counts, numbers, units, refusals."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.reading.map_engine import MapEngine
from tests.reading.polling import opened, poll, reader, run
from tests.reading.real_agent import COMMUNITY, SERVED, real_agent
from tests.reading.recording import recorded_rows
from tests.reading.tool_output import bulk_walk
from tests.requirements import need_recordings

from portdraw.observation.record import Basis, PortState, Quantity
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.reading.access import Community
from portdraw.reading.varbind import parse_oid


def read(name: str, ports: dict[str, dict[str, str]] | None = None) -> list[UnitObservation]:
    """Return a first, a slow and a fast poll of a recorded agent."""

    async def work() -> list[UnitObservation]:
        async with opened({"a": Community(COMMUNITY)}) as engine:
            one = reader(agent.address, engine, ports=ports)
            return [await poll(one, 10), await poll(one, 10), await poll(one, 10, slow=False)]

    path: Path = need_recordings() / f"{name}.snmprec"
    with real_agent(path) as agent:
        polls = run(work)
    for observation in polls:
        assert observation.outcome is Outcome.ANSWERED, observation.reason
        for record in observation.records:
            assert (record.value is None) == (record.missing is not None)
            assert record.basis is None or record.unit == "W"
    assert polls[0].ports() == polls[1].ports() == polls[2].ports()
    assert polls[2].requests <= polls[1].requests
    return polls


def watts(observation: UnitObservation) -> dict[str, float | None]:
    return {port: observation.number(port, Quantity.PORT_DRAW) for port in observation.ports()}


def test_eight_ports_measured() -> None:
    """One group; the port index is the ifIndex; milliwatts in a private column; the total cut to whole watts."""
    for observation in read("eight-port-measured"):
        assert observation.ports() == tuple(str(number) for number in range(1001, 1009))
        drawn = watts(observation)
        delivering = {"1003": 3.6, "1004": 3.7, "1008": 4.1}
        assert drawn == {port: delivering.get(port, 0.0) for port in observation.ports()}
        for port in observation.ports():
            record = observation.index[port, Quantity.PORT_DRAW]
            assert (record.unit, record.basis) == ("W", Basis.MEASURED)
            assert record.source == "EXTREME-POE-MIB extremePethPortMeasuredPower"
            expected = PortState.DELIVERING if port in delivering else PortState.SEARCHING
            assert observation.text(port, Quantity.PORT_STATE) == expected
            assert observation.text(port, Quantity.PORT_LINK) is not None
        total = observation.number(None, Quantity.UNIT_DRAW)
        assert total == 11  # whole watts, cut off; the slot object of the private table is not read
        assert int(sum(delivering.values())) == total
        assert observation.number(None, Quantity.UNIT_BUDGET) == 170
        assert {port: observation.number(port, Quantity.PORT_CLASS) for port in delivering} == {
            "1003": 2,
            "1004": 2,
            "1008": 3,
        }
        idle = observation.index["1001", Quantity.PORT_CLASS]
        assert (idle.value, idle.missing) == (None, "a class is only valid while the port delivers")


def test_eight_ports_under_their_printed_numbers() -> None:
    """The site file says which index is which printed port; nothing keeps the raw index then."""
    ports = {str(number): {"snmp": f"1.{1000 + number}"} for number in range(1, 9)}
    for observation in read("eight-port-measured", ports):
        assert observation.ports() == tuple(map(str, range(1, 9)))
        assert [observation.number(port, Quantity.PORT_DRAW) for port in ("3", "4", "8")] == [3.6, 3.7, 4.1]
        assert observation.text("3", Quantity.PORT_LINK) == "up"


def test_zero_based_names() -> None:
    """Ports 1 to 8 are the interfaces named x/0/0 to x/0/7, ifIndex 116 and up; nothing tells watts of a port."""
    rows = recorded_rows(need_recordings() / "zero-based-names-idle.snmprec")
    link_of_first = rows[1, 3, 6, 1, 2, 1, 2, 2, 1, 8, 116].value
    for observation in read("zero-based-names-idle"):
        assert observation.ports() == tuple(map(str, range(1, 9)))
        assert set(watts(observation).values()) == {None}
        missing = {observation.index[port, Quantity.PORT_DRAW].missing for port in observation.ports()}
        assert missing == {"this unit does not tell the port draw"}
        assert observation.number(None, Quantity.UNIT_BUDGET) == 130
        assert observation.text("1", Quantity.PORT_LINK) == {1: "up", 2: "down"}[int(str(link_of_first))]


def test_two_groups_of_forty_eight() -> None:
    """Stack members 1 and 2; the names of interfaces hold the member; nothing delivers."""
    rows = recorded_rows(need_recordings() / "stack-2x48-idle.snmprec")
    for observation in read("stack-2x48-idle"):
        expected = [f"{member}/{port}" for member in (1, 2) for port in range(1, 49)]
        assert list(observation.ports()) == expected
        assert set(watts(observation).values()) == {0.0}
        assert observation.number(None, Quantity.UNIT_BUDGET) == 740  # 370 W each
        assert observation.number(None, Quantity.UNIT_DRAW) == 0
        for port, interface in (("1/48", 10148), ("2/1", 10601), ("2/48", 10648)):
            state = rows[1, 3, 6, 1, 2, 1, 2, 2, 1, 8, interface].value
            assert observation.text(port, Quantity.PORT_LINK) == {1: "up", 2: "down"}[int(str(state))]


def test_private_table_only() -> None:
    """No POWER-ETHERNET-MIB; nine devices in a table by ifIndex, whose uplink rows 65 to 68 can not deliver."""
    measured = {2: 11.268, 5: 6.009, 6: 3.943, 8: 2.91, 15: 8.169, 19: 7.136, 20: 10.704, 21: 7.606, 22: 7.23}
    for observation in read("private-table-only-measured"):
        assert observation.ports() == tuple(map(str, range(1, 25)))
        assert watts(observation) == {str(port): measured.get(port, 0.0) for port in range(1, 25)}
        states = {observation.index[port, Quantity.PORT_STATE].missing for port in observation.ports()}
        assert states == {"this unit does not tell the port state"}
        assert observation.get(None, Quantity.UNIT_DRAW) is None


def test_optical_watts_are_no_port_watts() -> None:
    """Eighteen sensors of type watts (RFC 3433, type 6) sit in transceivers."""
    rows = recorded_rows(need_recordings() / "optical-watts-no-poe.snmprec")
    sensors = [oid for oid, row in rows.items() if oid[:11] == (1, 3, 6, 1, 2, 1, 99, 1, 1, 1, 1) and row.value == 6]
    assert len(sensors) == 18
    for observation in read("optical-watts-no-poe"):
        assert observation.ports() == ()
        assert not any(record.unit == "W" for record in observation.records)


@pytest.mark.parametrize("name", ["eight-port-measured", "stack-2x48-idle"])
def test_a_fast_poll_asks_for_little(name: str) -> None:
    """At most what two values a port, three of a group and one scalar take, at 64 bindings an answer and a spare."""
    polls = read(name)
    ports = len(polls[0].ports())
    assert polls[2].requests <= 3 + 4 * ports / 64


RECORDINGS = (
    *("eight-port-measured", "optical-watts-no-poe", "private-table-only-measured", "stack-2x48-idle"),
    "zero-based-names-idle",
)
# the agent that serves a recording says these itself, and they pass
ITS_OWN = {Quantity.UPTIME, Quantity.SYSTEM_NAME}


@pytest.mark.parametrize("name", RECORDINGS)
def test_the_tool_s_output_through_the_same_decoder_gives_the_same_records(name: str) -> None:
    """Read through our engine, and from what net-snmp's snmpbulkwalk printed of the same agent."""
    access = Community(COMMUNITY)

    async def ours() -> list[UnitObservation]:
        async with opened({"a": access}) as engine:
            one = reader(agent.address, engine)
            return [await poll(one, 20), await poll(one, 20, slow=False)]

    async def theirs() -> list[UnitObservation]:
        one = reader("192.0.2.1", MapEngine({varbind.oid: varbind for varbind in walked}))
        return [await poll(one, 20), await poll(one, 20, slow=False)]

    with real_agent(need_recordings() / f"{name}.snmprec") as agent:
        seen = run(ours)
        roots = ["1.3.6.1.2.1.1", *(root for root in SERVED if not root.startswith("1.3.6.1.2.1.1."))]
        walked = [varbind for root in roots for varbind in bulk_walk(agent, access, parse_oid(root))]
    for mine, other in zip(seen, run(theirs), strict=True):
        assert (mine.outcome, other.outcome) == (Outcome.ANSWERED, Outcome.ANSWERED), (mine.reason, other.reason)
        records, expected = (
            [
                (r.port, r.supply, r.quantity, r.value, r.unit, r.basis, r.source, r.missing)
                for r in observation.records
                if r.quantity not in ITS_OWN
            ]
            for observation in (mine, other)
        )
        assert records == expected
        assert len(records) >= 2
