"""The maintenance sheet as one HTML paper, with the one-line diagram while the work goes on."""

from __future__ import annotations

from portdraw.powerflow.failure_study import base_state, solution_after
from portdraw.powerflow.load import planned_load
from portdraw.reporting.studies.maintenance import MaintenanceSheet
from portdraw.reporting.studies.maintenance_words import (
    STANDING_RULES,
    dangers_alike,
    forbidden,
    headline,
    own_words,
)
from portdraw.reporting.studies.paper import PaperHead, paper_html
from portdraw.reporting.studies.power_diagram import power_diagrams
from portdraw.reporting.studies.study_words import WHEN

TITLE = "Maintenance sheet"
NAMES_SHOWN = 500


def sheet_html(sheet: MaintenanceSheet, head: PaperHead) -> str:
    """Return the paper."""
    case, _ = sheet.row.worst
    base = base_state(sheet.network, planned_load(sheet.network, case))
    return paper_html(
        "maintenance.html",
        head,
        TITLE,
        sheet=sheet,
        headline=headline(sheet),
        own=own_words(sheet, NAMES_SHOWN),
        forbidden=forbidden(sheet),
        rules=STANDING_RULES,
        dangers=list(dangers_alike(sheet)),
        diagrams=power_diagrams(solution_after(base, sheet.row.failure), f"While it is off, {WHEN[case]}"),
    )
