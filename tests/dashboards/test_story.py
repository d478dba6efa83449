"""Every question of the dashboards and every rule, asked of a real Prometheus that scraped the rehearsal site."""

from __future__ import annotations

import re
from typing import Any

import promql_parser
import pytest
from tests.dashboards.documents import ALERTS, DASHBOARDS, RECORDS, TARGETS, Target, columns, selectors
from tests.dashboards.rehearsed import STORY, Rehearsed
from tests.tools.dashboards.alert_rules import OWN
from tests.tools.dashboards.variables import UNIT_LIST

from portdraw.judgement.alarm import AlarmKind, Severity

SITE = "Skarholm ferry terminal EMULATED"
UNITS = (
    "core",
    "north-pier",
    "breakwater",
    "berth-1",
    "berth-2",
    "entry-lanes",
    "exit-lanes",
    "ticket-hall",
    "waiting-room",
)
# values that a label may have by the code, whether or not the story brings them
BY_CODE: dict[str, set[str]] = {"kind": set(AlarmKind), "severity": set(Severity)}


def filled(expr: str, unit: str) -> str:
    """Return an expression with what a dashboard would fill in; several units as its regular expression."""
    for name, value in (("$site", SITE), ("$unit", unit), ("$zone", ".*"), ("$__range", "1m")):
        expr = expr.replace(name, value)
    assert not re.search(r"\$[a-z_]", expr), expr
    return expr


def rows_of(story: Rehearsed, target: Target) -> list[dict[str, Any]]:
    """Return what a query brings: over all units at once, or on the unit's page over one after the other."""
    choices = UNITS if target.dashboard == "unit" else (f"({'|'.join(UNITS)})",)
    return [row for unit in choices for row in story.ask(filled(target.query["expr"], unit))]


@pytest.mark.parametrize("target", TARGETS, ids=lambda target: target.name)
def test_a_query_brings_something_with_the_labels_that_are_shown(story: Rehearsed, target: Target) -> None:
    rows = rows_of(story, target)
    assert rows
    there = {label for row in rows for label in row["metric"]}
    assert set(re.findall(r"\{\{\s*(\w+)\s*\}\}", target.query.get("legendFormat", ""))) <= there


@pytest.mark.parametrize("name", DASHBOARDS)
def test_every_column_is_a_label_or_a_value_of_its_table(story: Rehearsed, name: str) -> None:
    for panel in DASHBOARDS[name]["panels"]:
        if panel["type"] != "table":
            continue
        targets = [target for target in TARGETS if target.dashboard == name and target.panel is panel]
        there = {label for target in targets for row in rows_of(story, target) for label in row["metric"]}
        values = {"Value"} if len(targets) == 1 else {f"Value #{target.query['refId']}" for target in targets}
        assert set(columns(panel)) <= there | values, panel["title"]
        # no query for nothing: only the first may bring labels alone
        assert values <= set(columns(panel)) | {"Value", "Value #A"}, panel["title"]


@pytest.mark.parametrize("name", DASHBOARDS)
def test_the_queries_of_a_table_merge_into_one_row_each(story: Rehearsed, name: str) -> None:
    """Rows are merged by the labels that all queries of the table have: no query may bring two rows for one."""
    for panel in DASHBOARDS[name]["panels"]:
        if panel["type"] != "table":
            continue
        for unit in UNITS if name == "unit" else (f"({'|'.join(UNITS)})",):
            frames = [story.ask(filled(query["expr"], unit)) for query in panel["targets"]]
            told = [{label for row in rows for label in row["metric"]} for rows in frames if rows]
            by = sorted(set.intersection(*told)) if told else []
            for rows in frames:
                keys = [tuple(row["metric"].get(label, "") for label in by) for row in rows]
                assert len(set(keys)) == len(keys), panel["title"]


@pytest.mark.parametrize("name", DASHBOARDS)
def test_every_choice_has_values(story: Rehearsed, name: str) -> None:
    for variable in DASHBOARDS[name]["templating"]["list"]:
        if variable["type"] == "query":
            found = re.fullmatch(r"label_values\((.+), (\w+)\)", variable["query"])
            assert found, variable["query"]
            assert story.prometheus.label_values(filled(found[1], ""), found[2]), variable["name"]


def test_the_units_follow_the_zone(story: Rehearsed) -> None:
    found = re.fullmatch(r"label_values\((.+), unit\)", UNIT_LIST)
    assert found
    in_zone = found[1].replace("$site", SITE).replace("$zone", "(pier)")
    assert set(story.prometheus.label_values(in_zone, "unit")) == {"north-pier", "breakwater"}
    assert set(story.prometheus.label_values(filled(found[1], ""), "unit")) == set(UNITS)


def test_the_page_says_what_the_story_did(story: Rehearsed) -> None:
    """Breaker 7 has tripped: north-pier and breakwater stand on their feeds, all others on local AC."""
    by_name = {target.name: target for target in TARGETS}
    carriers = rows_of(story, by_name["site: Which leg carries each unit A"])
    on_feed = {row["metric"]["unit"] for row in carriers if row["value"][1] == "2"}
    assert on_feed == {"north-pier", "breakwater"}
    assert {row["metric"]["unit"] for row in carriers if row["value"][1] == "1"} == set(UNITS) - on_feed
    legs = rows_of(story, by_name["site: Legs A"])
    lost = {(row["metric"]["unit"], row["metric"]["leg"]) for row in legs if row["metric"]["availability"] == "lost"}
    assert lost == {("north-pier", "ac"), ("breakwater", "ac")}
    assert len(legs) == 2 * len(UNITS) - 1  # the core has one leg
    ranks = rows_of(story, by_name["site: Alarms that are up A"])
    ages = rows_of(story, by_name["site: Alarms that are up B"])
    assert len(ranks) == len(ages) >= len(STORY)
    assert all(row["metric"]["place"] for row in ages)


@pytest.mark.parametrize("name", RECORDS)
def test_a_record_is_kept(story: Rehearsed, name: str) -> None:
    assert story.ask(name)


@pytest.mark.parametrize("name", [*ALERTS, *RECORDS])
def test_every_selector_of_a_rule_finds_series(story: Rehearsed, name: str) -> None:
    """Its figures and labels are there; a value that the code knows counts as there, though the story lacks it."""
    rule = ALERTS.get(name) or RECORDS[name]
    found = selectors(rule["expr"])
    assert found
    for selector in found:
        matchers = {matcher.name: matcher.value for matcher in selector.matchers.matchers}
        rows = story.ask(_text(selector.name, matchers))
        if not rows:
            for label in BY_CODE:
                if label in matchers:
                    assert matchers.pop(label) in BY_CODE[label]
            rows = story.ask(_text(selector.name, matchers))
        assert rows, selector.prettify()


def _text(name: str | None, matchers: dict[str, str]) -> str:
    inside = ",".join(f'{label}="{value}"' for label, value in matchers.items())
    return f"{name}{{{inside}}}"


@pytest.mark.parametrize("name", [*ALERTS, *RECORDS])
def test_every_label_of_a_rule_is_there(story: Rehearsed, name: str) -> None:
    """Labels by which it groups or joins, and those its sentences name."""
    rule = ALERTS.get(name) or RECORDS[name]
    named = {
        label.strip() for group in re.findall(r"\b(?:by|on) \(([^)]*)\)", rule["expr"]) for label in group.split(",")
    }
    named |= set(re.findall(r"\$labels\.(\w+)", str(rule.get("annotations", ""))))
    there = {"job", "instance"}
    for selector in selectors(rule["expr"]):
        there |= {label for row in story.ask(str(selector.name)) for label in row["metric"]}
    assert named <= there


def test_what_the_story_tells_is_alarmed_on(story: Rehearsed) -> None:
    rows = story.ask('ALERTS{alertstate="firing"}')
    firing = {(row["metric"]["alertname"], row["metric"].get("unit", "")) for row in rows}
    assert firing >= STORY
    severities = {row["metric"]["severity"] for row in rows}
    assert severities <= set(Severity)


# how late anything is depends on how busy this machine is
LATE = ("polls-late", "cycle-late")
# the ferry terminal is not safe at night, nor by design: that is what its story tells
STANDING = ("next-failure-unsafe-later",)
WELL = [rule for rule in OWN if rule.name not in (*LATE, *STANDING)]


@pytest.mark.parametrize("rule", WELL, ids=lambda rule: rule.name)
def test_nothing_else_is_made_up(story: Rehearsed, rule: Any) -> None:
    """The agent is well, and every next failure is worked out: none of the second group has anything to say."""
    promql_parser.parse(rule.expr)
    assert story.ask(rule.expr) == []


def test_what_is_unsafe_later_is_told(story: Rehearsed) -> None:
    (rule,) = [rule for rule in OWN if rule.name in STANDING]
    told = {(row["metric"]["failure"], row["metric"]["load"]) for row in story.ask(rule.expr)}
    assert told == {("all local AC without a generator", load) for load in ("tonight", "design")}
