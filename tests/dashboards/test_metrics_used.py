"""The catalogue of metrics against everything that uses it, both ways."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from tests.dashboards.documents import RECORDS, RULES, TARGETS, selectors

from portdraw.reporting.metric_catalogue import BY_NAME

ROOT = Path(__file__).resolve().parent.parent.parent
# metrics that no dashboard and no rule asks for, and why they are there
NOT_ASKED_FOR: dict[str, str] = {
    "portdraw_notifications_total": "counts hints, which a site may do without: no figure of it is good or bad",
    "portdraw_unit_requests_total": "our own load on a switch, for its keeper to look up: no figure of it is bad",
    "portdraw_unit_reading_seconds_total": "the same in seconds; a slow unit says so on its page",
    "portdraw_unit_notifications_total": "the same, to find the units that send none",
}
PAPERS = [
    path
    for pattern in ("*.md", "dashboards/**/*", "deploy/**/*", "mibs/*.md")
    for path in sorted(ROOT.glob(pattern))
    if path.suffix in (".md", ".yaml", ".yml", ".json", ".service", ".sh", ".conf")
]
EXPRESSIONS = {target.name: target.query["expr"].replace("$__range", "1h") for target in TARGETS}
EXPRESSIONS |= {f"rule {rule.get('alert') or rule.get('record')}": rule["expr"] for rule in RULES}


@pytest.mark.parametrize("name", EXPRESSIONS)
def test_an_expression_asks_for_metrics_and_labels_of_the_catalogue(name: str) -> None:
    for selector in selectors(EXPRESSIONS[name]):
        assert selector.name in BY_NAME, selector.prettify()
        labels = {matcher.name for matcher in selector.matchers.matchers}
        assert labels <= set(BY_NAME[str(selector.name)].labels), selector.prettify()


def test_every_metric_is_asked_for_or_has_its_reason() -> None:
    asked = {str(selector.name) for expr in EXPRESSIONS.values() for selector in selectors(expr)}
    assert set(BY_NAME) - asked == set(NOT_ASKED_FOR)


@pytest.mark.parametrize("path", PAPERS, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_paper_names_no_metric_that_is_not_there(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert set(re.findall(r"\bportdraw_[a-z0-9_]+", text)) <= set(BY_NAME)
    assert set(re.findall(r"\bportdraw:[a-z0-9_]+:\w+", text)) <= set(RECORDS)
