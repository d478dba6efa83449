"""Legs that are one further up, as findings of the plan."""

from __future__ import annotations

from portdraw.plan.finding import Finding, FindingSeverity
from portdraw.plan.site import Site
from portdraw.powerflow.load import worst_steady_load
from portdraw.powerflow.network import network_of
from portdraw.powerflow.redundancy import Grade, false_redundancy

_SEVERITY = {
    Grade.FALSE: FindingSeverity.WARNING,
    Grade.TIME_LIMITED: FindingSeverity.NOTICE,
    Grade.INCOMER_ONLY: FindingSeverity.NOTICE,
}


def meeting_findings(site: Site) -> list[Finding]:
    """Return where legs of a unit meet, the worst first; minutes are at the largest declared steady watts."""
    network = network_of(site)
    return [
        Finding(_SEVERITY[met.grade], met.unit or met.meets_at, f"{met.grade.value}: {met.sentence}")
        for met in false_redundancy(network, worst_steady_load(network))
    ]
