"""The next failures as rows: what does the same is one row, and what breaks no promise is told by its devices."""

from __future__ import annotations

from dataclasses import replace

from tests.reporting.samples import SHED, ac_lost, all_fine, failures, nothing_known

from portdraw.judgement.next_failure import NextFailure, Outlook, StudiedLoad
from portdraw.powerflow.failure import FailureKind
from portdraw.powerflow.failure_result import Outcome
from portdraw.reporting.failure_view import MOST_NOT_JUDGED, failure_views, rests_on_words
from portdraw.reporting.overview_view import overview_view


def taking(what: str, *dark: str, outcome: Outcome = Outcome.NOT_JUDGED) -> NextFailure:
    """A failure that darkens the same under every load, and loads no limit."""
    return NextFailure(what, FailureKind.UNIT, (), tuple(Outlook(load, outcome, dark) for load in StudiedLoad))


def test_a_row_has_a_cell_for_each_load() -> None:
    first = failure_views(ac_lost().next_failures)[0]
    assert [cell.head for cell in first.outlooks] == ["now", "tonight", "design worst"]
    now = first.outlooks[0]
    assert (now.verdict, now.tone, now.headroom) == ("not survived", "urgent", "20.4 W short")
    assert now.dark == "foyer-sign, office-phone-2 and office-phone-1 go dark, control-ap may"
    assert (now.limit, now.figures, now.lasts) == ("core budget", "460.4 of 440 W", "ups-a lasts 88 min")
    assert not first.alike


def test_what_does_the_same_is_one_row() -> None:
    rows = failure_views([taking("unit a", "cam"), taking("controller of a", "cam"), taking("unit b", "sign")])
    assert [(row.what, row.alike) for row in rows] == [("unit a and controller of a", True), ("unit b", True)]


def test_what_breaks_no_promise_is_told_by_its_devices_and_never_as_survived() -> None:
    alone = failure_views([taking("feed cable of a", "cam", "sign", outcome=Outcome.SURVIVED)])[0]
    assert alone.outlooks[0].verdict == "2 devices dark"
    nothing = failure_views([taking("circuit b", outcome=Outcome.SURVIVED)])[0]
    assert nothing.outlooks[0].verdict == "survived"


def test_beyond_the_first_rows_what_is_not_judged_comes_last() -> None:
    named = [taking(f"unit {number}", f"cam-{number}") for number in range(MOST_NOT_JUDGED + 2)]
    rows = failure_views([*named, *failures()[:1]])
    assert [row.what for row in rows][MOST_NOT_JUDGED] == failures()[0].what


def test_what_is_not_known_is_never_calm() -> None:
    cell = failure_views(nothing_known().next_failures)[0].outlooks[0]
    assert (cell.verdict, cell.tone) == ("may not survive", "warning")
    assert cell.headroom == "unknown: no unit has been read"
    fits = replace(all_fine().next_failures[1].outlooks[0], assumed=("hut", "pier"))
    assert rests_on_words(fits) == "counts up to the largest planned watts of hut and pier: not known"


def test_the_overview_counts_what_it_does_not_show() -> None:
    view = overview_view(all_fine(), all_fine().time_s)
    assert len(view.failures) == 6
    assert view.more_failures == 44
    assert view.findings == tuple(finding.sentence for finding in all_fine().findings)
    assert len(SHED) == 3
