"""All conditions of a site at one moment, one module a family; drift is by days."""

from __future__ import annotations

from portdraw.judgement.assessment import SiteAssessment
from portdraw.judgement.condition import Condition
from portdraw.judgement.failure_rules import failure_conditions
from portdraw.judgement.leg_rules import leg_conditions
from portdraw.judgement.memory import Memory
from portdraw.judgement.port_rules import port_conditions
from portdraw.judgement.reading_rules import reading_conditions
from portdraw.judgement.unit_rules import budget_conditions
from portdraw.judgement.unit_self import self_conditions
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree


def site_conditions(
    site: Site, tree: Tree, assessment: SiteAssessment, memory: Memory, every_s: float
) -> list[Condition]:
    """Return all conditions but drift, for the alarm book.

    `memory` is the one that came with the assessment, `every_s` the poll interval [s].
    Of a unit that is stale only its reading and its legs are judged, the legs by its feeder's port; the alarm book
    holds the rest.
    """
    found: list[Condition] = []
    for unit in assessment.units:
        found += reading_conditions(assessment, unit, memory)
        found += leg_conditions(assessment, unit, site, tree)
        if unit.stale:
            continue
        found += self_conditions(unit, memory.selves.get(unit.unit), assessment.time_s)
        found += budget_conditions(assessment, unit, site, tree)
        found += port_conditions(assessment, unit, site, memory, every_s)
    return found + failure_conditions(assessment)
