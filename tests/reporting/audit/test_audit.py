"""The audit's figures against sums by hand over one day of a small site."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest
from tests.history.samples import observation, silent
from tests.reporting.audit.small_site import DAY, DAY_S, HOUR_S, START_S, STEP_S, audit_of, day_audit, one_day

from portdraw.history.store import History
from portdraw.observation.record import Basis, PortState
from portdraw.reporting.audit.audit import Audit, what_was_read
from portdraw.reporting.audit.audit_html import audit_html
from portdraw.reporting.audit.audit_rows import PortRow, UnitRow, Weight


@pytest.fixture(scope="module")
def audit(tmp_path_factory: pytest.TempPathFactory) -> Audit:
    """The audit of the day."""
    return day_audit(tmp_path_factory.mktemp("history"))


def port(audit: Audit, unit: str, key: str) -> PortRow:
    """Return a port's row."""
    return next(row for row in audit.ports if (row.unit, row.port) == (unit, key))


def unit(audit: Audit, name: str) -> UnitRow:
    """Return a unit's row."""
    return next(row for row in audit.units if row.unit == name)


def words(row: PortRow | UnitRow) -> str:
    """Return all findings of a row in one text."""
    return " ".join(finding.sentence for finding in row.findings)


def test_period(audit: Audit) -> None:
    """One whole day."""
    assert (audit.first_day, audit.last_day) == (DAY, DAY)
    assert (audit.from_s, audit.to_s) == (START_S, START_S + DAY_S)
    assert audit.coverage_percent == pytest.approx(100)


def test_a_port_above_its_plan(audit: Audit) -> None:
    """Camera: 7.0 W for 12 h, 13.6 W for 12 h; planned at night 10.4 W, at most 12.5 W, class 3 gives 15.4 W."""
    row = port(audit, "pier", "1")
    assert (row.label, row.hangs, row.kind, row.planned) == ("B-01", "pier-cam", "camera", True)
    assert row.planned_now_w == pytest.approx(10.4)  # midnight is within 20:00 to 06:30
    assert row.planned_max_w == pytest.approx(12.5)
    assert row.class_limit_w == pytest.approx(15.4)  # IEEE 802.3-2022, table 33-7 (class 3)
    assert (row.p50_w, row.p95_w, row.max_w) == (7.0, 13.6, 13.6)
    assert row.max_s == START_S + 12 * HOUR_S
    assert (row.basis, row.coverage_percent) == (Basis.MEASURED, 100)
    assert words(row) == "Above plan for 12 h 0 min: up to 13.6 W, planned 12.5 W."


def test_a_port_as_planned(audit: Audit) -> None:
    """Sign: 4.0 W as planned; cases that it does not declare are its typical one."""
    row = port(audit, "pier", "2")
    assert (row.p50_w, row.p95_w, row.max_w, row.planned_max_w) == (4.0, 4.0, 4.0, 4.0)
    assert row.findings == ()


def test_an_unplanned_device(audit: Audit) -> None:
    """Port 5 is not in the plan and delivered for the last two hours."""
    row = port(audit, "pier", "5")
    assert (row.planned, row.planned_now_w, row.planned_max_w) == (False, None, None)
    assert [finding.weight for finding in row.findings] == [Weight.ACT]
    assert words(row) == "Unplanned device: delivering for 2 h 0 min, up to 6.0 W."
    assert row.coverage_percent == pytest.approx(100 * 2 / 24)


def test_a_feed_that_carried(audit: Audit) -> None:
    """18.5 W for one hour is more than the pier's own use of 6.5 W: the feed carried."""
    row = port(audit, "core", "1")
    assert row.planned_now_w == pytest.approx(1.3)  # standby over a cable without length
    # carrying: 6.5 + 16.5 / 0.92 W at most
    assert row.planned_max_w == pytest.approx(1.3)
    assert row.planned_carrying_max_w == pytest.approx(6.5 + 16.5 / 0.92)
    assert words(row) == "Carried pier for 60 min, up to 18.5 W."
    assert not [item for item in audit.unseen if item.what == "PoE feed"]


def test_a_unit_against_both_budgets(audit: Audit) -> None:
    """Pier: 11.0 W until noon, 17.6 W to 22:00, then 23.6 W.

    On AC 30 W, of which 24 are to be used: 0.4 W above the margin. On the feed (25.5 - 6.5) x 0.92 = 17.48 W
    (IEEE 802.3-2022: class 4 is 25.5 W at the PD): over by 6.1 W.
    """
    row = unit(audit, "pier")
    assert (row.p50_w, row.p95_w, row.max_w) == (11.0, 23.6, 23.6)
    assert row.max_s == START_S + 22 * HOUR_S
    assert row.on_ac is not None
    assert row.on_feed is not None
    assert row.on_ac.budget_w == pytest.approx(30)
    assert row.on_ac.words == "fits, 0.4 W above the margin"
    assert row.on_ac.max_share == pytest.approx(23.6 / 30)
    assert row.on_feed.budget_w == pytest.approx(17.48)
    assert (row.on_feed.words, row.on_feed.weight) == ("over by 6.1 W", Weight.ACT)
    assert row.planned_max_w == pytest.approx(16.5)
    assert [(day.day, day.p50_w, day.p95_w, day.max_w) for day in row.days] == [(DAY, 11.0, 23.6, 23.6)]


def test_the_core_has_no_feed(audit: Audit) -> None:
    """A unit that no other feeds has one leg."""
    row = unit(audit, "core")
    assert row.on_feed is None
    assert row.on_ac is not None
    assert row.on_ac.words == "fits, 61.5 W above the margin"  # 80 - 18.5


def test_local_ac_lost_is_an_event_and_a_finding(audit: Audit) -> None:
    """From when the condition was first seen to when it had gone."""
    event = next(event for event in audit.events if event.kind == "local-ac-lost")
    assert (event.from_s, event.to_s) == (START_S + 10 * HOUR_S, START_S + 11 * HOUR_S)
    found = [finding.sentence for where, finding in audit.findings() if where == "pier"]
    assert "Local AC lost at 2026-03-02 10:00; it returned at 2026-03-02 11:00, after 60 min." in found


def test_findings_come_with_the_weightiest_first(audit: Audit) -> None:
    """To act on, to look at, to know."""
    weights = [list(Weight).index(finding.weight) for _, finding in audit.findings()]
    assert weights == sorted(weights)
    # the visitor, the pier over its budget on the feed, and the loss of its circuit
    assert audit.count(Weight.ACT) == 3


def test_what_was_not_seen(audit: Audit) -> None:
    """The camera reached its frost watts, so nothing is said of frost; night was read."""
    assert audit.unseen == ()


def test_nothing_read_says_nothing_good(tmp_path: Path) -> None:
    """No reading: no figure, no "as planned", no "fits"."""
    history = History.open(tmp_path, "Atlantic/Faroe")
    history.record_cycle([silent("core", START_S), silent("pier", START_S)], STEP_S)
    audit = audit_of(history)
    assert audit.coverage_percent == 0
    for row in audit.ports:
        assert (row.p50_w, row.max_w, row.basis) == (None, None, None)
        assert row.findings
    assert all(
        leg.words == "draw unknown" for row in audit.units for leg in (row.on_ac, row.on_feed) if leg is not None
    )
    assert {item.what for item in audit.unseen} >= {"Night", "Frost", "PoE feed", "Unit"}
    history.close()


def test_a_unit_that_tells_only_its_total(tmp_path: Path) -> None:
    """Ports deliver but do not tell watts: their row says so, the unit has its figures."""
    history = History.open(tmp_path, "Atlantic/Faroe")
    for step in range(12):
        seen = observation("pier", START_S + step * STEP_S, {"1": None, "2": None}, total_w=12)
        history.record_cycle([seen], STEP_S)
    audit = audit_of(history, last_s=START_S + HOUR_S)
    assert unit(audit, "pier").max_w == 12.0
    assert (port(audit, "pier", "1").max_w, port(audit, "pier", "1").basis) == (None, None)
    assert "tells only its total" in words(port(audit, "pier", "1"))
    history.close()


def test_a_missing_device(tmp_path: Path) -> None:
    """The sign's port was read all hour, was searching, and gave nothing."""
    history = History.open(tmp_path, "Atlantic/Faroe")
    searching = {"2": PortState.SEARCHING}
    for step in range(12):
        seen = observation("pier", START_S + step * STEP_S, {"1": 7.0, "2": None}, states=searching)
        history.record_cycle([seen], STEP_S)
    row = port(audit_of(history, last_s=START_S + HOUR_S), "pier", "2")
    assert (row.max_w, row.delivering_s) == (0.0, 0.0)
    assert row.findings[0].weight is Weight.ACT
    assert words(row) == "Planned device missing: pier-sign drew nothing in all that was read."
    history.close()


def test_readings_of_an_hour_are_no_half_year(tmp_path: Path) -> None:
    """It says when the first reading was, how little was read, and of nothing that it simply fits."""
    with closing(History.open(tmp_path, "Atlantic/Faroe")) as history:
        for step in range(12):
            history.record_cycle([observation("pier", START_S + step * STEP_S, {"1": 7.0, "2": 9.0})], STEP_S)
        result = audit_of(history, first_s=START_S - 180 * DAY_S, last_s=START_S + HOUR_S)
    assert result.first_reading_s == START_S
    assert result.last_reading_s == START_S + 11 * STEP_S
    assert what_was_read(result).endswith("for less than 1 % of the period.")
    pier = next(row for row in result.units if row.unit == "pier")
    for leg in (pier.on_ac, pier.on_feed):
        assert leg is not None
        assert "fits," not in leg.words
    assert "with less than 1 % of the period read" in audit_html(result)


def test_a_period_without_readings_says_so(tmp_path: Path) -> None:
    with closing(History.open(tmp_path, "Atlantic/Faroe")) as history:
        assert what_was_read(audit_of(history)) == "Nothing was read in it."


def test_a_period_in_the_middle_of_a_day(tmp_path: Path) -> None:
    """A visit of one hour without a history before it: coverage is of that hour, not of the day."""
    history = History.open(tmp_path, "Atlantic/Faroe")
    begin_s = START_S + 9 * HOUR_S
    for step in range(12):
        history.record_cycle([observation("pier", begin_s + step * STEP_S, {"1": 7.0, "2": 4.0})], STEP_S)
    audit = audit_of(history, begin_s, begin_s + HOUR_S)
    assert port(audit, "pier", "1").coverage_percent == pytest.approx(100)
    assert unit(audit, "core").coverage_percent is None
    assert audit.coverage_percent == pytest.approx(50)
    history.close()


def test_open_and_closed_days_give_the_same_audit(tmp_path: Path) -> None:
    """Closing a day changes nothing that the audit says."""
    history = History.open(tmp_path, "Atlantic/Faroe")
    one_day(history)
    before = audit_of(history)
    history.close_days(START_S + 2 * DAY_S)
    assert audit_of(history) == before
    history.close()


def test_a_rising_port_is_named_with_its_limit(tmp_path: Path) -> None:
    """By hand: 0.3 W a day from 6.5 W is 10.4 W on day 14: 2.1 W below plan, 5.0 W below class, 7 and 17 days."""
    history = History.open(tmp_path, "Atlantic/Faroe")
    for number in range(14):
        for step in range(24):
            time_s = START_S + number * DAY_S + step * HOUR_S
            history.record_cycle([observation("pier", time_s, {"1": 6.5 + 0.3 * number, "2": 4.0})], HOUR_S)
    audit = audit_of(history, last_s=START_S + 14 * DAY_S)
    row = next(row for row in audit.drift if (row.unit, row.port) == ("pier", "1"))
    assert row.rising
    assert row.w_per_day == pytest.approx(0.3)
    assert row.days_to_limit == pytest.approx(5 / 0.3)
    assert "It meets its plan (12.5 W) in about 7 days and its class limit (15.4 W) in about 17 days" in row.sentence
    # 6.5 W and 13 days at 0.3 W
    assert row.sentence.startswith(
        "Drifting up by 0.30 W a day over 14 days; its daily 95th percentile stands at 10.4 W."
    )
    assert row.sentence in words(port(audit, "pier", "1"))
    steady = next(row for row in audit.drift if (row.unit, row.port) == ("pier", "2"))
    assert not steady.rising
    history.close()


def test_a_period_without_time_is_refused(tmp_path: Path) -> None:
    """It ends before it begins."""
    history = History.open(tmp_path, "Atlantic/Faroe")
    with pytest.raises(ValueError, match="ends before it begins"):
        audit_of(history, START_S, START_S - 1)
    history.close()
