"""The files that are made: two dashboards, the same questions as plain text, and two files of rules."""

from __future__ import annotations

import json
from pathlib import Path

import yaml
from tests.tools.dashboards.alert_rules import alert_groups
from tests.tools.dashboards.document import site_document, unit_document
from tests.tools.dashboards.plain_queries import plain_queries
from tests.tools.dashboards.recording_rules import legend, recording_groups

FOLDER = Path(__file__).resolve().parent.parent.parent.parent / "dashboards"
MADE = "# Made by `python -m tests.tools.dashboards`: do not edit by hand.\n"


def outputs() -> dict[str, str]:
    """Return each file's text by its name within `dashboards/`."""
    site, unit = site_document(), unit_document()
    queries = plain_queries(json.loads(site), json.loads(unit))
    return {
        "site.json": site,
        "unit.json": unit,
        "queries.yaml": MADE
        + "# Every question of both dashboards as plain PromQL, over all sites, all units and the hour before.\n"
        + _yaml({"format": 1, "queries": queries}),
        "rules/alerts.yaml": MADE
        + "# portdraw-alarms passes the agent's own alarms on, one rule a kind, in the agent's words and severity.\n"
        + "# portdraw-own is what the agent does not alarm on by itself, its own silence first of all.\n"
        + "# keep_firing_for needs Prometheus 2.42 or newer.\n"
        + _yaml(alert_groups()),
        "rules/records.yaml": MADE
        + "# For long keeping and for questions asked often; neither dashboards nor alerts need them:\n"
        + legend()
        + _yaml(recording_groups()),
    }


def _yaml(document: object) -> str:
    return yaml.safe_dump(document, sort_keys=False, width=110, allow_unicode=True)
