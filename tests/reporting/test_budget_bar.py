"""Draw against budget as a bar."""

from __future__ import annotations

from tests.reporting.samples import NOW_S, TIMEZONE

from portdraw.reporting.budget_bar import budget_bar, reading_words


def test_parts_are_percent_of_the_common_scale() -> None:
    bar = budget_bar(45, 60, 90, 20)
    assert (bar.frame, bar.fill, bar.over, bar.mark) == (100 * 60 / 90, 50.0, 0.0, 100 * 48 / 90)
    assert (bar.words, bar.share, bar.verdict, bar.tone) == ("45.0 of 60 W", "75 %", "15.0 W left", "quiet")


def test_margin_and_budget_are_told_apart() -> None:
    assert budget_bar(48.1, 60, 60, 20).verdict == "margin used, 11.9 W left"
    assert budget_bar(48.0, 60, 60, 20).tone == "quiet"
    over = budget_bar(63, 60, 63, 20)
    assert (over.verdict, over.tone, round(over.over, 3)) == ("over by 3.0 W", "urgent", round(300 / 63, 3))
    assert budget_bar(63, 60, 63, 20, spare=True).verdict == "would be over by 3.0 W"
    assert budget_bar(50, 60, 60, 20, spare=True).verdict == "would use margin, 10.0 W left"


def test_what_is_not_known_is_hatched_and_never_quiet() -> None:
    no_draw = budget_bar(None, 60, 60, 20)
    assert (no_draw.fill, no_draw.doubtful, no_draw.words, no_draw.tone) == (None, True, "unknown of 60 W", "unknown")
    no_budget = budget_bar(12, None, 60, 20)
    assert (no_budget.frame, no_budget.words, no_budget.tone) == (None, "12.0 W drawn, budget unknown", "unknown")
    part = budget_bar(12, 60, 60, 20, complete=False)
    assert (part.words, part.share, part.verdict, part.tone) == (
        "at least 12.0 of 60 W",
        "",
        "some ports unknown",
        "unknown",
    )
    stale = budget_bar(12, 60, 60, 20, stale=True)
    assert (stale.doubtful, stale.verdict, stale.tone) == (True, "when last read: 48.0 W left", "unknown")


def test_a_budget_of_nothing_is_no_division_by_zero() -> None:
    assert budget_bar(0, 0, 90, 20).words == "0.0 of 0 W"
    assert budget_bar(1, 0, 90, 20).verdict == "over by 1.0 W"
    assert budget_bar(0, 0, 0, 20).tone == "unknown"


def test_age_of_a_reading() -> None:
    assert reading_words(NOW_S - 12, False, TIMEZONE, NOW_S) == "read 12 s ago"
    assert reading_words(NOW_S - 240, True, TIMEZONE, NOW_S) == "stale: read 14:02:10, 4 min ago"
    assert reading_words(None, True, TIMEZONE, NOW_S) == "never read"
