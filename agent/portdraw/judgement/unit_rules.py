"""Conditions of a unit's budget: into its margin, or over. The budget is that of the leg that carries now."""

from __future__ import annotations

from portdraw.judgement.alarm import AlarmKind
from portdraw.judgement.alarm_rule import ALARM_RULES
from portdraw.judgement.assessment import Availability, Carrying, SiteAssessment, UnitAssessment
from portdraw.judgement.condition import Condition, Presence, unjudged
from portdraw.judgement.legs import LOCAL_AC, POE_FEED
from portdraw.judgement.unit_legs import leg_of
from portdraw.judgement.wording import limit_text, place_text, watts_text
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree


def budget_conditions(assessment: SiteAssessment, unit: UnitAssessment, site: Site, tree: Tree) -> list[Condition]:
    """Return the budget conditions of a unit; a draw that is known only in part proves too much, never enough."""
    near, over = AlarmKind.UNIT_NEAR_BUDGET, AlarmKind.UNIT_OVER_BUDGET
    if unit.draw_w is None or unit.budget_w is None:
        return [unjudged(near, unit.unit), unjudged(over, unit.unit)]
    margin_percent = _margin_percent(assessment, unit, site, tree)
    margin_limit_w = unit.budget_w * (1 - margin_percent / 100)
    is_over = _presence(unit, over, unit.budget_w)
    is_near = _presence(unit, near, margin_limit_w)
    if is_over is Presence.PRESENT:
        is_near = Presence.DEAD_BAND  # one alarm is enough: the lesser one begins none, and stays if it is up
    who = place_text(unit.unit, unit.place)
    on = _on(unit)
    found = []
    if is_over is not None:
        found.append(
            Condition(
                over,
                unit.unit,
                None,
                head=f"{who} has been over its budget",
                tail=f": it gives {watts_text(unit.draw_w)}, {watts_text(unit.draw_w - unit.budget_w)} more than "
                f"the {limit_text(unit.budget_w)} it may give{on}."
                if unit.draw_w > unit.budget_w
                else f": it gives {watts_text(unit.draw_w)} of the {limit_text(unit.budget_w)} it may give{on}.",
                presence=is_over,
                value=unit.draw_w,
                limit=unit.budget_w,
                measure="W",
            )
        )
    if is_near is not None:
        kept_w = unit.budget_w - margin_limit_w
        found.append(
            Condition(
                near,
                unit.unit,
                None,
                head=f"{who} has been into its margin",
                tail=f": it gives {watts_text(unit.draw_w)} of the {limit_text(unit.budget_w)} it may give{on}; "
                f"{margin_percent:g} % of that ({limit_text(kept_w)}) is to be kept free.",
                presence=is_near,
                value=unit.draw_w,
                limit=margin_limit_w,
                measure="W",
            )
        )
    return found


def _presence(unit: UnitAssessment, kind: AlarmKind, limit_w: float) -> Presence | None:
    """Return how the condition stands, None where it is surely not there."""
    if unit.draw_w is None:
        return Presence.UNKNOWN
    if unit.draw_w > limit_w:
        return Presence.PRESENT
    if not unit.draw_complete:
        return Presence.UNKNOWN
    return Presence.DEAD_BAND if unit.draw_w > ALARM_RULES[kind].clear_below_w(limit_w) else None


def _margin_percent(assessment: SiteAssessment, unit: UnitAssessment, site: Site, tree: Tree) -> float:
    """Return the margin to keep: the lesser one while this unit, or one that it feeds, is without its local AC."""
    touched = [unit, *(found for name in tree.children(unit.unit) if (found := assessment.unit(name)) is not None)]
    for one in touched:
        ac = leg_of(one, LOCAL_AC)
        if ac is not None and ac.availability is Availability.LOST:
            return site.policy.margin_after_failure_percent
    return site.policy.margin_percent


def _on(unit: UnitAssessment) -> str:
    if len(unit.legs) < 2:
        return ""
    for name in (POE_FEED, LOCAL_AC):
        leg = leg_of(unit, name)
        if leg is not None and leg.carrying is Carrying.ALL:
            return f" on {name}"
    return " on the lesser of its two legs"
