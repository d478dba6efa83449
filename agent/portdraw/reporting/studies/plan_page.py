"""The plan's papers as one HTML paper: one-line diagram, load schedule, margins, port schedule, findings."""

from __future__ import annotations

import math
from itertools import groupby
from types import SimpleNamespace

from portdraw.plan.load_case import Case
from portdraw.plan.planned_load import STEADY, Sum, Verdict
from portdraw.powerflow.failure import all_unbacked_ac
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.network import network_of
from portdraw.powerflow.solve import solve
from portdraw.powerflow.state import NOTHING_OUT
from portdraw.reporting.load_schedule import assumptions, exceeded, not_judged, unpowered
from portdraw.reporting.studies.limit_margins import MarginCell, Mark
from portdraw.reporting.studies.margins_not_kept import not_promised
from portdraw.reporting.studies.paper import PaperHead, paper_html
from portdraw.reporting.studies.plan_tables import PlanPapers, class_words, unit_title
from portdraw.reporting.studies.power_diagram import power_diagrams
from portdraw.reporting.studies.study_words import percent

TITLE = "Power plan"
_MARKS = {Verdict.FITS: "", Verdict.MARGIN_USED: " *", Verdict.OVER: " !", Verdict.UNKNOWN: " ?"}


def plan_html(papers: PlanPapers, head: PaperHead) -> str:
    """Return the paper."""
    schedule = papers.schedule
    network = network_of(papers.site)
    frost = planned_load(network, Case.FROST_NIGHT)
    everything = all_unbacked_ac(network)
    after = (
        ()
        if everything is None
        else power_diagrams(solve(network, frost, everything.outage), "All local AC lost, frost night")
    )
    units = {unit.unit: unit for unit in schedule.units}
    return paper_html(
        "plan.html",
        head,
        TITLE,
        papers=papers,
        schedule=schedule,
        cases=list(Case),
        steady=STEADY,
        stands=papers.stand,
        exceeded=[*exceeded(schedule), *(one.sentence for one in papers.not_kept)],
        not_promised=not_promised(papers.site, papers.margins),
        unpowered=list(unpowered(schedule)),
        assumed=assumptions(schedule),
        not_judged=not_judged(schedule),
        normal_diagrams=power_diagrams(solve(network, frost, NOTHING_OUT), "Normal running, frost night"),
        after_diagrams=after,
        ports=[
            (unit_title(units[name]), list(rows)) for name, rows in groupby(papers.ports, key=lambda row: row.unit)
        ],
        words=SimpleNamespace(cell=_cell, sum=_sum, watts=_watts, kind=class_words),
    )


def _cell(cell: MarginCell) -> tuple[str, str]:
    """Return a margin's share with its mark, and its watts."""
    found = cell.found
    if found is None:
        return ("dark" if cell.dark else "-", "")
    if cell.mark is Mark.UNKNOWN or not math.isfinite(found.share) or not math.isfinite(found.need_w):
        return ("?" if cell.mark is Mark.UNKNOWN else "over !", "")
    return (f"{percent(found.share)} {cell.mark.value}".rstrip(), f"{found.need_w:.1f} of {found.limit_w:.1f}")


def _sum(total: Sum, limit_w: float | None, margin_percent: float, case: Case) -> str:
    """Return a sum with its mark: * uses the margin, ! over, ? can't be said."""
    held = total.held_against(limit_w, margin_percent if case in STEADY else 0.0)
    lower = ">" if total.missing else ""
    return f"{lower}{total.watts:.1f}{_MARKS[held]}"


def _watts(watts: float | None) -> str:
    return "?" if watts is None else f"{watts:.1f}"
