"""One thing going away: every single failure that a site can have, all unbacked AC together, and pairs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum

from portdraw.powerflow.network import Network
from portdraw.powerflow.sources import dead_circuits, generator_start_s, unbacked_circuits
from portdraw.powerflow.state import NOTHING_OUT, Outage


class FailureKind(StrEnum):
    """What can fail."""

    CIRCUIT = "AC circuit"
    PANEL = "panel"
    INCOMER = "incomer"
    UPS_INPUT = "UPS input"
    UPS_FLAT = "UPS run flat"
    SUPPLY_MODULE = "supply module"
    FEED_CABLE = "feed cable"
    FEEDER_PORT = "feeder port"
    CONTROLLER_RESTART = "PoE controller restart"
    UNIT = "unit"
    ALL_UNBACKED_AC = "all unbacked AC"
    PAIR = "pair"


SINGLE_PROMISE = frozenset(
    {
        FailureKind.CIRCUIT,
        FailureKind.PANEL,
        FailureKind.UPS_INPUT,
        FailureKind.SUPPLY_MODULE,
        FailureKind.FEED_CABLE,
        FailureKind.FEEDER_PORT,
    }
)
"""Failures that `must_survive.any_single` covers; what a unit takes with it is listed, not judged."""


@dataclass(frozen=True, slots=True)
class Failure:
    """One failure. `what` names it for people, `subject` is the thing in the site file.

    `outage` is what goes out, `hit` the units that it strikes (numbers of the network). Where generators take over,
    `outage` is the time until they carry and `after` what stays out then, after `start_s` seconds.
    `data_cut` are units whose data runs over the lost cable.
    """

    kind: FailureKind
    what: str
    subject: str
    outage: Outage
    hit: frozenset[int]
    after: Outage | None = None
    start_s: float = 0.0
    data_cut: tuple[int, ...] = ()
    parts: tuple[str, ...] = field(default=())


def single_failures(network: Network, outage: Outage = NOTHING_OUT) -> tuple[Failure, ...]:
    """Every single failure of what is not out already, in the file's order within each kind."""
    return tuple(failure for failure in _singles(network) if not _gone_already(network, failure, outage))


def all_unbacked_ac(network: Network, outage: Outage = NOTHING_OUT) -> Failure | None:
    """All AC without a generator above it at once, None where none of it is live."""
    circuits = tuple(name for name in unbacked_circuits(network.site) if name not in outage.inputs)
    if not circuits:
        return None
    lost = frozenset(circuits)
    what = "all local AC without a generator"
    return Failure(FailureKind.ALL_UNBACKED_AC, what, what, *_circuits_out(network, lost), parts=circuits)


def circuit_pairs(network: Network, outage: Outage = NOTHING_OUT) -> Iterator[Failure]:
    """Every two circuits that are live, in the file's order."""
    circuits = [name for name in network.site.circuits if name not in outage.inputs]
    for place, first in enumerate(circuits):
        for second in circuits[place + 1 :]:
            lost = frozenset((first, second))
            what = f"circuits {first} and {second}"
            yield Failure(FailureKind.PAIR, what, what, *_circuits_out(network, lost), parts=(first, second))


def _circuits_out(network: Network, circuits: frozenset[str]) -> tuple[Outage, frozenset[int]]:
    hit = frozenset(at for name in circuits for at in network.on_source.get(name, ()))
    return Outage(sources=circuits, inputs=circuits), hit


def ups_input(name: str) -> str:
    """How the input of a UPS is named among the inputs that are out."""
    return f"{name}/input"


def _gone_already(network: Network, failure: Failure, outage: Outage) -> bool:
    lost = failure.outage
    if failure.kind is FailureKind.UPS_INPUT and network.site.ups[failure.subject].input in outage.inputs:
        return True
    if failure.kind is FailureKind.CONTROLLER_RESTART:
        return lost.controllers <= outage.units
    if failure.kind in (FailureKind.FEED_CABLE, FailureKind.FEEDER_PORT):
        return lost.feeds <= outage.feeds
    if failure.kind is FailureKind.UNIT:
        return lost.units <= outage.units
    if failure.kind is FailureKind.SUPPLY_MODULE:
        return lost.supplies <= outage.supplies
    if failure.kind is FailureKind.UPS_FLAT:
        return lost.sources <= outage.sources
    return lost.inputs <= outage.inputs


def _singles(network: Network) -> Iterator[Failure]:
    site = network.site
    for name in site.circuits:
        outage, hit = _circuits_out(network, frozenset({name}))
        yield Failure(FailureKind.CIRCUIT, f"circuit {name}", name, outage, hit)
    for name in site.panels:
        yield _supply_failure(network, FailureKind.PANEL, name)
    for name in site.incomers:
        yield _supply_failure(network, FailureKind.INCOMER, name)
    for name in site.ups:
        outage = Outage(inputs=frozenset({ups_input(name)}))
        yield Failure(FailureKind.UPS_INPUT, f"input of {name}", name, outage, frozenset())
        hit = frozenset(network.on_source.get(name, ()))
        yield Failure(FailureKind.UPS_FLAT, f"{name} run flat", name, Outage(sources=frozenset({name})), hit)
    yield from _of_units(network)


def _supply_failure(network: Network, kind: FailureKind, name: str) -> Failure:
    site = network.site
    lost = {name}
    gap = dead_circuits(site, lost, generators_run=False)
    after = dead_circuits(site, lost, generators_run=True)
    outage, hit = _circuits_out(network, gap)
    if after == gap:
        return Failure(kind, f"{kind.value} {name}", name, outage, hit)
    waits = [generator_start_s(site, site.circuits[circuit].panel) or 0.0 for circuit in gap - after]
    stays, _ = _circuits_out(network, after)
    return Failure(kind, f"{kind.value} {name}", name, outage, hit, stays, max(waits))


def _of_units(network: Network) -> Iterator[Failure]:
    units = [network.units[network.index[name]] for name in network.site.units]
    for unit in units:
        if len(unit.sources) > 1:
            for place, source in enumerate(unit.sources):
                what = f"supply {place + 1} of {unit.name} ({source})"
                lost = Outage(supplies=frozenset({(unit.index, place)}))
                yield Failure(FailureKind.SUPPLY_MODULE, what, unit.name, lost, frozenset({unit.index}))
        elif unit.sources:
            what = f"supply of {unit.name} ({unit.sources[0]})"
            lost = Outage(supplies=frozenset({(unit.index, 0)}))
            yield Failure(FailureKind.SUPPLY_MODULE, what, unit.name, lost, frozenset({unit.index}))
    for unit in units:
        for place, feed in enumerate(unit.feeds):
            feeder = network.units[feed.feeder]
            where = feeder.ports[feed.at].where(feeder)
            lost = Outage(feeds=frozenset({(unit.index, place)}))
            hit = frozenset({unit.index, feed.feeder})
            cut = (unit.index,) if unit.data_over_feed and place == 0 else ()
            what = f"feed cable of {unit.name} ({where})"
            yield Failure(FailureKind.FEED_CABLE, what, unit.name, lost, hit, data_cut=cut)
            yield Failure(FailureKind.FEEDER_PORT, f"{where}, feed of {unit.name}", unit.name, lost, hit)
    for unit in units:
        if unit.ports and unit.unit.pse is not None:
            lost = Outage(controllers=frozenset({unit.index}))
            hit = frozenset({unit.index})
            yield Failure(FailureKind.CONTROLLER_RESTART, f"PoE controller of {unit.name}", unit.name, lost, hit)
    for unit in units:
        lost = Outage(units=frozenset({unit.index}))
        yield Failure(FailureKind.UNIT, f"unit {unit.name}", unit.name, lost, frozenset({unit.index}))
