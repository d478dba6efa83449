"""The committed dashboards: made by the generator, whole in the published model, and said in words."""

from __future__ import annotations

import copy
import itertools
import re
from typing import Any

import pytest
import yaml
from tests.dashboards.documents import DASHBOARDS, TARGETS, Target, columns, panels, selectors
from tests.tools.dashboards import look
from tests.tools.dashboards.document import through_the_model
from tests.tools.dashboards.outputs import FOLDER, outputs

from portdraw.judgement.alarm import AlarmKind
from portdraw.judgement.assessment import Availability, Carrying
from portdraw.observation.unit_observation import Outcome

PANELS = [(name, panel) for name in DASHBOARDS for panel in panels(name)]
NAMES = [f"{name}: {panel['title']}" for name, panel in PANELS]
CALM = {look.BLUE, look.OCHRE, look.ROSE, look.GREY, look.PLAIN, "#66AABB", "#AA88BB"}
# the order of an alarm's card: what happened, still running on what, what fails next, how long, how sure
SITE_ROWS = [
    "What is wrong now?",
    "What carries what?",
    "What fails next?",
    "How long?",
    "How near to the limit, on both legs?",
    "How sure is this?",
    "Is the agent itself well?",
]


@pytest.mark.parametrize("name", outputs())
def test_a_committed_file_is_what_the_generator_makes(name: str) -> None:
    """Mend with `python -m tests.tools.dashboards`."""
    assert (FOLDER / name).read_text(encoding="utf-8") == outputs()[name]


def test_no_file_is_there_that_nobody_makes() -> None:
    there = {str(path.relative_to(FOLDER)) for path in FOLDER.rglob("*") if path.is_file()}
    assert there == {*outputs(), "README.md"}


@pytest.mark.parametrize("name", DASHBOARDS)
def test_the_published_model_loses_nothing(name: str) -> None:
    """Field for field, through the models of the library that publishes the dashboard model."""
    assert through_the_model(copy.deepcopy(DASHBOARDS[name])) == DASHBOARDS[name]


@pytest.mark.parametrize("where", ["page", "panel", "query", "default", "option"])
def test_a_field_that_the_model_does_not_know_would_be_seen(where: str) -> None:
    document = copy.deepcopy(DASHBOARDS["site"])
    panel = next(panel for panel in document["panels"] if panel["type"] == "timeseries")
    place = {
        "page": document,
        "panel": panel,
        "query": panel["targets"][0],
        "default": panel["fieldConfig"]["defaults"],
        "option": panel["options"],
    }[where]
    place["stray"] = 1
    assert through_the_model(copy.deepcopy(document)) != document


def test_the_site_page_follows_the_card() -> None:
    rows = [panel["title"] for panel in DASHBOARDS["site"]["panels"] if panel["type"] == "row"]
    assert rows == SITE_ROWS


@pytest.mark.parametrize("name", DASHBOARDS)
def test_panels_fill_the_grid_without_overlap(name: str) -> None:
    everything = DASHBOARDS[name]["panels"]
    assert [panel["id"] for panel in everything] == list(range(1, len(everything) + 1))
    cells: set[tuple[int, int]] = set()
    for panel in everything:
        at = panel["gridPos"]
        own = set(itertools.product(range(at["x"], at["x"] + at["w"]), range(at["y"], at["y"] + at["h"])))
        assert at["x"] + at["w"] <= 24
        assert not own & cells, panel["title"]
        cells |= own
    deepest = max(y for _, y in cells)
    assert len(cells) == 24 * (deepest + 1)  # no hole


@pytest.mark.parametrize(("name", "panel"), PANELS, ids=NAMES)
def test_a_panel_says_what_to_do_with_it(name: str, panel: dict[str, Any]) -> None:
    says = panel["description"]
    assert says.endswith(".")
    assert len(says.split()) >= 12
    assert panel["fieldConfig"]["defaults"]["noValue"]  # what is not there is said, never shown as zero
    assert panel["datasource"] == {"type": "prometheus", "uid": "${datasource}"}


@pytest.mark.parametrize("name", DASHBOARDS)
def test_colours_are_the_calm_few(name: str) -> None:
    found: set[str] = set()

    def walk(node: Any) -> None:
        if isinstance(node, dict):
            for key, value in node.items():
                if key in ("color", "fixedColor") and isinstance(value, str):
                    found.add(value)
                walk(value)
        elif isinstance(node, list):
            for value in node:
                walk(value)

    walk(DASHBOARDS[name])
    assert found <= CALM


@pytest.mark.parametrize(
    ("words", "values"),
    [
        (look.AVAILABILITY, Availability),
        (look.CARRYING, Carrying),
        (look.OUTCOME, Outcome),
        (look.KINDS, AlarmKind),
    ],
    ids=["availability", "carrying", "outcome", "kind"],
)
def test_every_state_has_its_word(words: look.Words, values: Any) -> None:
    assert set(words) == {value.value for value in values}
    texts = [text for text, _ in words.values()]
    assert len(set(texts)) == len(texts)  # never told apart by colour alone


def test_states_that_are_coloured_in_numbers_have_different_words() -> None:
    for words in (look.SEVERITY, look.CARRIER, look.REST, look.COMPLETE, look.STALE, look.LEGS, look.REALITY):
        assert len({text for text, _ in words.values()}) == len(words)


@pytest.mark.parametrize("target", TARGETS, ids=lambda target: target.name)
def test_a_query_can_be_read_offline(target: Target) -> None:
    expr = target.query["expr"].replace("$__range", "1h")
    assert selectors(expr) or expr == "vector(1)"


@pytest.mark.parametrize("target", TARGETS, ids=lambda target: target.name)
def test_a_query_keeps_to_the_site_that_is_chosen(target: Target) -> None:
    """Every selector has the site, but for joins by site and for the agent, which is held to its site by instance."""
    for selector in selectors(target.query["expr"].replace("$__range", "1h")):
        labels = {matcher.name for matcher in selector.matchers.matchers}
        joined = selector.name == "portdraw_unit_info" and "on (site, unit)" in target.query["expr"]
        of_the_agent = 'on (job, instance) portdraw_emulated{site="$site"}' in target.query["expr"]
        assert "site" in labels or joined or of_the_agent, selector.prettify()


@pytest.mark.parametrize(("name", "panel"), PANELS, ids=NAMES)
def test_what_a_panel_names_is_there(name: str, panel: dict[str, Any]) -> None:
    """Overrides, sorting and columns name a column or a line of the same panel."""
    shown = set(columns(panel).values()) or {query.get("legendFormat", "") for query in panel["targets"]}
    for override in panel["fieldConfig"]["overrides"]:
        assert override["matcher"] == {"id": "byName", "options": override["matcher"]["options"]}
        assert override["matcher"]["options"] in shown
    for sorting in panel.get("options", {}).get("sortBy", ()):
        assert sorting["displayName"] in shown


def test_a_table_of_units_opens_the_unit() -> None:
    links = re.findall(r"/d/([a-z-]+)\?", (FOLDER / "site.json").read_text(encoding="utf-8"))
    assert links
    assert set(links) == {DASHBOARDS["unit"]["uid"]}


def test_plain_queries_have_names_of_their_own() -> None:
    queries = yaml.safe_load((FOLDER / "queries.yaml").read_text(encoding="utf-8"))["queries"]
    titles = [query["title"] for query in queries]
    assert len(set(titles)) == len(titles)
    assert not [query["title"] for query in queries if re.search(r"\$[a-z_]", query["expr"])]
    assert len(queries) > 30
