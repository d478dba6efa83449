"""Where the units of a one-line diagram stand: strips of columns, by zone, and within a zone by circuit.

A site that fits a page's width is one strip. A larger one is cut at its zones, so that each strip can stand on a
page of its own; what feeds it from another strip is named there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from portdraw.powerflow.network import NetUnit, Network

MOST_COLUMNS = 9
NO_ZONE = ""


@dataclass(frozen=True)
class Strip:
    """Units side by side, as numbers of the network, and the zones that they belong to."""

    units: tuple[int, ...]
    zones: tuple[str, ...]


def strips(network: Network) -> tuple[Strip, ...]:
    """Return the strips of a site: one where it fits, else as many as its zones need."""
    order = [network.units[network.index[name]] for name in network.site.units]
    if len(order) <= MOST_COLUMNS:
        return (_strip(network, order),)
    found: list[Strip] = []
    waiting: list[NetUnit] = []
    for zone in _by_zone(order):
        for part in _parts(network, zone):
            if len(waiting) + len(part) > MOST_COLUMNS:
                found.append(_strip(network, waiting))
                waiting = []
            waiting.extend(part)
    if waiting:
        found.append(_strip(network, waiting))
    return tuple(found)


def circuit_of(network: Network, unit: NetUnit) -> str:
    """Return the circuit above a unit's first supply, through a UPS too; "" without one."""
    if not unit.sources:
        return ""
    ups = network.site.ups.get(unit.sources[0])
    return unit.sources[0] if ups is None else ups.input


def _by_zone(units: Sequence[NetUnit]) -> Iterator[list[NetUnit]]:
    zones: dict[str, list[NetUnit]] = {}
    for unit in units:
        zones.setdefault(unit.unit.zone or NO_ZONE, []).append(unit)
    yield from zones.values()


def _parts(network: Network, units: Sequence[NetUnit]) -> Iterator[list[NetUnit]]:
    """Cut a zone that is wider than a page, if it can be done between circuits."""
    ordered = _ordered(network, units)
    if len(ordered) <= MOST_COLUMNS:
        yield ordered
        return
    part: list[NetUnit] = []
    groups: dict[str, list[NetUnit]] = {}
    for unit in ordered:
        groups.setdefault(circuit_of(network, unit), []).append(unit)
    for group in groups.values():
        for start in range(0, len(group), MOST_COLUMNS):
            some = group[start : start + MOST_COLUMNS]
            if len(part) + len(some) > MOST_COLUMNS:
                yield part
                part = []
            part.extend(some)
    if part:
        yield part


def _ordered(network: Network, units: Sequence[NetUnit]) -> list[NetUnit]:
    """By incomer, panel and circuit as they first come, so that no bus crosses another; within a circuit by tier.

    What feeds others and is fed by none comes first.
    """
    first: dict[str, int] = {}
    for place, unit in enumerate(sorted(units, key=lambda unit: bool(unit.feeds))):
        for name in _above(network, unit):
            first.setdefault(name, place)
    places = {unit.index: place for place, unit in enumerate(units)}

    def key(unit: NetUnit) -> tuple[int, ...]:
        above = (first[name] for name in _above(network, unit))
        return (*above, network.tree.tier(unit.name), places[unit.index])

    return sorted(units, key=key)


def _above(network: Network, unit: NetUnit) -> tuple[str, str, str]:
    """What feeds the panel, the panel and the circuit of a unit's first supply; marked, as names may be alike."""
    circuit = circuit_of(network, unit)
    declared = network.site.circuits.get(circuit)
    panel = "" if declared is None else declared.panel
    above = network.site.panels.get(panel)
    return (f"above {'' if above is None else above.fed_from}", f"panel {panel}", f"circuit {circuit}")


def _strip(network: Network, units: Sequence[NetUnit]) -> Strip:
    ordered = _ordered(network, units)
    zones = dict.fromkeys(unit.unit.zone for unit in ordered if unit.unit.zone)
    return Strip(tuple(unit.index for unit in ordered), tuple(zones))
