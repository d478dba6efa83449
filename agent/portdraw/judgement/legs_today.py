"""The legs as they were judged, as the state from which failures are studied."""

from __future__ import annotations

from collections.abc import Sequence

from portdraw.judgement.assessment import Availability, Carrying, UnitAssessment
from portdraw.judgement.legs import LOCAL_AC, POE_FEED
from portdraw.judgement.unit_legs import circuits_out, leg_of
from portdraw.plan.tree import Tree
from portdraw.powerflow.network import Network
from portdraw.powerflow.port_link import PortId
from portdraw.powerflow.state import Outage, today


def legs_today(
    network: Network, tree: Tree, units: Sequence[UnitAssessment], off: frozenset[PortId] = frozenset()
) -> Outage:
    """Return what is out: circuits, supplies and feeds that are lost by themselves, and ports in `off`.

    A feed of which it is not known whether it could carry is unsure; but for a hidden one, which shows nothing while
    local AC is there. Local AC that nothing tells of counts as there, unless the feed carries in its place.
    """
    site = network.site
    circuits = circuits_out(tree, units)
    supplies: set[tuple[str, int]] = set()
    feeds: set[PortId] = set()
    unsure: set[PortId] = set()
    for unit in units:
        ac, feed = leg_of(unit, LOCAL_AC), leg_of(unit, POE_FEED)
        spec = site.units[unit.unit]
        carries = feed is not None and feed.carrying is Carrying.ALL
        prefers_feed = spec.fed is not None and spec.fed.prefers != "ac"
        gone = ac is not None and (
            ac.availability is Availability.LOST
            or (ac.availability is Availability.UNKNOWN and carries and not prefers_feed)
        )
        if gone and not set(tree.circuits_of(unit.unit)) <= circuits:
            supplies.update((unit.unit, place) for place in range(len(spec.supplies)))
        if feed is None:
            continue
        ports = [(feeder, key) for feeder, key in tree.feeds_of(unit.unit) if feed.source == f"{feeder} port {key}"]
        hidden = spec.fed is not None and spec.fed.spare_feed == "hidden"
        if feed.availability is Availability.LOST:
            feeds.update(ports)
        elif feed.availability is Availability.UNKNOWN and not hidden:
            unsure.update(ports)
    return today(
        network,
        circuits=circuits,
        supplies=frozenset(supplies),
        feeds=frozenset(feeds),
        unsure_feeds=frozenset(unsure),
        off_ports=off,
    )
