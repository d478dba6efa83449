"""The load schedule of the ferry terminal, as printed and as JSON, against the worked example."""

from __future__ import annotations

import json
import re
from io import StringIO

import pytest
from rich.console import Console
from tests.plan.samples import SMALL, changed
from tests.powerflow.sites import ferry_terminal
from tests.references.reference_table import rows

from portdraw.plan.finding import Finding
from portdraw.plan.load_case import Case
from portdraw.plan.loader import parse_site
from portdraw.plan.planned_load import LoadSchedule
from portdraw.plan.site import Site
from portdraw.plan.structure import check_structure
from portdraw.plan.tree import Tree
from portdraw.reporting.load_schedule import CAUTION, exceeded, print_schedule, schedule_text, stands, unpowered
from portdraw.reporting.load_schedule_json import schedule_json
from portdraw.reporting.planned_watts import planned_loads


def worked_out(site: Site) -> tuple[LoadSchedule, list[Finding]]:
    tree = Tree(site)
    return planned_loads(site, tree), check_structure(site, tree)


SCHEDULE, FINDINGS = worked_out(ferry_terminal())
UNITS = {unit.unit: unit for unit in SCHEDULE.units}


def printed(watts: float | None, like: str) -> str:
    """Return watts with as many digits as the worked example prints."""
    assert watts is not None
    return f"{watts:.{len(like.partition('.')[2])}f}"


@pytest.mark.parametrize("row", [pytest.param(row, id=row["unit"]) for row in rows("ferry_terminal_units.csv")])
def test_frost_night_to_the_printed_digit(row: dict[str, str]) -> None:
    unit = UNITS[row["unit"]]
    assert printed(unit.normal[Case.FROST_NIGHT].watts, row["out_w"]) == row["out_w"]
    assert printed(unit.budget_on_ac_w, row["budget_w"]) == row["budget_w"]
    assert printed(unit.carrying[Case.FROST_NIGHT].watts, row["asked_w"]) == row["asked_w"]
    assert printed(unit.budget_on_feed_w, row["fed_budget_w"]) == row["fed_budget_w"]
    feeder, _, port = (unit.fed_by or "").partition(" port ")
    carrying = next(one for one in UNITS[feeder].ports if one.port == port).carrying_w[Case.FROST_NIGHT]
    assert printed(carrying, row["feeder_w"]) == row["feeder_w"]


@pytest.mark.parametrize("row", [pytest.param(row, id=row["case"]) for row in rows("ferry_terminal_core.csv")])
def test_core_and_ups(row: dict[str, str]) -> None:
    case = Case(row["case"])
    assert printed(UNITS["core"].normal[case].watts, row["normal_w"]) == row["normal_w"]
    assert printed(UNITS["core"].carrying[case].watts, row["all_lost_w"]) == row["all_lost_w"]
    ups = next(source for source in SCHEDULE.sources if source.kind == "UPS")
    assert printed(ups.normal[case].watts, row["ups_before_w"]) == row["ups_before_w"]


def test_result_of_the_ferry_terminal() -> None:
    assert list(exceeded(SCHEDULE)) == [
        "core, all feeds carrying, night: 460.4 W of 440 W (105 %), 20.4 W short.",
        "core, all feeds carrying, frost night: 562.2 W of 440 W (128 %), 122.2 W short.",
    ]
    assert list(unpowered(SCHEDULE)) == []
    assert not stands(SCHEDULE, FINDINGS)


def test_plain_text_fits_a_hundred_columns() -> None:
    text = schedule_text(SCHEDULE, FINDINGS)
    assert max(map(len, text.splitlines())) <= 100
    assert "\x1b" not in text
    assert re.search(r"^north-pier +2 +24\.8 +29\.0 +36\.8 +34\.7 +53\.6 +90 W +local AC$", text, re.M)
    assert re.search(r"^core +1 +410\.3 +460\.4! +562\.2! ", text, re.M)
    assert " ".join(text.split()).endswith(CAUTION)


def test_narrow_terminal_is_no_error() -> None:
    page = StringIO()
    print_schedule(Console(file=page, width=40, force_terminal=True), SCHEDULE, FINDINGS)
    assert "north-pier" in page.getvalue()


def test_json_has_the_same_figures() -> None:
    data = json.loads(json.dumps(schedule_json(SCHEDULE, FINDINGS)))
    core = next(unit for unit in data["units"] if unit["unit"] == "core")
    assert core["all_feeds_carrying"]["frost night"] == {"watts": 562.181, "missing": []}
    assert core["ports"][0]["hangs"] == "north-pier"
    assert data["stands"] is False
    assert len(data["exceeded"]) == 2


def test_a_plan_that_fits_says_so() -> None:
    schedule, findings = worked_out(parse_site(SMALL))
    assert stands(schedule, findings)
    assert "The plan fits its limits with the margins kept." in schedule_text(schedule, findings)


def test_a_load_that_cannot_be_powered_is_told() -> None:
    text = changed("{length_m: 20, conductor: copper}", "{length_m: 2000, conductor: copper, series_ohm: 90}")
    schedule, findings = worked_out(parse_site(text))
    assert not stands(schedule, findings)
    shown = schedule_text(schedule, findings)
    assert "Can't be powered as drawn: winch-house port 2: no operating point" in shown
    assert "winch-house, normal running, typical: can't be said; what lacks is winch-house port 2." in shown
    assert re.search(r"^winch-house +1 +>", shown, re.M)


def test_margins_are_told() -> None:
    schedule, findings = worked_out(parse_site(changed("budget_w: 30", "budget_w: 10")))
    assert list(exceeded(schedule)) == [
        "slip, normal running, night: 9.1 W of 10 W (91 %); the margin of 20 % is not kept.",
        "slip, normal running, frost night: 9.1 W of 10 W (91 %); the margin of 20 % is not kept.",
    ]
    assert not stands(schedule, findings)


def test_a_load_above_its_class_is_told_once_for_its_port() -> None:
    schedule, findings = worked_out(parse_site(changed("typical_w: 6, night_w: 9", "typical_w: 60")))
    shown = " ".join(schedule_text(schedule, findings).partition("\nStructure")[2].split())
    for place in ("winch-house port 2", "slip port 1"):
        assert f"warning: {place}: typical_w 60 W is above the 12.95 W that class 3 allows." in shown
        assert shown.count(f"Can't be powered as drawn: {place}:") == 1
    assert shown.count("slip, normal running") == 1
    assert "Also: " in shown
    calm = schedule_text(*worked_out(parse_site(SMALL)))
    assert "Also: " not in calm
    assert "allows" not in calm


def test_what_the_failure_study_judges_is_told_where_declared() -> None:
    # the ferry terminal declares both and no generator
    kept = "must_survive and battery_wh are not judged here: `portdraw failures` does."
    assert kept in schedule_text(SCHEDULE, FINDINGS)
    assert schedule_json(SCHEDULE, FINDINGS)["not_judged"] == kept
    schedule, findings = worked_out(parse_site(SMALL))
    assert "portdraw failures" not in schedule_text(schedule, findings)
    assert schedule_json(schedule, findings)["not_judged"] is None


def test_a_unit_that_feeds_itself_has_no_figures() -> None:
    schedule, findings = worked_out(parse_site(changed("feeds: slip,", "feeds: winch-house,")))
    shown = schedule_text(schedule, findings)
    assert "error: winch-house: one of its ports feeds the unit itself. Its figures are left out." in shown
    assert "Ports of winch-house" not in shown
    assert "Ports of slip" in shown
    assert " %)" not in shown
    assert "Ports of winch-house" in schedule_text(*worked_out(parse_site(SMALL)))


def test_long_names_stay_within_a_terminal_of_a_hundred_columns() -> None:
    text = changed("device: winch-cam,", f"device: {'w' * 80}, label: {'l' * 80},").replace("winch-house", "h" * 80)
    page = StringIO()
    schedule, findings = worked_out(parse_site(text))
    print_schedule(Console(file=page, width=100, color_system=None), schedule, findings)
    assert max(map(len, page.getvalue().splitlines())) <= 100
