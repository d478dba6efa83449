"""Walks over a site in memory: who is asked, at which address, and where a walk ends."""

from __future__ import annotations

import asyncio
import ipaddress
from collections.abc import Mapping, Sequence

from tests.reading.map_engine import MapEngine

from portdraw.reading.catalogue import standard_catalogue
from portdraw.reading.discovery import Bounds, Discovered, Discovery
from portdraw.reading.engine import Answer, Failure, ReadError, Target
from portdraw.reading.varbind import Kind, Oid, Varbind

SYS_NAME = (1, 3, 6, 1, 2, 1, 1, 5, 0)  # RFC 3418
UPTIME = (1, 3, 6, 1, 2, 1, 1, 3, 0)
DETECTION = (1, 3, 6, 1, 2, 1, 105, 1, 1, 1, 6, 1)  # RFC 3621, group 1
IF_TYPE = (1, 3, 6, 1, 2, 1, 2, 2, 1, 3)  # RFC 2863
CHASSIS = (1, 0, 8802, 1, 1, 2, 1, 3, 2, 0)  # IEEE Std 802.1AB-2005
REMOTE = (1, 0, 8802, 1, 1, 2, 1, 4, 1, 1)
REACH = (1, 0, 8802, 1, 1, 2, 1, 4, 2, 1, 3)
BRIDGE = b"\x20"


class Network:
    """Agents by host; who is not there is silent. Notes who was asked."""

    def __init__(self, agents: Mapping[str, dict[Oid, Varbind]]) -> None:
        self.agents = {host: MapEngine(rows) for host, rows in agents.items()}
        self.asked: list[str] = []

    def _at(self, target: Target) -> MapEngine:
        if str(target) not in self.asked:
            self.asked.append(str(target))
        if target.host not in self.agents:
            raise ReadError(Failure.SILENT, f"{target} gave no answer")
        return self.agents[target.host]

    async def get(self, target: Target, oids: Sequence[Oid], timeout_s: float) -> Answer:
        return await self._at(target).get(target, oids, timeout_s)

    async def get_bulk(
        self, target: Target, oids: Sequence[Oid], repetitions: int, timeout_s: float, non_repeaters: int = 0
    ) -> Answer:
        return await self._at(target).get_bulk(target, oids, repetitions, timeout_s, non_repeaters)

    async def close(self) -> None:
        return


def agent(
    name: str, *neighbours: tuple[str, str], caps: bytes = BRIDGE, chassis: bytes | None = None
) -> dict[Oid, Varbind]:
    """Return an agent's rows; `neighbours` are name and address, on ports 1, 2, ..., all of which deliver."""
    rows: dict[Oid, Varbind] = {}

    def put(oid: Oid, value: bytes | int) -> None:
        rows[oid] = Varbind(oid, Kind.INTEGER if isinstance(value, int) else Kind.OCTETS, value)

    put(SYS_NAME, name.encode())
    put(CHASSIS, chassis if chassis is not None else name.encode())
    rows[UPTIME] = Varbind(UPTIME, Kind.TIMETICKS, 100)
    for port in range(1, 5):
        put((*DETECTION, port), 3 if port <= len(neighbours) else 2)
        put((*IF_TYPE, port), 6)
    for port, (other, address) in enumerate(neighbours, start=1):
        index = (0, port, 1)
        put((*REMOTE, 9, *index), other.encode())
        put((*REMOTE, 5, *index), other.encode())
        put((*REMOTE, 12, *index), caps)
        if address:
            put((*REACH, *index, 1, 4, *ipaddress.IPv4Address(address).packed), 2)
    return rows


def walked(network: Network, bounds: Bounds | None = None, start: str = "10.0.0.1", **book: str) -> Discovered:
    async def work() -> Discovered:
        walk = Discovery(
            network, standard_catalogue(), "a", lambda: 0.0, bounds or Bounds(deadline_s=2.0), address_of=book
        )
        return await walk.walk(start)

    return asyncio.run(work())


RING = {
    "10.0.0.1": agent("core", ("pier", "10.0.0.2"), ("quay", "10.0.0.3")),
    "10.0.0.2": agent("pier", ("core", "10.0.0.1"), ("quay", "10.0.0.3")),
    "10.0.0.3": agent("quay", ("pier", "10.0.0.2"), ("hut", "10.0.0.4")),
    "10.0.0.4": agent("hut", ("quay", "10.0.0.3")),
}


def test_a_ring_is_walked_once_nearest_first() -> None:
    network = Network(RING)
    found = walked(network)
    assert [(unit.name, unit.hops, unit.via) for unit in found.units] == [
        ("core", 0, None),
        ("pier", 1, "10.0.0.1"),
        ("quay", 1, "10.0.0.1"),
        ("hut", 2, "10.0.0.3"),
    ]
    assert sorted(network.asked) == [f"10.0.0.{n}:161" for n in range(1, 5)]
    assert found.missed == ()
    assert found.of["10.0.0.1", 0] == "10.0.0.2"
    assert found.of["10.0.0.4", 0] == "10.0.0.3"


def test_it_goes_as_many_hops_and_asks_as_many_addresses_as_allowed() -> None:
    found = walked(Network(RING), Bounds(hops=1, deadline_s=2.0))
    assert {unit.name for unit in found.units} == {"core", "pier", "quay"}
    assert [(one.name, one.reason) for one in found.missed] == [("hut", "further than 1 hops")]
    network = Network(RING)
    found = walked(network, Bounds(limit=2, deadline_s=2.0))
    assert len(network.asked) == 2
    assert {one.name for one in found.missed} == {"quay"}
    assert {one.reason for one in found.missed} == {"2 addresses are the limit"}


def test_addresses_outside_the_networks_named_are_not_asked() -> None:
    """Whoever hangs on a port can claim any address; asking it carries a community or a user's name there."""
    agents = {"10.0.0.1": agent("core", ("trap", "192.0.2.1"), ("pier", "10.0.1.2")), "10.0.1.2": agent("pier")}
    network = Network(agents)
    found = walked(network)
    assert network.asked == ["10.0.0.1:161"]
    assert [one.reason for one in found.missed] == ["not asked: outside 10.0.0.0/24"] * 2
    network = Network(agents)
    found = walked(network, Bounds(within=(ipaddress.ip_network("10.0.0.0/23"),), deadline_s=2.0))
    assert network.asked == ["10.0.0.1:161", "10.0.1.2:161"]
    assert [one.name for one in found.missed] == ["trap"]


def test_one_that_is_silent_is_told_and_costs_the_others_nothing() -> None:
    found = walked(
        Network({"10.0.0.1": agent("core", ("gone", "10.0.0.9"), ("pier", "10.0.0.2")), "10.0.0.2": agent("pier")})
    )
    assert [unit.name for unit in found.units] == ["core", "pier"]
    (missed,) = found.missed
    assert (missed.name, missed.heard_by, missed.port, missed.address) == ("gone", "10.0.0.1", "1", "10.0.0.9")
    assert "no answer" in missed.reason


def test_phones_and_stations_are_not_asked() -> None:
    for caps in (b"\x24", b"\x01", b"\x30"):
        network = Network({"10.0.0.1": agent("core", ("desk", "10.0.0.9"), caps=caps)})
        assert walked(network).missed == ()
        assert network.asked == ["10.0.0.1:161"]


def test_one_box_at_two_addresses_is_one_unit() -> None:
    pier = agent("pier", chassis=b"box")
    found = walked(
        Network(
            {
                "10.0.0.1": agent("core", ("pier", "10.0.0.2"), ("pier", "10.0.0.3")),
                "10.0.0.2": pier,
                "10.0.0.3": pier,
            }
        )
    )
    assert [unit.address for unit in found.units] == ["10.0.0.1", "10.0.0.2"]
    assert set(found.of.values()) == {"10.0.0.2"}


def test_an_address_where_somebody_else_answers_is_not_taken_for_the_neighbour() -> None:
    """As in the emulation, where all units are at 127.0.0.1 and LLDP can tell no port."""
    network = Network({"127.0.0.1": agent("core", ("pier", "127.0.0.1"))})
    found = walked(network, start="127.0.0.1:1161")
    assert [unit.name for unit in found.units] == ["core"]
    assert [one.reason for one in found.missed] == ["another unit answers there: core"]


def test_the_start_s_port_is_everybody_s_and_an_address_can_be_given_by_name() -> None:
    agents = {
        "10.0.0.1": agent("core", ("pier", "10.0.0.2"), ("quay", "")),
        "10.0.0.2": agent("pier"),
        "198.51.100.7": agent("quay"),
    }
    network = Network(agents)
    found = walked(network, start="10.0.0.1:1161", quay="198.51.100.7:2161")
    assert network.asked == ["10.0.0.1:1161", "10.0.0.2:1161", "198.51.100.7:2161"]
    assert [unit.address for unit in found.units] == network.asked
    (missed,) = walked(Network(agents)).missed
    assert (missed.name, missed.reason) == ("quay", "no management address told")


def test_a_start_that_is_silent_brings_nothing() -> None:
    assert walked(Network({})).units == ()
