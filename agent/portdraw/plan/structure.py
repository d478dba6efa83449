"""What can't stand, may not stand, or should be known in the drawn structure, before any watt is computed.

Works on every site that could be typed, also a partial one. What needs watts is checked by the power flow.
"""

from __future__ import annotations

from collections.abc import Iterator

from portdraw.electrical.type_table import MAINTAIN_A_CLASS_1_TO_4, MAINTAIN_A_CLASS_5_TO_8, PSE_TYPES
from portdraw.plan.address_check import check_addresses
from portdraw.plan.class_check import check_classes
from portdraw.plan.finding import Finding, FindingSeverity
from portdraw.plan.load_case import signature_class
from portdraw.plan.ports import sort_key
from portdraw.plan.site import Port, Site, Unit
from portdraw.plan.tree import Tree

CHANNEL_MAX_M = 100.0
"""Longest channel of twisted pair, cords included [m]. ISO/IEC 11801-1 and TIA-568.2."""

_RANK = {"critical": 0, "high": 1, "low": 2}
_BY_PORT_ALONE = ("highest-port",)
_NAMED = 3  # devices named in one sentence


def check_structure(site: Site, tree: Tree | None = None) -> list[Finding]:
    """Return the findings on a site's structure: errors first, then warnings, then notices, each in file order."""
    drawn = Tree(site) if tree is None else tree
    found = [*_rings(drawn), *check_addresses(site)]
    for name, unit in site.units.items():
        found.extend(_sources(name, unit, drawn))
        found.extend(_spare_feed(site, name, unit, drawn))
        found.extend(_ranks(name, unit))
        found.extend(check_classes(site, name, unit))
        for key in sorted(unit.ports, key=sort_key):
            found.extend(_cable(site, name, unit, key))
    order = list(FindingSeverity)
    return sorted(found, key=lambda finding: order.index(finding.severity))


def _rings(tree: Tree) -> Iterator[Finding]:
    for ring in tree.cycles():
        if len(ring) == 1:
            sentence = "one of its ports feeds the unit itself."
        elif len(ring) == 2:
            sentence = f"{ring[0]} and {ring[1]} feed each other: neither can be trusted as the source."
        else:
            sentence = f"a ring of feeds: {' > '.join((*ring, ring[0]))}. Power must run from source to device."
        left_out = "Its figures are" if len(ring) == 1 else "Their figures are"
        yield Finding(FindingSeverity.ERROR, ring[0], f"{sentence} {left_out} left out.")


def _sources(name: str, unit: Unit, tree: Tree) -> Iterator[Finding]:
    feeder = tree.feeder_of(name)
    if feeder is None and not unit.supplies:
        yield Finding(FindingSeverity.ERROR, name, "nothing supplies or feeds this unit.")
    if feeder is not None and unit.fed is None and not unit.extender:
        sentence = (
            f"{feeder[0]} port {feeder[1]} feeds it, but nothing says how it takes a feed (fed): "
            "the worst is assumed for every such figure."
        )
        yield Finding(FindingSeverity.WARNING, name, sentence)
    if feeder is None and unit.fed is not None and unit.supplies:
        yield Finding(FindingSeverity.NOTICE, name, "it can take a PoE feed, but no port feeds it: one leg only.")


def _spare_feed(site: Site, name: str, unit: Unit, tree: Tree) -> Iterator[Finding]:
    """Check a feed that stands by while local AC carries the unit."""
    if not unit.supplies or unit.fed is None or unit.fed.prefers == "feed":
        return
    for feeder, key in tree.feeds_of(name):
        where = f"{feeder} port {key}"
        port = site.units[feeder].ports[key]
        if port.autoclass:
            sentence = (
                f"Autoclass on the spare feed of {name}: the port would measure the standby draw and allow no more "
                "when the feed has to carry. Turn it off on this port."
            )
            yield Finding(FindingSeverity.WARNING, where, sentence)
        if unit.fed.spare_feed == "held":
            yield from _standby(site, name, unit.fed.standby_w, feeder, port, where)


def _standby(
    site: Site, name: str, standby_w: float | None, feeder: str, port: Port, where: str
) -> Iterator[Finding]:
    if standby_w is None:
        sentence = f"the spare feed of {name} is held, but its standby watts (standby_w) are not declared."
        yield Finding(FindingSeverity.WARNING, where, sentence)
        return
    pse = site.units[feeder].pse
    declared_v = None if pse is None else pse.voltage_v
    port_v = max(row.pse_max_v for row in PSE_TYPES.values()) if declared_v is None else declared_v
    kind = signature_class(site, port)
    small = isinstance(kind, int) and kind <= 4
    maintain_a = MAINTAIN_A_CLASS_1_TO_4 if small else MAINTAIN_A_CLASS_5_TO_8
    needed_w = maintain_a * port_v
    if standby_w < needed_w:
        volts = f"{port_v:g} V" if declared_v is not None else f"{port_v:g} V (the highest, as none is declared)"
        sentence = (
            f"{name} holds its spare feed with {standby_w:g} W, but {maintain_a * 1000:.0f} mA at {volts} are "
            f"{needed_w:.2f} W: the port may take it for unplugged and drop it."
        )
        yield Finding(FindingSeverity.ERROR, where, sentence)


def _ranks(name: str, unit: Unit) -> Iterator[Finding]:
    """Check that no feed is shed before a device beside it."""
    by_port = unit.pse is not None and unit.pse.shed in _BY_PORT_ALONE

    def rank(key: str) -> tuple[int, tuple[int, ...]]:
        return (0 if by_port else _RANK[unit.ports[key].priority], sort_key(key))

    for key in sorted(unit.ports, key=sort_key):
        port = unit.ports[key]
        if port.feeds_unit is None:
            continue
        above = [
            other
            for other in sorted(unit.ports, key=sort_key)
            if unit.ports[other].device is not None and not unit.ports[other].off and rank(other) < rank(key)
        ]
        if not above:
            continue
        names = ", ".join(f"{unit.ports[other].device} (port {other})" for other in above[:_NAMED])
        more = f" and {len(above) - _NAMED} more" if len(above) > _NAMED else ""
        rule = "by its port number" if by_port else f"with priority {port.priority}"
        sentence = f"it feeds {port.feeds_unit}, yet ranks {rule} below {names}{more}: it is shed before them."
        yield Finding(FindingSeverity.WARNING, f"{name} port {key}", sentence)


def _cable(site: Site, name: str, unit: Unit, key: str) -> Iterator[Finding]:
    port = unit.ports[key]
    cable = port.cable
    if cable is None:
        return
    where = f"{name} port {key}"
    below = site.units.get(port.feeds_unit or "")
    extended = unit.extender or (below is not None and below.extender)
    if cable.length_m > CHANNEL_MAX_M and not extended:
        sentence = f"its cable is {cable.length_m:g} m; beyond {CHANNEL_MAX_M:.0f} m it needs an extender or fibre."
        yield Finding(FindingSeverity.WARNING, where, sentence)
    if cable.conductor == "copper-clad":
        sentence = (
            "its cable is copper-clad aluminium: more loss and heat than the sums of a copper cable show, and no "
            "recognised category. Replace it."
        )
        yield Finding(FindingSeverity.WARNING, where, sentence)
    if port.feeds is None or cable.run == "indoor":
        return
    if cable.run == "outdoor":
        sentence = f"the feed of {port.feeds_unit} is outdoor copper: plan surge protection and bonding."
        yield Finding(FindingSeverity.NOTICE, where, sentence)
    else:
        run = "to a vessel" if cable.run == "to-vessel" else "between buildings"
        sentence = (
            f"the feed of {port.feeds_unit} is copper {run}: earth potentials differ and surges travel along "
            "it. Prefer fibre and local AC; otherwise surge protection and bonding by local code."
        )
        yield Finding(FindingSeverity.WARNING, where, sentence)
