"""The load schedule: planned watts per port, unit, tier, UPS and circuit, summed.

Plain sums of the drawn plan in two states: *normal running* (every local AC is there, spare feeds stand by) and
*all feeds carrying* (no unit with a feed has its AC). Nothing is shed or demoted here; failures are the power
flow's study. How a watt at a device becomes a watt at a port is asked of a `WattModel`.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator
from typing import Protocol

from portdraw.plan.load_case import Case, device_w, signature_class
from portdraw.plan.planned_load import (
    LoadSchedule,
    PlannedPort,
    PlannedSource,
    PlannedTier,
    PlannedUnit,
    PortWatts,
    Sum,
)
from portdraw.plan.ports import sort_key
from portdraw.plan.site import Site, Unit
from portdraw.plan.tree import Tree


class WattModel(Protocol):
    """What the schedule asks of the power flow. None means: can't be computed. Watts as each name says."""

    def device(self, unit: str, port_key: str, case: Case) -> PortWatts:
        """Watts of a port with a device."""

    def feed(self, feeder: str, port_key: str, outputs_w: float, *, carrying: bool) -> PortWatts:
        """Watts of a feeder's port for the unit below with these outputs: standing by, or carrying it."""

    def ac_w(self, unit: str, outputs_w: float) -> float | None:
        """Watts that a unit on its supplies takes at AC."""

    def budget_on_ac_w(self, unit: str) -> float | None:
        """PSE watts that a unit may give on its supplies, None without supplies."""

    def budget_on_feed_w(self, unit: str) -> float | None:
        """PSE watts that a unit may give on its PoE feed, None without a feed."""


def load_schedule(site: Site, tree: Tree, model: WattModel) -> LoadSchedule:
    """Work out the load schedule of a site. Units in a ring of feeds are left out; what counts on them lacks them."""
    ports: dict[str, tuple[PlannedPort, ...]] = {}
    normal: dict[str, dict[Case, Sum]] = {}
    carrying: dict[str, dict[Case, Sum]] = {}
    outside = [name for name in tree.order() if not tree.in_ring(name)]
    for name in outside:
        unit = site.units[name]
        keys = sorted(unit.ports, key=sort_key)
        ports[name] = tuple(_port(site, tree, model, name, key, normal, carrying) for key in keys)
        normal[name] = {case: _sum((_place(port), port.pse_w[case]) for port in ports[name]) for case in Case}
        carrying[name] = {case: _sum((_place(port), port.carrying_w[case]) for port in ports[name]) for case in Case}
    units = tuple(
        _unit(tree, model, name, site.units[name], ports[name], normal[name], carrying[name])
        for name in site.units
        if name in ports
    )
    return LoadSchedule(
        site=site.site.name,
        margin_percent=site.policy.margin_percent,
        margin_after_failure_percent=site.policy.margin_after_failure_percent,
        survives_ac_loss=site.policy.must_survive.all_unbacked_ac is not None,
        units=tuple(sorted(units, key=lambda unit: unit.tier or len(units) + 1)),
        tiers=tuple(_tiers(units)),
        sources=tuple(_sources(site, tree, model, normal, carrying)),
        not_judged=tuple(_not_judged(site)),
    )


def _not_judged(site: Site) -> Iterator[str]:
    """Yield the names of what a file declares for the failure study only."""
    if "must_survive" in site.policy.model_fields_set:
        yield "must_survive"
    if site.ups:
        yield "battery_wh"
    if site.generators:
        yield "generators"


def _port(
    site: Site,
    tree: Tree,
    model: WattModel,
    unit: str,
    key: str,
    normal: dict[str, dict[Case, Sum]],
    carrying: dict[str, dict[Case, Sum]],
) -> PlannedPort:
    port = site.units[unit].ports[key]
    idle = 0.0 if port.hangs is None or port.off else None
    pd_w: dict[Case, float | None] = dict.fromkeys(Case, idle)
    normal_w: dict[Case, float | None] = dict.fromkeys(Case, idle)
    carrying_w: dict[Case, float | None] = dict.fromkeys(Case, idle)
    reasons: dict[str, dict[Case, None]] = {}
    assumed: dict[str, None] = {}
    if idle is None:
        for case in Case:
            if port.device is not None:
                planned = device_w(site, port, case)
                pd_w[case] = None if planned is None else planned.watts
                found = both = model.device(unit, key, case)
            else:
                found = _feed(site, tree, model, (unit, key), normal, case, all_carry=False)
                both = _feed(site, tree, model, (unit, key), carrying, case, all_carry=True)
            normal_w[case], carrying_w[case] = found.pse_w, both.pse_w
            for one in dict.fromkeys((found, both)):
                assumed.update(dict.fromkeys(one.assumed))
                if one.reason is not None:
                    reasons.setdefault(one.reason, {}).setdefault(case)
    return PlannedPort(
        unit=unit,
        port=key,
        label=port.label or "",
        kind="device" if port.device else "feed" if port.feeds else "spare",
        hangs=port.hangs or "",
        device_type=port.type or "",
        device_class=signature_class(site, port),
        priority=port.priority,
        length_m=None if port.cable is None else port.cable.length_m,
        pd_w=pd_w,
        pse_w=normal_w,
        carrying_w=carrying_w,
        reasons={reason: tuple(cases) for reason, cases in reasons.items()},
        assumed=tuple(assumed),
    )


def _feed(
    site: Site,
    tree: Tree,
    model: WattModel,
    feed: tuple[str, str],
    outputs: dict[str, dict[Case, Sum]],
    case: Case,
    *,
    all_carry: bool,
) -> PortWatts:
    """Watts of a port that feeds a unit, of which the outputs are in `outputs` already."""
    below = site.units[feed[0]].ports[feed[1]].feeds_unit or ""
    if below not in outputs:
        why = "units feed each other, no watts can be computed" if below in site.units else f"{below} is not declared"
        return PortWatts(None, f"{feed[0]} port {feed[1]}: {why}")
    unit = site.units[below]
    standby_input = unit.feeds_mode == "main-standby" and feed != tree.feeder_of(below)
    carrying = (all_carry or _counts_on_feed(unit)) and not standby_input
    total = outputs[below][case]
    if carrying and total.missing:
        return PortWatts(None, f"{feed[0]} port {feed[1]}: watts of {total.missing[0]} are unknown")
    return model.feed(*feed, total.watts, carrying=carrying)


def _counts_on_feed(unit: Unit) -> bool:
    """Say whether a feed counts in full in normal running: without supplies, and where AC is not surely preferred."""
    return not unit.supplies or unit.fed is None or unit.fed.prefers != "ac"


def _unit(
    tree: Tree,
    model: WattModel,
    name: str,
    unit: Unit,
    ports: tuple[PlannedPort, ...],
    normal: dict[Case, Sum],
    carrying: dict[Case, Sum],
) -> PlannedUnit:
    feeder = tree.feeder_of(name)
    return PlannedUnit(
        unit=name,
        place=unit.place,
        tier=tree.tier(name),
        supplied_by=tuple(dict.fromkeys(supply.source for supply in unit.supplies)),
        fed_by=None if feeder is None else f"{feeder[0]} port {feeder[1]}",
        ports=ports,
        normal=normal,
        carrying=carrying,
        budget_on_ac_w=model.budget_on_ac_w(name) if unit.supplies else None,
        budget_on_feed_w=model.budget_on_feed_w(name) if feeder is not None else None,
    )


def _tiers(units: tuple[PlannedUnit, ...]) -> Iterator[PlannedTier]:
    for tier in sorted({unit.tier for unit in units}):
        within = [unit for unit in units if unit.tier == tier]
        devices = [port for unit in within for port in unit.ports if port.kind == "device"]
        yield PlannedTier(
            tier=tier,
            units=tuple(unit.unit for unit in within),
            devices={case: _sum((_place(port), port.pd_w[case]) for port in devices) for case in Case},
            normal={case: _add(unit.normal[case] for unit in within) for case in Case},
        )


def _sources(
    site: Site,
    tree: Tree,
    model: WattModel,
    normal: dict[str, dict[Case, Sum]],
    carrying: dict[str, dict[Case, Sum]],
) -> Iterator[PlannedSource]:
    """Yield every UPS, then every circuit. A unit on several sources loads each by its supplies' shares.

    In normal running each unit counts in full on its supplies. With all feeds carrying only units without a feed do.
    """
    users: dict[str, dict[str, float]] = {}
    for name, unit in site.units.items():
        for source, share in _shares(unit).items():
            users.setdefault(source, {})[name] = share
    alone = {name for name in site.units if tree.feeder_of(name) is None}

    def load(source: str, outputs: dict[str, dict[Case, Sum]], case: Case, names: Container[str]) -> Iterator[Sum]:
        for name, share in users.get(source, {}).items():
            if name in names and name not in outputs:
                yield Sum(0.0, (name,))  # in a ring of feeds
            elif name in names:
                total = outputs[name][case]
                ac_w = None if total.missing else model.ac_w(name, total.watts)
                yield _sum([(name, None if ac_w is None else ac_w * share)])

    behind: dict[str, list[PlannedSource]] = {}
    for name, ups in site.ups.items():
        own = Sum(ups.other_load_w)
        planned = PlannedSource(
            name=name,
            kind="UPS",
            units=tuple(users.get(name, {})),
            other_load_w=ups.other_load_w,
            normal={case: _add((own, *load(name, normal, case, site.units))) for case in Case},
            carrying={case: _add((own, *load(name, carrying, case, alone))) for case in Case},
            limit_w=ups.rating_w,
        )
        behind.setdefault(ups.input, []).append(planned)
        yield planned
    for name, circuit in site.circuits.items():
        own = Sum(circuit.other_load_w)
        inputs = behind.get(name, [])
        usual = {case: [_ups_input(site, ups, ups.normal[case]) for ups in inputs] for case in Case}
        after = {case: [_ups_input(site, ups, ups.carrying[case]) for ups in inputs] for case in Case}
        yield PlannedSource(
            name=name,
            kind="circuit",
            units=(*users.get(name, {}), *(ups.name for ups in inputs)),
            other_load_w=circuit.other_load_w,
            normal={case: _add((own, *load(name, normal, case, site.units), *usual[case])) for case in Case},
            carrying={case: _add((own, *load(name, carrying, case, alone), *after[case])) for case in Case},
            limit_w=circuit.limit_w,
        )


def _ups_input(site: Site, ups: PlannedSource, output: Sum) -> Sum:
    """Watts that a UPS takes from its circuit; the charging of its battery is not in them."""
    return Sum(output.watts / site.ups[ups.name].efficiency, output.missing)


def _shares(unit: Unit) -> dict[str, float]:
    """Return the share of a unit's AC watts on each source; equal shares where any module's watts are undeclared."""
    if not unit.supplies:
        return {}
    declared = [supply.pse_share_w for supply in unit.supplies]
    known = [watts for watts in declared if watts is not None]
    weights = known if len(known) == len(declared) and sum(known) > 0 else [1.0] * len(declared)
    shares: dict[str, float] = {}
    for supply, weight in zip(unit.supplies, weights, strict=True):
        shares[supply.source] = shares.get(supply.source, 0.0) + weight / sum(weights)
    return shares


def _place(port: PlannedPort) -> str:
    return f"{port.unit} port {port.port}"


def _sum(parts: Iterable[tuple[str, float | None]]) -> Sum:
    watts = 0.0
    missing: list[str] = []
    for name, part in parts:
        if part is None:
            missing.append(name)
        else:
            watts += part
    return Sum(watts, tuple(missing))


def _add(sums: Iterable[Sum]) -> Sum:
    watts = 0.0
    missing: list[str] = []
    for one in sums:
        watts += one.watts
        missing.extend(one.missing)
    return Sum(watts, tuple(missing))
