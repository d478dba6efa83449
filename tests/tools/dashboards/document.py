"""A dashboard as the JSON text that is committed: numbered panels, one form, alike at every run."""

from __future__ import annotations

import json
from typing import Any

from grafana_foundation_sdk.builders import dashboard as build
from grafana_foundation_sdk.cog.encoder import JSONEncoder
from grafana_foundation_sdk.cog.plugins import register_default_plugins
from grafana_foundation_sdk.models import dashboard as model
from tests.tools.dashboards.site_dashboard import site_dashboard
from tests.tools.dashboards.unit_dashboard import unit_dashboard

TAG = "portdraw"


def _page(title: str, uid: str, says: str) -> build.Dashboard:
    link = (
        build.DashboardLink("site and unit")
        .type(model.DashboardLinkType.DASHBOARDS)
        .tags([TAG])
        .include_vars(True)
        .keep_time(True)
    )
    return (
        build.Dashboard(title)
        .uid(uid)
        .description(says)
        .tags([TAG])
        .time("now-24h", "now")
        .refresh("30s")
        .timezone("browser")
        .tooltip(model.DashboardCursorSync.CROSSHAIR)
        .annotations([])
        .link(link)
    )


def _text(page: build.Dashboard) -> str:
    made = page.build()
    for number, panel in enumerate(made.panels or [], 1):
        panel.id_val = number
    return json.dumps(json.loads(JSONEncoder().encode(made)), indent=1, ensure_ascii=False) + "\n"


def site_document() -> str:
    """Return the site's dashboard."""
    says = "One site's PoE: what is wrong, which leg carries, what fails next, how long, how near, how sure."
    return _text(site_dashboard(_page("PoE: the site", "portdraw-site", says)))


def unit_document() -> str:
    """Return the unit's dashboard."""
    says = "One unit: both legs, both budgets, and each port against its plan."
    return _text(unit_dashboard(_page("PoE: one unit", "portdraw-unit", says)))


def through_the_model(document: dict[str, Any]) -> dict[str, Any]:
    """Return what is left of a dashboard after the published model has read and written it."""
    register_default_plugins()
    read: dict[str, Any] = json.loads(JSONEncoder().encode(model.Dashboard.from_json(document)))
    return read
