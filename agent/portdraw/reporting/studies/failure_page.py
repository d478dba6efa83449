"""The failure study as one HTML paper, with the one-line diagram of normal running and of the worst failure."""

from __future__ import annotations

from types import SimpleNamespace

from portdraw.plan.load_case import Case
from portdraw.powerflow.failure_study import FailureStudy, solution_after
from portdraw.reporting.studies.failure_words import alike, count_of, fine_by_kind, fine_words, more_words
from portdraw.reporting.studies.paper import PaperHead, paper_html
from portdraw.reporting.studies.power_diagram import power_diagrams
from portdraw.reporting.studies.site_study import FailureRow, Grade, SiteStudy
from portdraw.reporting.studies.study_words import (
    GRADE_TITLES,
    WHEN,
    capital,
    dark_names,
    limit_words,
    may_names,
    mend_case_words,
    mend_title,
    minutes_words,
    normal_words,
    nothing_mends_words,
    promise_words,
    verdict_words,
    worst_words,
)

TITLE = "Failure study"
NAMES_SHOWN = 500
ASSUMED_SHOWN = 60

WORDS = SimpleNamespace(
    verdict=verdict_words,
    limit=limit_words,
    minutes=minutes_words,
    more=lambda row: more_words(row, NAMES_SHOWN),
    capital=capital,
    mend_title=mend_title,
    mend_case=mend_case_words,
    nothing_mends=nothing_mends_words,
    dark=dark_names,
    may=may_names,
    count=count_of,
)


def failures_html(study: SiteStudy, head: PaperHead) -> str:
    """Return the paper."""
    heaviest = heaviest_case(study)
    solved = dict(study.studies)
    worst_row = next((row for row in study.rows if row.finding), None)
    judged = [
        (grade, rows)
        for grade in (Grade.BREAKS, Grade.MAY_BREAK, Grade.OVERLOADS, Grade.USES_MARGIN, Grade.SHEDS)
        if (rows := [row for row in study.rows if row.grade is grade and row is not worst_row])
    ]
    assumed = study.assumed()
    more = [f"and {len(assumed) - ASSUMED_SHOWN} more; --json lists all."] if len(assumed) > ASSUMED_SHOWN else []
    return paper_html(
        "failures.html",
        head,
        TITLE,
        study=study,
        words=WORDS,
        normal=normal_words(study),
        worst=worst_words(study),
        loads=", ".join(case.value for case in study.cases),
        promise=promise_words(study).removeprefix("Promise: "),
        normal_diagrams=power_diagrams(solved[heaviest].base.likely, f"Normal running, {heaviest.value}"),
        worst_row=worst_row,
        worst_diagrams=() if worst_row is None else _after(worst_row, solved),
        judged=judged,
        titles=GRADE_TITLES,
        darkens=Grade.DARKENS,
        listed=list(alike([row for row in study.rows if row.grade is Grade.DARKENS])),
        fine_grade=Grade.FINE,
        fine=fine_by_kind(study),
        fine_lines=list(fine_words(study)),
        reasons=study.reasons(),
        assumed=[*assumed[:ASSUMED_SHOWN], *more],
    )


def heaviest_case(study: SiteStudy) -> Case:
    """Return the load under which the most is drawn in normal running."""
    return max(study.studies, key=lambda pair: sum(unit.sum_likely_w for unit in pair[1].load.units))[0]


def _after(row: FailureRow, solved: dict[Case, FailureStudy]) -> object:
    case, _ = row.worst
    title = f"{capital(row.what)}, {WHEN[case]}"
    return power_diagrams(solution_after(solved[case].base, row.failure), title)
