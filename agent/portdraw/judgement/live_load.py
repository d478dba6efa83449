"""What every port draws now, with the bounds between which the truth lies, for the failure study.

Watts at the PSE output. What can't be known counts as the worse, and the units of which that is so are named.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from portdraw.judgement.assessment import PortAssessment, UnitAssessment
from portdraw.judgement.silent_ports import silent_draws
from portdraw.observation.record import Basis, PortState
from portdraw.plan.site import Port, Site
from portdraw.powerflow.load import Reading
from portdraw.powerflow.port_link import PortId

# Meters of ports are good to some percent and tell 0.1 W at best: common practice, switches do not say.
METER_PERCENT = 2.0
GRAIN_W = 0.1

_WITHOUT_CURRENT = (PortState.DISABLED, PortState.SEARCHING, PortState.FAULT, PortState.OTHER_FAULT)


@dataclass(frozen=True)
class AsSeen:
    """What of a site file readings contradict: devices that nobody planned, units that book less than the class.

    `by_draw` are units whose delivering ports would not all be admitted by class: they evidently admit by draw.
    """

    unplanned: frozenset[PortId] = frozenset()
    by_draw: frozenset[str] = frozenset()


NOTHING_ELSE = AsSeen()


@dataclass(frozen=True)
class LiveDraws:
    """Readings of all ports that feed no unit, by (unit, port). `off` are planned devices without power.

    `stand_ins` are units whose draw is not known in full: the largest planned watts count as the most, nothing as
    the least.
    """

    readings: Mapping[PortId, Reading]
    off: frozenset[PortId]
    stand_ins: tuple[str, ...]
    seen: AsSeen


def live_draws(site: Site, units: Sequence[UnitAssessment]) -> LiveDraws:
    """Return the draws of now. Of a unit that tells only its total, the rest is shared out over its silent ports."""
    readings: dict[PortId, Reading] = {}
    off: set[PortId] = set()
    stand_ins: list[str] = []
    unplanned: set[PortId] = set()
    by_draw: set[str] = set()
    for unit in units:
        told_w = classes_w = 0.0
        silent: dict[str, float | None] = {}
        feeds: set[str] = set()
        for port in unit.ports:
            if port.draw_w is None:
                silent[port.port] = port.planned_max_w if port.planned_max_w is not None else port.class_limit_w
                if port.feeds_unit is not None:
                    feeds.add(port.port)
                continue
            told_w += port.draw_w
            if port.state is PortState.DELIVERING:
                classes_w += port.class_limit_w or 0.0
            if port.feeds_unit is not None:
                continue
            place = (unit.unit, port.port)
            if port.state in _WITHOUT_CURRENT:
                if port.planned:
                    off.add(place)
                continue
            readings[place] = as_read(port.draw_w, port.basis, port.uncertainty_w)
            if port.draw_w > 0 and not _has_device(site, port):
                unplanned.add(place)
        if admits_by_draw(site, unit.unit, classes_w, unit.budget_w):
            by_draw.add(unit.unit)
        if not silent:
            continue
        known = unit.total_w is not None
        for key, watts in silent_draws(silent, unit.total_w, told_w).items():
            if key not in feeds:
                readings[unit.unit, key] = as_read(watts, Basis.MEASURED) if known else Reading(watts, 0.0, watts)
        if not known and any(silent[key] != 0.0 and key not in feeds for key in silent):
            stand_ins.append(unit.unit)
    return LiveDraws(readings, frozenset(off), tuple(stand_ins), AsSeen(frozenset(unplanned), frozenset(by_draw)))


def as_read(watts: float, basis: Basis | None, uncertainty_w: float | None = None) -> Reading:
    """Return a reading with its bounds [W]. What is only granted may be drawn in full, or not at all."""
    if uncertainty_w is not None:
        return Reading(watts, max(0.0, watts - uncertainty_w), watts + uncertainty_w)
    if basis is not Basis.MEASURED:
        return Reading(watts, 0.0, watts)
    if watts <= 0:
        return Reading(0.0, 0.0, GRAIN_W / 2)
    off_w = max(GRAIN_W / 2, watts * METER_PERCENT / 100)
    return Reading(watts, max(0.0, watts - off_w), watts + off_w)


def site_as_seen(site: Site, seen: AsSeen) -> Site:
    """Return the site with a device on each port that draws unplanned, which counts and can go dark, and so on."""
    if not seen.unplanned and not seen.by_draw:
        return site
    changed = dict(site.units)
    for unit, key in sorted(seen.unplanned):
        spec = changed[unit]
        before = spec.ports.get(key)
        name = f"unplanned device at {unit} port {key}"
        port = Port.model_construct(device=name) if before is None else before.model_copy(update={"device": name})
        changed[unit] = spec.model_copy(update={"ports": {**spec.ports, key: port}})
    for unit in seen.by_draw:
        pse = changed[unit].pse
        if pse is not None:
            by_draw = pse.model_copy(update={"admission": "drawn"})
            changed[unit] = changed[unit].model_copy(update={"pse": by_draw})
    return site.model_copy(update={"units": changed})


def admits_by_draw(site: Site, unit: str, classes_w: float, budget_w: float | None) -> bool:
    """Say whether a unit that is to admit by class or grant powers more: the classes [W] of its ports do not fit."""
    pse = site.units[unit].pse
    return pse is not None and pse.admission != "drawn" and budget_w is not None and classes_w > budget_w


def _has_device(site: Site, port: PortAssessment) -> bool:
    planned = site.units[port.unit].ports.get(port.port)
    return planned is not None and planned.device is not None and not planned.off
