"""Margins of every limit and the port schedule, against the worked example."""

from __future__ import annotations

import json

import pytest
from tests.powerflow.sites import ferry_terminal
from tests.references.reference_table import rows

from portdraw.plan.load_case import Case
from portdraw.plan.structure import check_structure
from portdraw.plan.tree import Tree
from portdraw.reporting.planned_watts import planned_loads
from portdraw.reporting.studies.limit_margins import Mark, PowerState, limit_margins
from portdraw.reporting.studies.plan_json import plan_document
from portdraw.reporting.studies.plan_tables import PlanPapers, plan_text
from portdraw.reporting.studies.port_schedule import port_rows

FERRY = ferry_terminal()
TREE = Tree(FERRY)
SCHEDULE = planned_loads(FERRY, TREE)
MARGINS = limit_margins(FERRY)
PORTS = tuple(port_rows(FERRY, SCHEDULE))
PAPERS = PlanPapers(FERRY, SCHEDULE, check_structure(FERRY, TREE), MARGINS, PORTS)


@pytest.mark.parametrize("row", [pytest.param(row, id=row["unit"]) for row in rows("ferry_terminal_units.csv")])
def test_unit_margins_of_a_frost_night(row: dict[str, str]) -> None:
    """Both budgets and what is asked of them, to the worked example's printed digit."""
    cells = {
        (cell.state, cell.case): cell for cell in next(one for one in MARGINS if one.subject == row["unit"]).cells
    }
    usual = cells[PowerState.NORMAL, Case.FROST_NIGHT].found
    after = cells[PowerState.AC_LOST, Case.FROST_NIGHT].found
    assert usual is not None
    assert after is not None
    assert f"{usual.need_w:.1f}" == f"{float(row['out_w']):.1f}"
    assert f"{usual.limit_w:.1f}" == f"{float(row['budget_w']):.1f}"
    assert f"{after.need_w:.1f}" == f"{float(row['asked_w']):.1f}"
    assert f"{after.limit_w:.1f}" == f"{float(row['fed_budget_w']):.1f}"


def test_the_core_is_over_without_ac_and_easy_without_feeds() -> None:
    core = next(row for row in MARGINS if row.limit == "core budget")
    marks = {(cell.state, cell.case): cell.mark for cell in core.cells}
    assert marks[PowerState.AC_LOST, Case.TYPICAL] is Mark.KEPT
    assert marks[PowerState.AC_LOST, Case.NIGHT] is Mark.OVER
    assert marks[PowerState.FEED_LOST, Case.NIGHT] is Mark.KEPT
    assert [cell.case for cell in core.broken()] == [Case.NIGHT, Case.FROST_NIGHT]


def test_every_limit_is_there_once() -> None:
    """Nine budgets, two limits a feed, one UPS, five circuits."""
    assert len({(row.subject, row.limit) for row in MARGINS}) == len(MARGINS) == 9 + 2 * 8 + 1 + 5


@pytest.mark.parametrize("row", [pytest.param(row, id=row["unit"]) for row in rows("ferry_terminal_units.csv")])
def test_a_feed_in_the_port_schedule(row: dict[str, str]) -> None:
    """Volts and watts at the far end of each feed, to the worked example's printed digit."""
    feed = next(one for one in PORTS if one.port.hangs == row["unit"])
    assert feed.pd_v is not None
    assert f"{feed.pd_v:.1f}" == row["pd_v"]
    assert f"{feed.pd_carrying_w[Case.FROST_NIGHT]:.1f}" == row["feed_pd_w"]


def test_text_fits_and_has_a_line_for_every_port() -> None:
    text = plan_text(PAPERS)
    assert max(map(len, text.splitlines())) <= 100
    for row in PORTS:
        assert any(line.startswith(row.port.port) and row.port.hangs in line for line in text.splitlines())
    assert "15.0/20.0/30.0" in text  # the ptz by day, at night, on a frost night, at its input


def test_json_has_margins_and_ports() -> None:
    document = json.loads(json.dumps(plan_document(PAPERS), allow_nan=False))
    core = next(row for row in document["margins"] if row["limit"] == "core budget")
    night = next(one for one in core["states"] if (one["state"], one["load"]) == ("AC lost", "night"))
    assert night["figures"]["drawn_w"] == pytest.approx(460.419, abs=0.001)
    assert night["stands"] == "over"
    assert len(document["port_schedule"]) == len(PORTS)
