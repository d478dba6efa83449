"""The committed dashboards and rules, read from their files, with what the tests ask of them."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import promql_parser
import yaml
from tests.tools.dashboards.outputs import FOLDER

SITE: dict[str, Any] = json.loads((FOLDER / "site.json").read_text(encoding="utf-8"))
UNIT: dict[str, Any] = json.loads((FOLDER / "unit.json").read_text(encoding="utf-8"))
DASHBOARDS = {"site": SITE, "unit": UNIT}
RULE_FILES = {path.stem: yaml.safe_load(path.read_text(encoding="utf-8")) for path in (FOLDER / "rules").iterdir()}
RULES: list[dict[str, Any]] = [
    rule for document in RULE_FILES.values() for group in document["groups"] for rule in group["rules"]
]
ALERTS = {rule["alert"]: rule for rule in RULES if "alert" in rule}
RECORDS = {rule["record"]: rule for rule in RULES if "record" in rule}


@dataclass(frozen=True)
class Target:
    """One query of a panel."""

    dashboard: str
    panel: dict[str, Any]
    query: dict[str, Any]

    @property
    def name(self) -> str:
        """Dashboard, panel and letter, for people."""
        return f"{self.dashboard}: {self.panel['title']} {self.query['refId']}"


def panels(dashboard: str) -> list[dict[str, Any]]:
    """Return the panels that are not headings, in their order."""
    return [panel for panel in DASHBOARDS[dashboard]["panels"] if panel["type"] != "row"]


TARGETS = [Target(name, panel, query) for name in DASHBOARDS for panel in panels(name) for query in panel["targets"]]


def columns(panel: dict[str, Any]) -> dict[str, str]:
    """Return the fields that a table shows, with their titles; nothing for another panel."""
    found: dict[str, str] = {}
    for transformation in panel.get("transformations", ()):
        found |= transformation["options"].get("renameByName", {})
    return found


def selectors(expr: str) -> list[promql_parser.VectorSelector]:
    """Return every vector selector of an expression. Raises ValueError where it is no PromQL."""
    return list(_selectors(promql_parser.parse(expr)))


def _selectors(node: Any) -> Iterator[promql_parser.VectorSelector]:
    if isinstance(node, promql_parser.VectorSelector):
        yield node
        return
    for name in ("expr", "lhs", "rhs", "param", "vector_selector", "vs"):
        part = getattr(node, name, None)
        if isinstance(part, promql_parser.Expr):
            yield from _selectors(part)
    if isinstance(node, promql_parser.Call):
        for part in node.args:
            yield from _selectors(part)
