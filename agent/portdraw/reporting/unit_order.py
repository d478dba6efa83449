"""Units in the order of the power tree: each one below the unit that feeds it."""

from __future__ import annotations

from portdraw.judgement.assessment import SiteAssessment, UnitAssessment


def feeder_name(unit: UnitAssessment, names: frozenset[str]) -> str | None:
    """Return the unit that feeds this one; `fed_by` may be a name or "core port 1"."""
    if unit.fed_by is None:
        return None
    name = unit.fed_by if unit.fed_by in names else unit.fed_by.rpartition(" port ")[0]
    return name if name in names and name != unit.unit else None


def in_tree_order(site: SiteAssessment) -> list[tuple[UnitAssessment, int]]:
    """Return every unit once with its depth (0 at the source), feeders first, each followed by what it feeds.

    Units fed by one another in a ring are still listed, at depth 0.
    """
    names = frozenset(unit.unit for unit in site.units)
    below: dict[str | None, list[UnitAssessment]] = {}
    for unit in site.units:
        below.setdefault(feeder_name(unit, names), []).append(unit)
    for unit in site.units:
        places = {port.feeds_unit: place for place, port in enumerate(unit.ports) if port.feeds_unit}
        if unit.unit in below:
            below[unit.unit].sort(key=lambda child: places.get(child.unit, len(places)))
    listed: list[tuple[UnitAssessment, int]] = []
    seen: set[str] = set()
    for start in (*below.get(None, []), *site.units):
        waiting = [(start, 0)]
        while waiting:
            unit, depth = waiting.pop()
            if unit.unit in seen:
                continue
            seen.add(unit.unit)
            listed.append((unit, depth))
            waiting.extend((child, depth + 1) for child in reversed(below.get(unit.unit, [])))
    return listed
