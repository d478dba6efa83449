"""The failure study for programs. Names of figures end in their unit; null is unknown or without end."""

from __future__ import annotations

import math
from typing import Any

from portdraw.powerflow.failure_result import FailureResult
from portdraw.powerflow.limit_state import LimitState
from portdraw.powerflow.site_mend import SiteMend
from portdraw.reporting.studies.cautions import STUDY_CAUTION
from portdraw.reporting.studies.site_study import FailureRow, SiteStudy
from portdraw.reporting.studies.study_words import normal_words, promise_words, worst_words

FORMAT = 1


def failures_document(study: SiteStudy) -> dict[str, Any]:
    """Return the study as plain dictionaries and lists, worst failure first."""
    return {
        "format": FORMAT,
        "kind": "portdraw failure study",
        "site": study.site.site.name,
        "loads": [case.value for case in study.cases],
        "findings": study.findings,
        "margin_percent": study.margin_percent,
        "margin_after_failure_percent": study.margin_after_percent,
        "headline": [*normal_words(study), *(line.strip() for line in worst_words(study))],
        "promise": promise_words(study),
        "normal": [
            {
                "load": normal.case.value,
                "dark": list(normal.dark),
                "may_be_dark": list(normal.may_be_dark),
                "limits": [limit_document(found) for found in normal.limits],
            }
            for normal in study.normal
        ],
        "failures": [_row(row) for row in study.rows],
        "mends": [{"failure": row.what, "proposals": [_mend(mend) for mend in mends]} for row, mends in study.mends],
        "reasons": list(study.reasons()),
        "assumed": list(study.assumed()),
        "caution": STUDY_CAUTION,
    }


def limit_document(found: LimitState | None) -> dict[str, Any] | None:
    """Return a limit with its figures, None for none."""
    if found is None:
        return None
    return {
        "subject": found.subject,
        "limit": found.limit,
        "drawn_w": rounded(found.drawn_w),
        "booked_w": rounded(found.booked_w),
        "limit_w": rounded(found.limit_w),
        "used_percent": rounded(found.share * 100),
        "short_w": rounded(found.short_w),
        "over": found.over,
        "reason": found.reason or None,
    }


def rounded(value: float | None) -> float | None:
    """Return a figure to three places, None where it is unknown or not finite."""
    return None if value is None or not math.isfinite(value) else round(value, 3)


def _row(row: FailureRow) -> dict[str, Any]:
    return {
        "failure": row.what,
        "kind": row.failure.kind.value,
        "subject": row.failure.subject,
        "grade": row.grade.name.lower().replace("_", " "),
        "finding": row.finding,
        "generators_carry_after_s": row.failure.start_s if row.failure.after is not None else None,
        "loads": [{"load": case.value, **result_document(result)} for case, result in row.results],
    }


def result_document(result: FailureResult) -> dict[str, Any]:
    """Return what one failure does under one load."""
    return {
        "outcome": result.verdict.outcome.value,
        "outcome_reasons": list(result.verdict.reasons),
        "not_judged": list(result.verdict.alone),
        "dark": list(result.dark),
        "may_go_dark": list(result.may_go_dark),
        "stays": list(result.stays),
        "dark_units": list(result.dark_units),
        "unreachable_but_powered": list(result.unreachable),
        "degraded_units": list(result.degraded),
        "moved_to_other_leg": list(result.moved),
        "on_one_leg": list(result.on_one_leg),
        "restart_on_the_way": list(result.restarts),
        "may_restart_on_the_way": list(result.may_restart),
        "worst_limit": limit_document(result.worst),
        "limits_over": [limit_document(found) for found in result.over],
        "margin_used": result.margin_used,
        "battery": result.battery or None,
        "battery_minutes": rounded(result.minutes),
        "reasons": list(result.reasons),
        "assumed": list(result.assumed),
    }


def _mend(mend: SiteMend) -> dict[str, Any]:
    return {
        "unit": mend.unit,
        "changes": list(mend.changes),
        "mends": mend.mends,
        "notes": list(mend.notes),
        "loads": [
            {
                "load": case.case.value,
                "need_w": rounded(case.need_w),
                "limit_w": rounded(case.limit_w),
                "kept": list(case.kept),
                "newly_dark": list(case.newly_dark),
                **result_document(case.after),
            }
            for case in mend.cases
        ],
    }
