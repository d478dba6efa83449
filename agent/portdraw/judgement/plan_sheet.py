"""The planned watts of every port, worked out once per site, and what they are for the legs as they stand now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from portdraw.judgement.assessment import Carrying
from portdraw.judgement.port_draw import PortPlan
from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.powerflow.port_power import planned_port_w
from portdraw.powerflow.two_legs import feeder_w

STEADY_CASES = (Case.TYPICAL, Case.NIGHT, Case.FROST_NIGHT)

ByCase = Mapping[Case, float | None]


@dataclass(frozen=True)
class PlanSheet:
    """Planned watts [W at the PSE output] of each port in the steady cases, by (unit, printed port).

    A port that feeds a unit has its normal running: standby where local AC carries that unit. None: can't be worked
    out, as neither watts nor class are declared or the cable can't carry them.
    """

    site: Site
    watts: Mapping[tuple[str, str], ByCase]


def plan_sheet(site: Site, tree: Tree) -> PlanSheet:
    """Work out the sheet of a site."""
    watts: dict[tuple[str, str], ByCase] = {}
    for name, unit in site.units.items():
        for key, port in unit.ports.items():
            if port.hangs is None:
                watts[name, key] = dict.fromkeys(STEADY_CASES, 0.0)
            else:
                watts[name, key] = {case: planned_port_w(site, tree, name, key, case).pse_w for case in STEADY_CASES}
    return PlanSheet(site, watts)


def plan_now(
    sheet: PlanSheet, tree: Tree, feeds: Mapping[str, Carrying], now: Case
) -> dict[tuple[str, str], PortPlan]:
    """Return each port's plan for the legs as they stand: what each unit's feed carries is in `feeds`, by unit.

    A feed that carries is planned with the whole unit below it; its largest case has every unit below on its feed
    too, for that is steady as well. One of which nothing is known is planned at standby now, with that largest case.
    """
    plans: dict[tuple[str, str], PortPlan] = {}
    outputs: dict[str, dict[Case, float | None]] = {}
    on_feeds: dict[str, dict[Case, float | None]] = {}
    for name in tree.order():
        sums: dict[Case, float | None] = dict.fromkeys(STEADY_CASES, 0.0)
        largest: dict[Case, float | None] = dict.fromkeys(STEADY_CASES, 0.0)
        for key, port in sheet.site.units[name].ports.items():
            by_case = largest_by_case = sheet.watts[name, key]
            below = port.feeds_unit
            plan = _plan(by_case, now)
            if below is not None and below in outputs:
                largest_by_case = _on_feed(sheet.site, tree, below, on_feeds[below])
                largest_w = _plan(largest_by_case, now).max_w
                carrying = feeds.get(below, Carrying.UNKNOWN)
                if carrying in (Carrying.ALL, Carrying.PART):
                    by_case = _on_feed(sheet.site, tree, below, outputs[below])
                if carrying is not Carrying.NONE:
                    plan = PortPlan(by_case[now], _larger(largest_w, by_case[now]))
            plans[name, key] = plan
            for case in STEADY_CASES:
                sums[case] = _add(sums[case], by_case[case])
                largest[case] = _add(largest[case], largest_by_case[case])
        outputs[name], on_feeds[name] = sums, largest
    return plans


def _on_feed(site: Site, tree: Tree, unit: str, outputs: ByCase) -> dict[Case, float | None]:
    return {
        case: None if outputs_w is None else feeder_w(site, tree, unit, outputs_w)
        for case, outputs_w in outputs.items()
    }


def _plan(by_case: ByCase, now: Case) -> PortPlan:
    known = [watts for watts in by_case.values() if watts is not None]
    return PortPlan(by_case[now], max(known) if len(known) == len(by_case) else None)


def _larger(largest_w: float | None, now_w: float | None) -> float | None:
    return largest_w if largest_w is None or now_w is None else max(largest_w, now_w)


def _add(total: float | None, watts: float | None) -> float | None:
    return None if total is None or watts is None else total + watts
