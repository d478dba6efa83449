"""The restart study as one HTML paper: courses, watts over time against each limit, changes of legs, start delays."""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace

from markupsafe import Markup

from portdraw.powerflow.failure_study import base_state, solution_after
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.restart import Restart
from portdraw.powerflow.seconds import said_s
from portdraw.reporting.studies.paper import PaperHead, paper_html
from portdraw.reporting.studies.power_diagram import power_diagrams
from portdraw.reporting.studies.restart_chart import limit_chart
from portdraw.reporting.studies.restart_study import RestartRow, SiteRestart, StepRow, row_gravity, step_gravity
from portdraw.reporting.studies.restart_tables import headline, step_bad, step_cells
from portdraw.reporting.studies.study_words import WHEN, capital

TITLE = "Restart study"
ASSUMED_SHOWN = 60
_CHARTS_WORST, _CHARTS = 6, 3
_PEAKS_SHOWN, _MOMENTS_SHOWN, _DIFFERENCES_SHOWN, _STEPS_SHOWN = 24, 60, 60, 120


@dataclass(frozen=True)
class Chart:
    """One limit over time: its name, its peak in words, and the drawing."""

    name: str
    peak: str
    over: bool
    drawing: Markup


def restarts_html(study: SiteRestart, head: PaperHead) -> str:
    """Return the paper."""
    worst = study.worst
    courses = [
        (what, [row for row in study.rows if row.what == what]) for what in dict.fromkeys(r.what for r in study.rows)
    ]
    shown = [max(rows, key=row_gravity) for _, rows in courses]
    worst_step = max(study.steps, key=lambda row: step_gravity(row.worst[1]), default=None)
    steps = [row for row in study.steps if step_bad(row) or len(study.steps) == 1]
    assumed = study.assumed
    more = [f"and {len(assumed) - ASSUMED_SHOWN} more; --json lists all."] if len(assumed) > ASSUMED_SHOWN else []
    return paper_html(
        "restart.html",
        head,
        TITLE,
        study=study,
        headline=headline(study),
        worst=worst,
        loads=", ".join(dict.fromkeys(row.case.value for row in study.rows)),
        courses=courses,
        charts=[
            (row, _charts(row.restart, _CHARTS_WORST if row is worst else _CHARTS)) for row in shown if _moves(row)
        ],
        peaks=worst.restart.peaks[:_PEAKS_SHOWN],
        peaks_more=max(0, len(worst.restart.peaks) - _PEAKS_SHOWN),
        moments=worst.restart.course.moments[:_MOMENTS_SHOWN],
        moments_more=max(0, len(worst.restart.course.moments) - _MOMENTS_SHOWN),
        differing=[row for row in study.rows if row.restart.not_as_before],
        differences_shown=_DIFFERENCES_SHOWN,
        steps=study.steps[:_STEPS_SHOWN],
        steps_more=max(0, len(study.steps) - _STEPS_SHOWN),
        step_details=[(row, *row.worst) for row in steps],
        diagrams=() if worst_step is None else _after(study, worst_step),
        mends=[(row, row.restart.mend) for row in study.rows if row.restart.mend is not None],
        assumed=[*assumed[:ASSUMED_SHOWN], *more],
        words=SimpleNamespace(
            capital=_capital, seconds=said_s, cells=step_cells, bad=step_bad, watts=_watts, share=_share, back=_back
        ),
    )


def _capital(text: str) -> str:
    """A sentence's beginning with a capital; names of units stay as they are."""
    plain_words = ("everything ", "from ", "not ", "shed ", "what ", "full ", "still ", "no ", "with ", "nothing ")
    return text[:1].upper() + text[1:] if text.startswith(plain_words) else capital(text)


def _moves(row: RestartRow) -> bool:
    """Whether anything was without power, so that there is something to draw."""
    return bool(row.restart.course.devices)


def _charts(restart: Restart, most: int) -> list[Chart]:
    course = restart.course
    found: list[Chart] = []
    for peak in restart.peaks:
        points = course.traces.get(peak.limit.limit, ())
        if len(found) == most or not points:
            continue
        said = f"peak {_watts(peak.limit.need_w)} of {_watts(peak.limit.limit_w)} W at {said_s(peak.at_s)}"
        drawing = limit_chart(peak.limit.limit, points, course.end_s)
        found.append(Chart(peak.limit.limit, said, peak.limit.over, drawing))
    return found


def _after(study: SiteRestart, row: StepRow) -> object:
    case, step = row.worst
    base = base_state(study.network, planned_load(study.network, case))
    return power_diagrams(solution_after(base, step.failure), f"{capital(row.what)} lost, {WHEN[case]}")


def _back(row: RestartRow) -> str:
    seconds = row.restart.course.full_service_s
    return "never" if seconds is None else said_s(seconds)


def _share(share: float) -> str:
    return "?" if share == float("inf") else f"{share * 100:.0f} %"


def _watts(watts: float) -> str:
    return "?" if watts == float("inf") else f"{watts:.1f}"
