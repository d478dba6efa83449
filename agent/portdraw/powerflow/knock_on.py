"""What follows when a unit restarts, moves to another leg, or has a port cut: what else comes back, waits or goes."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import replace

from portdraw.powerflow.load import DARK
from portdraw.powerflow.network import Network
from portdraw.powerflow.shedding import STEP_W
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.standing import Standing, least_budget_w
from portdraw.powerflow.state import Outage
from portdraw.powerflow.unit_flow import CarriedBy


def remade(found: Solution, stood: Mapping[int, Standing]) -> tuple[Outage, set[int]] | None:
    """The same without what units shed before that restart now: a restart brings it back."""
    outage, asked, units = found.outage, found.asked, found.network.units
    lost = {(at, place): units[at].feeds[place].feeder for at, place in outage.feeds - asked.feeds}
    shed = {at for at, ports in outage.off_ports.items() if ports != asked.off_ports.get(at)} | set(lost.values())
    fresh = {at for at in shed if _is_fresh(found.standing(at), stood.get(at))}
    if not fresh:
        return None
    back = {feed for feed, feeder in lost.items() if feeder in fresh}
    off = {at: ports for at, ports in outage.off_ports.items() if at not in fresh}
    off.update((at, asked.off_ports[at]) for at in fresh if at in asked.off_ports)
    return replace(outage, feeds=outage.feeds - back, off_ports=off), fresh | {at for at, _ in back}


def _is_fresh(now: Standing, stood: Standing | None) -> bool:
    return now.restarted or (stood is not None and stood.leg is CarriedBy.NONE)


def stands_on(found: Solution, at: int, lost: Collection[tuple[int, int]]) -> bool:
    """Whether a unit stands, by however many units, on one of the feeds that are lost now."""
    while lost:
        standing = found.standing(at)
        if standing.leg not in (CarriedBy.FEED, CarriedBy.EITHER) or standing.first < 0:
            return False
        if (at, standing.first) in lost:
            return True
        at = found.network.units[at].feeds[standing.first].feeder
    return False


def making_room(found: Solution, can: int) -> Iterator[tuple[int, int]]:
    """Feeds that are cut because they ask too much, where others wait for the watts set aside for them.

    `can`: DARK for those that surely ask too much, MAY for those that may.
    """
    for at in found.touched:
        unit = found.network.units[at]
        if unit.admission == "drawn" or not found.standing(at).grant.refused:
            continue
        for port in unit.feed_ports:
            state = found.standing(port.child).feeds[port.place]
            if state > can and port.place in overloading(found, port.child, can):
                yield port.child, port.place


def overloading(found: Solution, at: int, can: int = DARK) -> list[int]:
    """Feeds that can't carry what a unit asks: their ports are cut before less is asked, and stay off."""
    return [place for place, ask in enumerate(found.demand(at).feeds) if ask.can == can and ask.carries]


def with_all_above(network: Network, feeds: Iterable[tuple[int, int]]) -> list[int]:
    """Units that lose a feed and all that feed them: only there can less load let a shed port seem to fit again."""
    found = {at for at, _ in feeds}
    waiting = list(found)
    while waiting:
        for feed in network.units[waiting.pop()].feeds:
            if feed.feeder not in found:
                found.add(feed.feeder)
                waiting.append(feed.feeder)
    return sorted(found)


def perhaps_shed(found: Solution, moving: set[tuple[int, int]]) -> dict[int, frozenset[int]]:
    """Ports that may be shed for good while units change legs, on them and on all above them.

    A unit whose ports do not fit on each of its legs may shed any of them on the way, by the order in which legs go.
    """
    network = found.network
    perhaps: dict[int, frozenset[int]] = {}
    for at in with_all_above(network, moving):
        demand = found.demand(at)
        if demand.may_cut != demand.cut:
            perhaps[at] = demand.may_cut - demand.cut
    for at, _ in moving:
        unit, demand = network.units[at], found.demand(at)
        fits = demand.asked_w <= least_budget_w(network, unit, found.standing(at)) + STEP_W
        if unit.admission != "drawn" or not fits:
            perhaps[at] = frozenset(port.at for port in unit.ports) - demand.cut
    return perhaps
