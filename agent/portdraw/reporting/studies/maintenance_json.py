"""The maintenance sheet for programs."""

from __future__ import annotations

from typing import Any

from portdraw.reporting.studies.cautions import STUDY_CAUTION
from portdraw.reporting.studies.failure_json import FORMAT, result_document
from portdraw.reporting.studies.maintenance import MaintenanceSheet
from portdraw.reporting.studies.maintenance_words import STANDING_RULES, forbidden, headline


def sheet_document(sheet: MaintenanceSheet) -> dict[str, Any]:
    """Return the sheet as plain dictionaries and lists."""
    return {
        "format": FORMAT,
        "kind": "portdraw maintenance sheet",
        "site": sheet.site.site.name,
        "action": sheet.action,
        "failure": sheet.row.what,
        "findings": sheet.findings,
        "headline": headline(sheet),
        "dead_when_all_off": list(sheet.dead_when),
        "not_to_be_done": [*forbidden(sheet), *STANDING_RULES],
        "loads": [{"load": case.value, **result_document(result)} for case, result in sheet.row.results],
        "if_it_fails_meanwhile": [
            {
                "failure": danger.failure.what,
                "kind": danger.failure.kind.value,
                "dark_because_of_the_work": list(danger.more),
                "loads": [
                    {"load": case.value, "dark_because_of_the_work": list(more), **result_document(result)}
                    for case, result, more in danger.cases
                ],
            }
            for danger in sheet.dangers
        ],
        "caution": STUDY_CAUTION,
    }
