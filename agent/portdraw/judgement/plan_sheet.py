"""The planned watts of every port, worked out once per site, and what they are for the legs as they stand now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from portdraw.judgement.assessment import Carrying
from portdraw.judgement.port_draw import PortFacts, PortPlan, port_facts
from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.powerflow.port_power import planned_port_w
from portdraw.powerflow.two_legs import feeder_w

STEADY_CASES = (Case.TYPICAL, Case.NIGHT, Case.FROST_NIGHT)

ByCase = Mapping[Case, float | None]
PortId = tuple[str, str]


@dataclass(frozen=True)
class PlanSheet:
    """Planned watts [W at the PSE output] of each port in the steady cases, by (unit, printed port).

    A port that feeds a unit has its normal running: standby where local AC carries that unit. None: can't be worked
    out, as neither watts nor class are declared or the cable can't carry them. `facts` has the rest of what the plan
    says of each port, and `kept` what `plan_now` works out once: it holds for this site alone.
    """

    site: Site
    watts: Mapping[PortId, ByCase]
    facts: Mapping[PortId, PortFacts] = field(default_factory=dict, repr=False, compare=False)
    kept: _Kept = field(default_factory=lambda: _Kept({}, {}, {}), init=False, repr=False, compare=False)

    def first_plan(self, now: Case) -> Mapping[PortId, PortPlan]:
        """Return each port's plan in a case while every feed is spare; of a device's port it holds always."""
        plans = self.kept.plans.get(now)
        if plans is None:
            plans = {port: _plan(by_case, now) for port, by_case in self.watts.items()}
            self.kept.plans[now] = plans
        return plans


@dataclass(frozen=True)
class _Kept:
    """What does not change while the site is the same: plans by case; of units that feed none, sums by case."""

    plans: dict[Case, Mapping[PortId, PortPlan]]
    sums: dict[str, ByCase]
    on_feed: dict[str, ByCase]


def plan_sheet(site: Site, tree: Tree) -> PlanSheet:
    """Work out the sheet of a site."""
    watts: dict[PortId, ByCase] = {}
    for name, unit in site.units.items():
        for key, port in unit.ports.items():
            if port.hangs is None:
                watts[name, key] = dict.fromkeys(STEADY_CASES, 0.0)
            else:
                watts[name, key] = {case: planned_port_w(site, tree, name, key, case).pse_w for case in STEADY_CASES}
    facts = {(name, key): port_facts(site, name, key) for name, key in watts}
    return PlanSheet(site, watts, facts)


def plan_now(sheet: PlanSheet, tree: Tree, feeds: Mapping[str, Carrying], now: Case) -> dict[PortId, PortPlan]:
    """Return each port's plan for the legs as they stand: what each unit's feed carries is in `feeds`, by unit.

    A feed that carries is planned with the whole unit below it; its largest case has every unit below on its feed
    too, for that is steady as well. One of which nothing is known is planned at standby now, with that largest case.
    """
    plans = dict(sheet.first_plan(now))
    outputs: dict[str, ByCase] = {}
    on_feeds: dict[str, ByCase] = {}
    for name in tree.order():
        if not tree.children(name):
            outputs[name] = on_feeds[name] = _sums(sheet, name)
            continue
        sums: dict[Case, float | None] = dict.fromkeys(STEADY_CASES, 0.0)
        largest: dict[Case, float | None] = dict.fromkeys(STEADY_CASES, 0.0)
        for key, port in sheet.site.units[name].ports.items():
            by_case = largest_by_case = sheet.watts[name, key]
            below = port.feeds_unit
            if below is not None and below in outputs:
                largest_by_case = _on_feed(sheet, tree, below, on_feeds[below])
                largest_w = _plan(largest_by_case, now).max_w
                carrying = feeds.get(below, Carrying.UNKNOWN)
                if carrying in (Carrying.ALL, Carrying.PART):
                    by_case = _on_feed(sheet, tree, below, outputs[below])
                if carrying is not Carrying.NONE:
                    plans[name, key] = PortPlan(by_case[now], _larger(largest_w, by_case[now]))
            for case in STEADY_CASES:
                sums[case] = _add(sums[case], by_case[case])
                largest[case] = _add(largest[case], largest_by_case[case])
        outputs[name], on_feeds[name] = sums, largest
    return plans


def _sums(sheet: PlanSheet, name: str) -> ByCase:
    """Return the sums of a unit that feeds none, by case: the same in every state of the legs."""
    sums = sheet.kept.sums.get(name)
    if sums is None:
        found: dict[Case, float | None] = dict.fromkeys(STEADY_CASES, 0.0)
        for key in sheet.site.units[name].ports:
            for case in STEADY_CASES:
                found[case] = _add(found[case], sheet.watts[name, key][case])
        sums = sheet.kept.sums[name] = found
    return sums


def _on_feed(sheet: PlanSheet, tree: Tree, unit: str, outputs: ByCase) -> ByCase:
    never_changes = outputs is sheet.kept.sums.get(unit)
    known = sheet.kept.on_feed.get(unit) if never_changes else None
    if known is not None:
        return known
    found = {
        case: None if outputs_w is None else feeder_w(sheet.site, tree, unit, outputs_w)
        for case, outputs_w in outputs.items()
    }
    if never_changes:
        sheet.kept.on_feed[unit] = found
    return found


def _plan(by_case: ByCase, now: Case) -> PortPlan:
    known = [watts for watts in by_case.values() if watts is not None]
    return PortPlan(by_case[now], max(known) if len(known) == len(by_case) else None)


def _larger(largest_w: float | None, now_w: float | None) -> float | None:
    return largest_w if largest_w is None or now_w is None else max(largest_w, now_w)


def _add(total: float | None, watts: float | None) -> float | None:
    return None if total is None or watts is None else total + watts
