"""The plan's papers for programs: the load schedule with margins and the whole port schedule."""

from __future__ import annotations

from typing import Any

from portdraw.reporting.load_schedule_json import schedule_json
from portdraw.reporting.studies.failure_json import limit_document, rounded
from portdraw.reporting.studies.limit_margins import MarginRow
from portdraw.reporting.studies.plan_tables import PlanPapers
from portdraw.reporting.studies.port_schedule import PortRow


def plan_document(papers: PlanPapers) -> dict[str, Any]:
    """Return all papers as plain dictionaries and lists."""
    document = schedule_json(papers.schedule, list(papers.findings))
    caution = document.pop("caution")
    return {
        **document,
        "stands": papers.stand,
        "exceeded": [*document["exceeded"], *(one.sentence for one in papers.not_kept)],
        "margins": [_margin(row) for row in papers.margins],
        "port_schedule": [_port(row) for row in papers.ports],
        "caution": caution,
    }


def _margin(row: MarginRow) -> dict[str, Any]:
    return {
        "subject": row.subject,
        "limit": row.limit,
        "states": [
            {
                "state": cell.state.value,
                "load": cell.case.value,
                "stands": cell.mark.name.lower(),
                "dark": cell.dark,
                "figures": limit_document(cell.found),
            }
            for cell in row.cells
        ],
    }


def _port(row: PortRow) -> dict[str, Any]:
    port = row.port
    return {
        "unit": row.unit,
        "port": port.port,
        "label": port.label or None,
        "kind": port.kind,
        "hangs": port.hangs or None,
        "class": list(port.device_class) if isinstance(port.device_class, tuple) else port.device_class,
        "priority": port.priority if port.hangs else None,
        "criticality": row.criticality,
        "cable": row.cable,
        "pd_w": {case.value: rounded(watts) for case, watts in row.pd_w.items()},
        "pd_carrying_w": {case.value: rounded(watts) for case, watts in row.pd_carrying_w.items()},
        "pse_w": {case.value: rounded(watts) for case, watts in port.pse_w.items()},
        "pse_carrying_w": {case.value: rounded(watts) for case, watts in port.carrying_w.items()},
        "limit_w": rounded(row.limit_w),
        "far_end_v": rounded(row.pd_v),
        "far_end_least_v": rounded(row.least_v),
    }
