"""A state of the site: what is out, on top of which everything else is worked out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from portdraw.powerflow.network import Network

FeedId = tuple[int, int]  # (unit, place among its feeds)
Ports = Mapping[int, frozenset[int]]  # by unit
_NO_PORTS: Ports = MappingProxyType({})
_NO_GRANTS: Mapping[FeedId, float] = MappingProxyType({})


def _no_ports() -> Ports:
    return _NO_PORTS


def _no_grants() -> Mapping[FeedId, float]:
    return _NO_GRANTS


@dataclass(frozen=True, slots=True)
class Outage:
    """What is out. `sources` are circuits without power and UPS without output; units are numbers of the network.

    `supplies` are (unit, place) of modules, `feeds` (unit, place) of feeds; `controllers` are units whose ports are
    all off while they themselves run. `off_ports` are ports that are off today or were shed and stay off.
    `unsure_feeds` may or may not be there, `unsure_ports` may have been shed. `granted_pd_w` [W at the PD input] is
    an allocation in force, by feed. `inputs` are circuits, and inputs of UPS, without power: UPS carry on.
    `newly_on` are ports that ask for power only now, by unit: they come after all that were on before.
    """

    sources: frozenset[str] = frozenset()
    supplies: frozenset[tuple[int, int]] = frozenset()
    feeds: frozenset[FeedId] = frozenset()
    units: frozenset[int] = frozenset()
    controllers: frozenset[int] = frozenset()
    off_ports: Ports = field(default_factory=_no_ports)
    unsure_feeds: frozenset[FeedId] = frozenset()
    unsure_ports: Ports = field(default_factory=_no_ports)
    granted_pd_w: Mapping[FeedId, float] = field(default_factory=_no_grants)
    inputs: frozenset[str] = frozenset()
    newly_on: Ports = field(default_factory=_no_ports)

    def plus(self, more: Outage) -> Outage:
        """Both together. `inputs` are the circuits without power, which UPS carry on without."""
        if self is NOTHING_OUT:
            return more
        return Outage(
            sources=self.sources | more.sources,
            supplies=self.supplies | more.supplies,
            feeds=self.feeds | more.feeds,
            units=self.units | more.units,
            controllers=self.controllers | more.controllers,
            off_ports=_both(self.off_ports, more.off_ports),
            unsure_feeds=self.unsure_feeds | more.unsure_feeds,
            unsure_ports=_both(self.unsure_ports, more.unsure_ports),
            granted_pd_w={**self.granted_pd_w, **more.granted_pd_w} if more.granted_pd_w else self.granted_pd_w,
            inputs=self.inputs | more.inputs,
            newly_on={**self.newly_on, **more.newly_on} if more.newly_on else self.newly_on,
        )


def _both(one: Ports, other: Ports) -> Ports:
    if not other:
        return one
    found = dict(one)
    for at, ports in other.items():
        found[at] = found.get(at, frozenset()) | ports
    return found


NOTHING_OUT = Outage()


def today(
    network: Network,
    *,
    circuits: frozenset[str] = frozenset(),
    flat_ups: frozenset[str] = frozenset(),
    units: frozenset[str] = frozenset(),
    feeds: frozenset[tuple[str, str]] = frozenset(),
    unsure_feeds: frozenset[tuple[str, str]] = frozenset(),
    off_ports: frozenset[tuple[str, str]] = frozenset(),
    supplies: frozenset[tuple[str, int]] = frozenset(),
) -> Outage:
    """The state as names say it: feeds and ports as (feeder unit, printed port), supplies as (unit, place from 0).

    Names that the network does not have are left out: they can't be lost.
    """
    off: dict[int, set[int]] = {}
    for unit, key in off_ports:
        for port in network.units[network.index[unit]].ports if unit in network.index else ():
            if port.key == key:
                off.setdefault(network.index[unit], set()).add(port.at)
    return Outage(
        sources=circuits | flat_ups,
        inputs=circuits,
        supplies=frozenset((network.index[unit], at) for unit, at in supplies if unit in network.index),
        feeds=_feed_ids(network, feeds),
        unsure_feeds=_feed_ids(network, unsure_feeds),
        units=frozenset(network.index[unit] for unit in units if unit in network.index),
        off_ports={at: frozenset(ports) for at, ports in off.items()},
    )


def _feed_ids(network: Network, feeds: frozenset[tuple[str, str]]) -> frozenset[FeedId]:
    return frozenset(
        (unit.index, place)
        for unit in network.units
        for place, feed in enumerate(unit.feeds)
        if (network.units[feed.feeder].name, network.units[feed.feeder].ports[feed.at].key) in feeds
    )
