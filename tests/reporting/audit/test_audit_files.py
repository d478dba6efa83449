"""What is written: page, tables, document. Nothing overwritten, nothing run, nothing fetched, EMULATED everywhere."""

from __future__ import annotations

import csv
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest
from tests.reporting.audit.small_site import START_S, day_audit

from portdraw.reporting.audit.audit import Audit
from portdraw.reporting.audit.audit_csv import events_csv, losses_csv, ports_csv, units_csv
from portdraw.reporting.audit.audit_files import AuditFileError, write_audit
from portdraw.reporting.audit.audit_html import audit_html
from portdraw.reporting.audit.audit_json import audit_json
from portdraw.reporting.audit.audit_rows import AuditEvent, AuditFinding, Weight
from portdraw.reporting.audit.charts import scale_top, unit_chart
from portdraw.reporting.audit.folded import folded

SCRIPT = "<script>alert(1)</script><img src=x onerror=alert(2)>\"'"


@pytest.fixture(scope="module")
def audit(tmp_path_factory: pytest.TempPathFactory) -> Audit:
    """The audit of a day of an emulated site."""
    return day_audit(tmp_path_factory.mktemp("history"), emulated=True)


class Tags(HTMLParser):
    """Collects tags, attributes and texts as a browser would see them."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def parsed(page: str) -> Tags:
    """Return the page as a parser of the standard library sees it."""
    tags = Tags()
    tags.feed(page)
    return tags


def test_names_from_outside_do_nothing(audit: Audit) -> None:
    """Device, label, place, site, port and sentences with a script in them: shown as text, run nowhere."""
    ports = tuple(
        replace(
            row, hangs=SCRIPT, label=SCRIPT, kind=SCRIPT, port=SCRIPT, findings=(AuditFinding(Weight.ACT, SCRIPT),)
        )
        for row in audit.ports
    )
    event = AuditEvent(SCRIPT, SCRIPT, SCRIPT, START_S, None, SCRIPT)
    units = tuple(replace(row, place=SCRIPT) for row in audit.units)
    page = audit_html(replace(audit, site=SCRIPT, ports=ports, units=units, events=(event,), assumptions=(SCRIPT,)))
    tags = parsed(page)
    assert "script" not in tags.tags
    assert "img" not in tags.tags
    assert not [name for name, _ in tags.attributes if name.startswith("on")]
    assert any("<script>alert(1)</script>" in text for text in tags.texts)


def test_nothing_is_fetched_from_elsewhere(audit: Audit) -> None:
    """Self-contained: no address in any attribute that loads something, no import in the style."""
    page = audit_html(audit)
    tags = parsed(page)
    assert not [value for name, value in tags.attributes if name in ("src", "href", "data", "action", "poster")]
    assert "@import" not in page
    assert "url(" not in page


def test_the_page_says_what_was_found(audit: Audit) -> None:
    """Figures and findings of the small site, in words."""
    text = " ".join(" ".join(parsed(audit_html(audit)).texts).split())
    for expected in (
        "3 findings to act on and 4 to look at.",
        "Unplanned device: delivering for 2 h 0 min, up to 6.0 W.",
        "Above plan for 12 h 0 min: up to 13.6 W, planned 12.5 W.",
        "On PoE feed: over by 6.1 W, of 17.5 W.",
        "Local AC lost at 2026-03-02 10:00; it returned at 2026-03-02 11:00, after 60 min.",
        "loss of circuit pier-7",
        "As drawn, 95th percentile: pier budget on PoE feed, 23.6 W of 17.5 W: short 6.1 W; pier-sign and "
        "unplanned device at pier port 5 go dark.",
        "1.3 standing by",
        "24.4 carrying",
        "Test before you touch.",
    ):
        assert expected in text


def test_a_page_of_a_period_that_was_not_wholly_read_denies_nothing(audit: Audit) -> None:
    """Shares are said alike everywhere, and what lacks a little is not said to be all."""
    units = tuple(replace(row, coverage_percent=99.7) for row in audit.units)
    ports = tuple(replace(row, coverage_percent=62.0, findings=()) for row in audit.ports)
    page = audit_html(replace(audit, coverage_percent=62.0, units=units, ports=ports, events=()))
    text = " ".join(" ".join(parsed(page).texts).split())
    assert "None was raised in what was read (62 % of the period)." in text
    assert text.count("As planned, so far as read.") == len(ports)
    assert "As planned. " not in text
    assert text.count("over 99 %") == len(units)
    assert "100 %" not in text


def test_a_return_that_was_not_seen_is_so_in_page_table_and_document(audit: Audit) -> None:
    event = replace(audit.events[0], last_seen_s=START_S + 10.5 * 3600, ended_seen=False)
    one = replace(audit, events=(event,))
    text = " ".join(" ".join(parsed(audit_html(one)).texts).split())
    assert "when next read, last seen so 2026-03-02 10:30 between 30 min and 60 min" in text
    (row,) = csv.DictReader(events_csv(one).splitlines())
    assert (row["lasted_s"], row["at_most_s"], row["end_seen"]) == ("1800", "3600", "no, between")
    assert row["last_seen"].startswith("2026-03-02T10:30")
    (told,) = json.loads(audit_json(one))["events"]
    assert (told["last_seen"], told["ended_seen"]) == (row["last_seen"], False)


def test_what_is_the_same_of_many_places_is_one_line() -> None:
    """54 ports that were hardly read are one thing to look at."""
    little = AuditFinding(Weight.LOOK, "Read for less than 1 % of the period only.")
    other = AuditFinding(Weight.ACT, "Power was denied: the alarm came up once.")
    lines = folded([("core", other), *((f"core port {number}", little) for number in range(1, 55))])
    assert lines == [
        ("core", other),
        ("54 places: core port 1, core port 2, core port 3, core port 4, core port 5 and 49 more", little),
    ]


def test_every_file_of_an_emulated_site_says_so(audit: Audit) -> None:
    """Page (on every printed page, by the margin box), tables on every line, document."""
    page = audit_html(audit)
    assert re.search(r"@top-left \{ content: \"EMULATED", page)
    assert "<title>EMULATED" in page
    for text in (ports_csv(audit), units_csv(audit), losses_csv(audit), events_csv(audit)):
        rows = list(csv.DictReader(text.splitlines()))
        assert rows
        assert {row["source"] for row in rows} == {"EMULATED"}
    assert json.loads(audit_json(audit))["emulated"] is True
    real = replace(audit, emulated=False)
    assert not any("EMULATED" in text for text in (audit_html(real), ports_csv(real), audit_json(real)))


def test_charts_are_well_formed_and_painted_by_attributes(audit: Audit) -> None:
    """Checked by an XML parser; no class or style, which some renderers ignore inside a drawing."""
    pictures = re.findall(r"<svg xmlns.*?</svg>", audit_html(audit), flags=re.DOTALL)
    assert len(pictures) == len(audit.units) + len(audit.ports)
    for picture in pictures:
        for element in ElementTree.fromstring(picture).iter():
            assert not {"class", "style"} & set(element.attrib)
            if element.tag.endswith(("rect", "text")):
                assert "fill" in element.attrib
            if element.tag.endswith("line"):
                assert "stroke" in element.attrib


def test_a_unit_without_readings_has_a_chart_that_says_so(audit: Audit) -> None:
    """Unknown is drawn as unknown."""
    unit = next(row for row in audit.units if row.unit == "pier")
    assert "no readings" in unit_chart(replace(unit, days=()))
    gap = replace(unit.days[0], p50_w=None, p95_w=None, max_w=None)
    assert ">?</text>" in unit_chart(replace(unit, days=(gap,)))


@pytest.mark.parametrize(
    ("watts", "top"), [(0, 1), (0.7, 0.8), (4.0, 5), (44.9, 50), (100, 100), (440, 500), (620, 800)]
)
def test_scales_are_round(watts: float, top: float) -> None:
    """By hand."""
    assert scale_top(watts) == pytest.approx(top)


def test_csv_has_the_figures_and_runs_no_formula(audit: Audit) -> None:
    """RFC 4180 as the csv module reads it; a label that begins as a formula does is text."""
    ports = tuple(replace(row, label='=HYPERLINK("http://x")') for row in audit.ports)
    rows = list(csv.DictReader(ports_csv(replace(audit, ports=ports)).splitlines()))
    row = next(row for row in rows if (row["unit"], row["port"]) == ("pier", "1"))
    assert (row["planned_max_w"], row["p50_w"], row["p95_w"], row["max_w"]) == ("12.5", "7", "13.6", "13.6")
    assert row["max_at"] == "2026-03-02T12:00:00.000+00:00"
    assert row["label"] == '\'=HYPERLINK("http://x")'
    unplanned = next(row for row in rows if row["port"] == "5")
    assert (unplanned["planned"], unplanned["planned_max_w"]) == ("no", "")


def test_csv_and_json_have_the_next_losses(audit: Audit) -> None:
    """Loss of pier-7, by hand: 23.6 W drawn and 16.5 W planned, of (25.5 - 6.5) x 0.92 = 17.48 W on the feed."""
    rows = [row for row in csv.DictReader(losses_csv(audit).splitlines()) if row["loss"] == "circuit pier-7"]
    assert [(row["load"], row["need_w"], row["limit_w"], row["result"]) for row in rows] == [
        ("drawn p95", "23.6", "17.48", "short 6.1 W"),
        ("drawn max", "23.6", "17.48", "short 6.1 W"),
        ("planned frost night", "16.5", "17.48", "fits, 1 W to spare"),
    ]
    losses = json.loads(audit_json(audit))["losses"]
    assert losses["planned_case"] == "frost night"
    assert losses["rows"][0]["what"] == "circuit pier-7"  # the worst first
    assert losses["rows"][0]["drawn_p95"]["need_w"] == pytest.approx(23.6)


def test_json_has_null_for_unknown_and_times_with_offset(audit: Audit) -> None:
    """As any JSON reader sees it."""
    document = json.loads(audit_json(audit))
    assert (document["format"], document["kind"], document["first_day"]) == (1, "portdraw audit", "2026-03-02")
    assert document["from"] == "2026-03-02T00:00:00.000+00:00"
    port = next(row for row in document["ports"] if (row["unit"], row["port"]) == ("pier", "5"))
    assert port["planned_max_w"] is None
    assert port["findings"][0]["weight"] == "to act on"


def test_no_file_is_overwritten(audit: Audit, tmp_path: Path) -> None:
    """A second audit gets a number; a single file in the way moves the whole set on."""
    first = write_audit(audit, tmp_path / "out", "audit")
    kept = {path: path.read_bytes() for path in first}
    assert {path.name for path in first} == {
        "audit.html",
        "audit.json",
        "audit-ports.csv",
        "audit-units.csv",
        "audit-losses.csv",
        "audit-events.csv",
    }
    (tmp_path / "out" / "audit-2.json").write_text("mine")
    second = write_audit(audit, tmp_path / "out", "audit")
    assert {path.name for path in second if path.suffix == ".html"} == {"audit-3.html"}
    assert {path: path.read_bytes() for path in first} == kept
    assert (tmp_path / "out" / "audit-2.json").read_text() == "mine"


def test_a_folder_that_cannot_be_written(audit: Audit, tmp_path: Path) -> None:
    """One sentence."""
    (tmp_path / "file").write_text("x")
    with pytest.raises(AuditFileError, match="can't be written to") as caught:
        write_audit(audit, tmp_path / "file" / "out", "audit")
    assert "\n" not in str(caught.value)
