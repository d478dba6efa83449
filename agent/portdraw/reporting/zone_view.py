"""All units of a large site, zone by zone, the worst first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from portdraw.judgement.assessment import SiteAssessment, UnitAssessment
from portdraw.reporting.plain_text import plain
from portdraw.reporting.unit_trouble import QUIET, Trouble
from portdraw.reporting.wording import known

NO_ZONE = "no zone"


@dataclass(frozen=True)
class UnitChip:
    """A unit in a word: what is wrong with it, or how much of its budget it draws."""

    unit: str
    words: str
    tone: str


@dataclass(frozen=True)
class ZoneView:
    """A zone: its count in words, and its units."""

    zone: str
    words: str
    tone: str
    units: tuple[UnitChip, ...]


def zone_views(site: SiteAssessment, troubles: Mapping[str, Trouble]) -> tuple[ZoneView, ...]:
    """Return all zones, the one with the worst unit first; within a zone the worst unit first, then by name."""
    by_zone: dict[str, list[UnitAssessment]] = {}
    for unit in site.units:
        by_zone.setdefault(unit.zone or NO_ZONE, []).append(unit)
    for units in by_zone.values():
        units.sort(key=lambda unit: (troubles[unit.unit].rank, unit.unit))
    ordered = sorted(by_zone.items(), key=lambda row: (troubles[row[1][0].unit].rank, row[0]))
    return tuple(_zone_view(zone, units, troubles) for zone, units in ordered)


def _zone_view(zone: str, units: list[UnitAssessment], troubles: Mapping[str, Trouble]) -> ZoneView:
    found = Counter(troubles[unit.unit].words for unit in units if troubles[unit.unit].rank < QUIET)
    counted = [f"{count} {words}" for words, count in found.items()]
    whole = f"{len(units)} unit{'' if len(units) == 1 else 's'}"
    return ZoneView(
        zone=plain(zone),
        words=", ".join([whole, *counted]) if counted else f"{whole}, nothing wrong",
        tone=troubles[units[0].unit].tone,
        units=tuple(_chip(unit, troubles[unit.unit]) for unit in units),
    )


def _chip(unit: UnitAssessment, trouble: Trouble) -> UnitChip:
    share = known(unit.share)
    words = trouble.words or ("" if share is None else f"{100 * share:.0f} %")
    return UnitChip(plain(unit.unit), words, trouble.tone)
