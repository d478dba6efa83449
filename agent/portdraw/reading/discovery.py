"""Walks from one unit to the next along LLDP, nearest first, and reads each as `probe` does. Bounded in every way.

Whoever hangs on a port can say that it is a switch with any address: addresses are asked only inside the networks
that were named, as asking carries a community in clear, or a user's name. A unit is told from another by its chassis.
"""

from __future__ import annotations

import asyncio
import ipaddress
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from portdraw.observation.record import Quantity
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.site import Unit
from portdraw.reading.addresses import Addresses
from portdraw.reading.catalogue import Catalogue
from portdraw.reading.columns import Reader
from portdraw.reading.engine import Engine, ReadError, Target, parse_address
from portdraw.reading.neighbours import Neighbour, neighbour_objects, neighbours_of
from portdraw.reading.port_identity import PortIdentity
from portdraw.reading.unit_reader import UnitReader
from portdraw.reading.varbind import Oid, Varbind

Network = ipaddress.IPv4Network | ipaddress.IPv6Network
IN_FLIGHT = 8
READ = (Outcome.ANSWERED, Outcome.PARTIAL)
ALIAS, LOCATION, OWN_CHASSIS = "interface alias", "system location", "own chassis"
START_NETWORK_BITS = {4: 24, 6: 64}  # what is asked where no network is named: that of the start address


@dataclass(frozen=True)
class FoundUnit:
    """A unit that answered: what it told, what people called its ports, whom it hears, and how it was reached.

    `via` is the address of the unit that told of it, None for the start.
    """

    address: str
    name: str
    location: str
    chassis: bytes
    observation: UnitObservation
    labels: Mapping[str, str]
    neighbours: tuple[Neighbour, ...]
    hops: int
    via: str | None
    reason: str = ""


@dataclass(frozen=True)
class Missed:
    """A neighbour that looks like a unit and was not read, and why."""

    name: str
    heard_by: str
    port: str | None
    address: str
    reason: str


@dataclass(frozen=True)
class Discovered:
    """All that a walk brought. `of` tells which unit a neighbour is: (address of who hears it, its place there)."""

    units: tuple[FoundUnit, ...]
    missed: tuple[Missed, ...]
    of: Mapping[tuple[str, int], str]


@dataclass(frozen=True)
class Bounds:
    """How far to go: hops from the start, addresses in all, seconds for each, and in which networks."""

    hops: int = 8
    limit: int = 200
    deadline_s: float = 15.0
    within: tuple[Network, ...] = ()


@dataclass
class _Walk:
    units: dict[str, FoundUnit] = field(default_factory=dict)
    failed: dict[str, str] = field(default_factory=dict)
    of: dict[tuple[str, int], str] = field(default_factory=dict)
    missed: list[Missed] = field(default_factory=list)


class Discovery:
    """Reads a start address and what hangs together with it.

    `address_of` gives addresses by the name that LLDP tells; other neighbours are asked at the start's SNMP port.
    """

    def __init__(
        self,
        engine: Engine,
        catalogue: Catalogue,
        access: str,
        now_s: Callable[[], float],
        bounds: Bounds,
        address_of: Mapping[str, str] | None = None,
        on_read: Callable[[str, str], None] = lambda address, said: None,
    ) -> None:
        self._engine = engine
        self._catalogue = catalogue
        self._access = access
        self._now_s = now_s
        self._bounds = bounds
        self._address_of = dict(address_of or {})
        self._on_read = on_read
        self._objects = neighbour_objects(catalogue)
        self._within = bounds.within
        self._gate = asyncio.Semaphore(IN_FLIGHT)

    async def walk(self, start: str) -> Discovered:
        """Return what was found from a start address on. Where that can't be read nothing is, and why is told."""
        walk = _Walk()
        target = parse_address(start, self._access)
        self._within = self._within or await self._network_of(target)
        wanted: dict[str, str | None] = {start: None}
        for hops in range(self._bounds.hops + 1):
            room = self._bounds.limit - len(walk.units) - len(walk.failed)
            asked = dict(list(wanted.items())[: max(0, room)])
            left_out = [address for address in wanted if address not in asked]
            walk.failed |= dict.fromkeys(left_out, f"{self._bounds.limit} addresses are the limit")
            found = await asyncio.gather(*(self._read(address, hops, via) for address, via in asked.items()))
            wanted = {}
            for unit in self._new_units(walk, found):
                for address in self._addresses_from(unit, target.port, walk):
                    if address not in walk.units and address not in walk.failed:
                        wanted.setdefault(address, unit.address)
            if not wanted:
                break
        walk.failed |= dict.fromkeys(wanted, f"further than {self._bounds.hops} hops")
        self._tell_who_is_who(walk, target.port)
        return Discovered(tuple(walk.units.values()), tuple(walk.missed), walk.of)

    async def _network_of(self, target: Target) -> tuple[Network, ...]:
        try:
            host = (await Addresses().find(target.host, target.port, self._bounds.deadline_s)).host
        except ReadError:
            return ()
        numeric = ipaddress.ip_address(host.partition("%")[0])
        return (ipaddress.ip_network((numeric, START_NETWORK_BITS[numeric.version]), strict=False),)

    def _new_units(self, walk: _Walk, found: list[FoundUnit]) -> list[FoundUnit]:
        """Enter what was read; a box that answers at two addresses is one unit."""
        new: list[FoundUnit] = []
        for unit in found:
            if unit.observation.outcome not in READ:
                walk.failed[unit.address] = unit.reason
                continue
            twin = next((one for one in walk.units.values() if unit.chassis and unit.chassis == one.chassis), None)
            if twin is not None:
                walk.failed[unit.address] = f"the same unit as at {twin.address}"
                continue
            walk.units[unit.address] = unit
            new.append(unit)
        return new

    def _addresses_from(self, unit: FoundUnit, port: int, walk: _Walk) -> list[str]:
        return [
            address
            for neighbour in unit.neighbours
            if neighbour.may_be_unit
            for address in self._candidates(neighbour, port)[:1]
        ]

    def _candidates(self, neighbour: Neighbour, port: int) -> list[str]:
        """Return where a neighbour may be asked, best first."""
        given = self._address_of.get(neighbour.name)
        if given is not None:
            return [given]
        allowed = [one for one in neighbour.addresses if self._may_ask(one)]
        return [str(Target(one, port, "")) if port != 161 else one for one in allowed]

    def _may_ask(self, address: str) -> bool:
        numeric = ipaddress.ip_address(address)
        return any(numeric.version == network.version and numeric in network for network in self._within)

    def _tell_who_is_who(self, walk: _Walk, port: int) -> None:
        """Put neighbours to the units that were read: by chassis, else by a name that one unit alone has."""
        by_chassis = {unit.chassis: unit for unit in walk.units.values() if unit.chassis}
        by_name: dict[str, list[FoundUnit]] = {}
        for unit in walk.units.values():
            by_name.setdefault(unit.name, []).append(unit)
        for unit in walk.units.values():
            for place, neighbour in enumerate(unit.neighbours):
                named = by_name.get(neighbour.name, []) if neighbour.name else []
                match = by_chassis.get(neighbour.chassis) or (named[0] if len(named) == 1 else None)
                if match is not None and match is not unit:
                    walk.of[unit.address, place] = match.address
                elif match is None and neighbour.may_be_unit and (neighbour.addresses or neighbour.capabilities):
                    walk.missed.append(self._why_missed(walk, unit, neighbour, port))

    def _why_missed(self, walk: _Walk, unit: FoundUnit, neighbour: Neighbour, port: int) -> Missed:
        candidates = self._candidates(neighbour, port)
        if not candidates:
            address = ", ".join(neighbour.addresses)
            reason = (
                f"not asked: outside {', '.join(map(str, self._within))}" if address else "no management address told"
            )
        else:
            address = candidates[0]
            other = walk.units.get(address)
            reason = walk.failed.get(address, "not asked")
            if other is not None:
                reason = f"another unit answers there: {other.name or other.address}"
        return Missed(neighbour.name, unit.address, neighbour.port, address, reason)

    # one unit

    async def _read(self, address: str, hops: int, via: str | None) -> FoundUnit:
        async with self._gate:
            unit = await self._read_now(address, hops, via)
        self._on_read(address, unit.name if unit.observation.outcome in READ else unit.reason)
        return unit

    async def _read_now(self, address: str, hops: int, via: str | None) -> FoundUnit:
        deadline = asyncio.get_running_loop().time() + self._bounds.deadline_s
        reader = UnitReader(
            address, Unit(address=address, access=self._access), self._engine, self._catalogue, self._now_s
        )
        observation = await reader.poll(self._bounds.deadline_s, slow=True)
        name = observation.text(None, Quantity.SYSTEM_NAME) or ""
        if observation.outcome not in READ:
            return FoundUnit(address, name, "", b"", observation, {}, (), hops, via, observation.reason)
        asked = Reader(self._engine, parse_address(address, self._access), deadline)
        (alias_name, alias) = self._catalogue.roles(ALIAS)[0]
        wanted = {alias_name: alias, **self._objects}
        scalars = {role: (*self._catalogue.roles(role)[0][1].arcs, 0) for role in (LOCATION, OWN_CHASSIS)}
        try:
            told = await asked.scalars(list(scalars.values()))
            columns = await asked.columns([entry.arcs for entry in wanted.values()])
        except ReadError as error:
            return FoundUnit(address, name, "", b"", observation, {}, (), hops, via, str(error))
        by_name = {name: columns[entry.arcs] for name, entry in wanted.items()}
        cut = next((column.why_cut for column in by_name.values() if column.why_cut), "") or ""
        location, chassis = told.get(scalars[LOCATION]), told.get(scalars[OWN_CHASSIS])
        return FoundUnit(
            address,
            name,
            "" if location is None else location.as_text(),
            chassis.value if chassis is not None and isinstance(chassis.value, bytes) else b"",
            observation,
            _labels(by_name[alias_name].rows.items(), reader.identity),
            tuple(neighbours_of(self._objects, by_name, reader.identity)),
            hops,
            via,
            cut or observation.reason,
        )


def _labels(rows: Iterable[tuple[Oid, Varbind]], identity: PortIdentity | None) -> dict[str, str]:
    """Return what people called the ports, by printed number."""
    found: dict[str, str] = {}
    for index, varbind in rows:
        port = None if identity is None else identity.printed("if-index", index)
        if port is not None and (text := varbind.as_text()):
            found.setdefault(port, text)
    return found
