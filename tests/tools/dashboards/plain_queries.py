"""Every question of the dashboards as plain PromQL, for a dashboard server that does not read the JSON model."""

from __future__ import annotations

from typing import Any

# what a dashboard fills in, and what stands for it here: every site, every unit, the hour before
FILLED_IN = {
    'site="$site"': 'site=~".+"',
    'unit=~"$unit|"': 'unit=~".*"',
    'unit=~"$unit"': 'unit=~".+"',
    'unit="$unit"': 'unit=~".+"',
    "$__range": "1h",
}


def filled_in(expr: str) -> str:
    """Return an expression without a dashboard's variables."""
    for name, value in FILLED_IN.items():
        expr = expr.replace(name, value)
    return expr


def plain_queries(*documents: dict[str, Any]) -> list[dict[str, str]]:
    """Return title, unit and expression of each query; what stands on both pages has one title and comes once."""
    found: dict[str, dict[str, str]] = {}
    for document in documents:
        for panel in document["panels"]:
            for target in panel.get("targets", ()):
                expr = filled_in(target["expr"])
                if "portdraw_" in expr:
                    title, unit = _title(panel, target)
                    found.setdefault(title, {"title": title, "unit": unit, "expr": expr})
    return list(found.values())


def _title(panel: dict[str, Any], target: dict[str, Any]) -> tuple[str, str]:
    """Return the panel's title, with the column where it has several queries, and the unit."""
    config = panel["fieldConfig"]
    title, unit = panel["title"], config["defaults"].get("unit", "none")
    if panel["type"] == "table":
        names = _renamed(panel)
        column = names.get(f"Value #{target['refId']}") or names.get("Value")
        if column is None:
            return title, "none"
        for override in config["overrides"]:
            if override["matcher"]["options"] == column:
                unit = next((one["value"] for one in override["properties"] if one["id"] == "unit"), "none")
        return f"{title}: {column}", unit
    legend = target.get("legendFormat", "")
    if len(panel["targets"]) > 1 and "{{" not in legend:
        title = f"{title}: {legend}"
    return title, unit


def _renamed(panel: dict[str, Any]) -> dict[str, str]:
    names: dict[str, str] = {}
    for transformation in panel["transformations"]:
        names |= transformation["options"].get("renameByName", {})
    return names
