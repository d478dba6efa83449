"""The papers as pages: they say what the result says, fetch nothing, and hostile texts do nothing in them."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest
from tests.powerflow.sites import device, feed, ferry_terminal, site, unit
from tests.reporting.studies.papers import HEAD, HOSTILE, Page

from portdraw.plan.planned_load import STEADY
from portdraw.plan.structure import check_structure
from portdraw.plan.tree import Tree
from portdraw.reporting.planned_watts import planned_loads
from portdraw.reporting.studies.cautions import CAUTIONS
from portdraw.reporting.studies.failure_page import failures_html
from portdraw.reporting.studies.limit_margins import limit_margins
from portdraw.reporting.studies.maintenance import maintenance_sheet
from portdraw.reporting.studies.maintenance_page import sheet_html
from portdraw.reporting.studies.paper import GENERATOR, PaperError, paper_head, write_paper
from portdraw.reporting.studies.plan_page import plan_html
from portdraw.reporting.studies.plan_tables import PlanPapers
from portdraw.reporting.studies.port_schedule import port_rows
from portdraw.reporting.studies.site_study import study_site

FERRY = ferry_terminal()
TREE = Tree(FERRY)
SCHEDULE = planned_loads(FERRY, TREE)
PAPERS = PlanPapers(
    FERRY, SCHEDULE, check_structure(FERRY, TREE), limit_margins(FERRY), tuple(port_rows(FERRY, SCHEDULE))
)
HOSTILE_SITE = site(
    {
        "head": unit("main", {"1": feed("far", label=HOSTILE), "2": device("head-cam")}, fed=None, place=HOSTILE),
        "far": unit("side", {"1": device("far-cam", priority="critical", label="\"'><b>x</b>")}),
    },
    site={"name": HOSTILE},
    policy={"must_survive": {"all_unbacked_ac": {"criticality_up_to": 3, "minutes": 5}}},
)


def pages() -> dict[str, str]:
    study = study_site(FERRY)
    sheet = maintenance_sheet(FERRY, "switch off north-pier", STEADY)
    return {
        "failures": failures_html(study, HEAD),
        "plan": plan_html(PAPERS, HEAD),
        "maintenance": sheet_html(sheet, HEAD),
    }


PAGES = pages()


def test_the_failure_study_says_what_the_result_says() -> None:
    words = Page(PAGES["failures"]).words
    study = study_site(FERRY)
    for row in study.rows:
        if row.grade.name == "BREAKS":
            for _, result in row.results:
                for name in result.dark:
                    assert name in words
    assert "Normal running looks comfortable: core 20 %, no unit above 62 %." in words
    assert "core budget: 460.4 of 440 W (105 %), 20.4 W short" in words
    assert "core: a third module of 220 W, from ups-a (660 W together)" in words


def test_the_plan_has_a_line_for_every_port_and_every_limit() -> None:
    words = Page(PAGES["plan"]).words
    for row in PAPERS.ports:
        assert row.port.hangs in words
    for limit in PAPERS.margins:
        assert limit.limit in words
    assert "core, all feeds carrying, night: 460.4 W of 440 W (105 %), 20.4 W short." in words


def test_the_maintenance_sheet_names_both_legs_and_what_must_not_go() -> None:
    words = Page(PAGES["maintenance"]).words
    assert "local AC: circuit pier-7, panel P2, breaker 7; keeper: harbour electrician, ext. 204" in words
    assert "PoE feed: core port 1" in words
    assert "Do not switch off circuit pier-7: breakwater-cam," in words


@pytest.mark.parametrize("name", PAGES)
def test_every_paper_has_its_cautions_its_hash_and_is_one_file(name: str) -> None:
    page = Page(PAGES[name])
    assert page.closed
    assert page.inert
    for caution in CAUTIONS:
        assert caution in page.words
    assert "ab" * 32 in page.words
    assert "2027-01-15" in page.words  # 1,800,000,000 s after the epoch


def test_hostile_texts_are_shown_and_do_nothing() -> None:
    tree = Tree(HOSTILE_SITE)
    schedule = planned_loads(HOSTILE_SITE, tree)
    papers = PlanPapers(
        HOSTILE_SITE, schedule, [], limit_margins(HOSTILE_SITE), tuple(port_rows(HOSTILE_SITE, schedule))
    )
    head = paper_head(HOSTILE_SITE.site.name, Path(__file__), 0.0, "UTC", HOSTILE)
    made = (
        failures_html(study_site(HOSTILE_SITE), head),
        plan_html(papers, head),
        sheet_html(maintenance_sheet(HOSTILE_SITE, f"switch off {'far'}", STEADY), head),
    )
    for text in made:
        page = Page(text)
        assert page.inert
        assert page.closed
        assert "b" not in page.tags
        assert HOSTILE in page.words


@pytest.mark.parametrize("name", PAGES)
def test_drawings_are_well_formed(name: str) -> None:
    text = PAGES[name]
    found = [part.partition("</svg>")[0] + "</svg>" for part in text.split("<svg")[1:]]
    assert found
    for part in found:
        ElementTree.fromstring("<svg" + part)


def test_a_paper_is_written_over_a_paper_only(tmp_path: Path) -> None:
    file = tmp_path / "site.yaml"
    file.write_text("format: 1")
    with pytest.raises(PaperError, match="no paper of portdraw"):
        write_paper(PAGES["plan"], file)
    assert file.read_text() == "format: 1"
    paper = tmp_path / "plan.html"
    write_paper(PAGES["plan"], paper)
    write_paper(PAGES["failures"], paper)
    assert paper.read_text(encoding="utf-8") == PAGES["failures"]
    assert GENERATOR in PAGES["failures"][:4096]
    with pytest.raises(PaperError, match="can't be written"):
        write_paper(PAGES["plan"], tmp_path / "none" / "plan.html")
    with pytest.raises(PaperError, match="is no file"):
        write_paper(PAGES["plan"], tmp_path)
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".portdraw")] == []
