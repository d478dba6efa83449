"""An assessment with what fails next: the failures, the standing findings, and the headline that tells of them."""

from __future__ import annotations

from dataclasses import replace

from portdraw.judgement.assessment import SiteAssessment
from portdraw.judgement.failure_rules import standing_findings
from portdraw.judgement.headline import headline
from portdraw.judgement.look_ahead import Ahead


def foreseen(assessment: SiteAssessment, ahead: Ahead) -> SiteAssessment:
    """Return the assessment with what was studied from it."""
    told = replace(
        assessment,
        next_failures=ahead.failures,
        more_failures=ahead.more,
        tonight_rests_on=ahead.tonight_rests_on,
        findings=standing_findings(ahead.failures, ahead.tonight_rests_on),
    )
    return replace(told, headline=headline(told))
