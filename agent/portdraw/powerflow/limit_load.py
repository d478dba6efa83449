"""Every limit on the way up, in one state of the site: what is asked of it and what it has."""

from __future__ import annotations

from collections.abc import Mapping, Set
from dataclasses import dataclass

from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.powerflow.port_link import PortId, class_pse_w
from portdraw.powerflow.source_flow import circuit_w, ups_w
from portdraw.powerflow.two_legs import feed_class
from portdraw.powerflow.unit_flow import CarriedBy, UnitFlow


@dataclass(frozen=True)
class LimitLoad:
    """One limit. `subject` is the unit, UPS or circuit that it belongs to. Watts where the limit is measured.

    `need_w` None: it can't be computed, or the load cannot be powered; `reason` says why. That is the worst.
    """

    subject: str
    limit: str
    need_w: float | None
    limit_w: float | None
    reason: str = ""

    @property
    def share(self) -> float:
        """Need against limit, 1.0 = used up; infinite where the need is unknown or the limit is nothing."""
        if self.need_w is None or self.limit_w is None:
            return float("inf")
        if self.limit_w <= 0:
            return float("inf") if self.need_w > 0 else 0.0
        return self.need_w / self.limit_w

    @property
    def rank(self) -> tuple[int, float, float]:
        """Sorts from fine to worst: what can't be computed last, then by share, then by watts short."""
        if self.need_w is None or self.limit_w is None:
            return (1, 0.0, 0.0)
        return (0, self.share, self.need_w - self.limit_w)


def limit_loads(
    site: Site,
    tree: Tree,
    flows: Mapping[str, UnitFlow],
    lost_circuits: frozenset[str],
    units: Set[str] | None = None,
) -> tuple[LimitLoad, ...]:
    """All limits of the state: unit budgets, feeder ports and their classes, AC circuits, UPS.

    With `units` only their own limits and those of the sources above them.
    """
    found: list[LimitLoad] = []
    wanted = flows.keys() if units is None else units
    for name, flow in flows.items():
        if not flow.powered or name not in wanted:
            continue
        found.extend(_of_unit(site, name, flow))
        for feed, feed_w in flow.feeds_w.items():
            found.extend(_of_feed(site, tree, name, flow, feed, feed_w))
    above = None if units is None else _sources_above(site, units)
    if above is not None:
        flows = _on_sources(site, tree, flows, above)
    partial = _partial_sources(site, flows)
    for ups, watts in ups_w(site, flows).items():
        if above is None or ups in above:
            found.append(_source(ups, f"{ups} rating", watts, site.ups[ups].rating_w, partial))
    for circuit, watts in circuit_w(site, flows, lost_circuits).items():
        if circuit not in lost_circuits and (above is None or circuit in above):
            found.append(_source(circuit, f"circuit {circuit}", watts, site.circuits[circuit].limit_w, partial))
    return tuple(found)


def _sources_above(site: Site, units: Set[str]) -> set[str]:
    found = {supply.source for name in units for supply in site.units[name].supplies}
    return found | {site.ups[name].input for name in found if name in site.ups}


def _on_sources(site: Site, tree: Tree, flows: Mapping[str, UnitFlow], sources: Set[str]) -> Mapping[str, UnitFlow]:
    """Return the flows of all units that these circuits and UPS carry, in the order of `flows`."""
    circuits = {site.ups[name].input if name in site.ups else name for name in sources}
    if not circuits <= site.circuits.keys():
        return flows  # of an undeclared circuit nobody knows what is on it
    near = {name for circuit in circuits for name in tree.units_on(circuit)}
    return {name: flow for name, flow in flows.items() if name in near}


def _of_unit(site: Site, name: str, flow: UnitFlow) -> list[LimitLoad]:
    if site.units[name].pse is None and flow.outputs_w == 0 and flow.complete:
        return []
    leg = {CarriedBy.FEED: " on PoE feed", CarriedBy.EITHER: " on the lesser leg"}.get(flow.leg, "")
    if not site.units[name].supplies:
        leg = ""
    limit = f"{name} budget{leg}"
    if site.units[name].pse is None and flow.leg is not CarriedBy.FEED:
        return [LimitLoad(name, limit, flow.outputs_w, None, f"{name}: it gives power and declares no pse")]
    if not flow.complete:
        why = "; ".join(flow.reasons) or f"{name}: its watts are known in part only"
        return [LimitLoad(name, limit, None, flow.budget_w, why)]
    found = [LimitLoad(name, limit, flow.outputs_w, flow.budget_w)]
    found.extend(LimitLoad(name, f"{name} cables", None, None, reason) for reason in flow.reasons)
    return found


def _of_feed(
    site: Site, tree: Tree, name: str, flow: UnitFlow, feed: PortId, feed_w: float | None
) -> list[LimitLoad]:
    feeder, key = feed
    granted = feed_class(site, tree, name, feed)
    assert granted is not None, "a feed has a class, if only an assumed one"
    why = "" if flow.complete else "; ".join(flow.reasons)
    need_w = feed_w if flow.complete else None
    said = f"classes {granted[0]} and {granted[1]}" if isinstance(granted, tuple) else f"class {granted}"
    found = [LimitLoad(feeder, f"{said} of {feeder} port {key}", need_w, class_pse_w(granted), why)]
    pse = site.units[feeder].pse
    if pse is not None and pse.port_limit_w is not None:
        found.append(LimitLoad(feeder, f"{feeder} port {key} limit", need_w, pse.port_limit_w, why))
    return found


def _partial_sources(site: Site, flows: Mapping[str, UnitFlow]) -> dict[str, str]:
    """Why a source's watts are not known in full, by UPS and by circuit."""
    found: dict[str, str] = {}
    for name, flow in flows.items():
        if flow.complete:
            continue
        for supply in site.units[name].supplies:
            why = f"{name}: its watts are known in part only"
            found[supply.source] = why
            if supply.source in site.ups:
                found[site.ups[supply.source].input] = why
    return found


def _source(name: str, limit: str, watts: float, limit_w: float, partial: Mapping[str, str]) -> LimitLoad:
    if name in partial:
        return LimitLoad(name, limit, None, limit_w, partial[name])
    return LimitLoad(name, limit, watts, limit_w)
