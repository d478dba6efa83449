"""A draw against a budget as a bar: its parts in percent of the bar's width."""

from __future__ import annotations

from dataclasses import dataclass

from portdraw.reporting.wording import age, clock, known, limit, watts

OUT_OF_PERCENT = 100.0


@dataclass(frozen=True)
class BudgetBar:
    """Parts of the bar, in percent of its width, and what it says in words.

    `frame` is the budget, `fill` the draw within it, `over` the draw beyond it, `mark` where the margin begins.
    `doubtful` hatches the draw (stale, or only part of it known); with no budget the whole bar is hatched.
    """

    frame: float | None
    fill: float | None
    over: float
    mark: float | None
    doubtful: bool
    words: str
    share: str
    verdict: str
    tone: str


def budget_bar(
    draw_w: float | None,
    budget_w: float | None,
    scale_w: float,
    margin_percent: float,
    complete: bool = True,
    stale: bool = False,
    spare: bool = False,
) -> BudgetBar:
    """Return the bar of a draw against a budget [W]; `scale_w` is what the full width stands for.

    `spare` says that the leg of this budget does not carry now, so that the words say "would".
    """
    draw, budget = known(draw_w), known(budget_w)
    if budget is None or scale_w <= 0:
        words = f"{watts(draw)} drawn, budget unknown" if draw is not None else "draw and budget unknown"
        return BudgetBar(None, None, 0.0, None, True, words, "", "unknown", "unknown")
    frame = OUT_OF_PERCENT * budget / scale_w
    free_w = budget * (1 - margin_percent / 100)
    mark = OUT_OF_PERCENT * free_w / scale_w
    if draw is None:
        return BudgetBar(frame, None, 0.0, mark, True, f"unknown of {limit(budget)}", "", "draw unknown", "unknown")
    fill = OUT_OF_PERCENT * max(0.0, min(draw, budget)) / scale_w
    over = OUT_OF_PERCENT * max(0.0, draw - budget) / scale_w
    words = f"{'' if complete else 'at least '}{draw:.1f} of {limit(budget)}"
    share = f"{100 * draw / budget:.0f} %" if budget > 0 and complete else ""
    left = watts(budget - draw)
    if draw > budget:
        verdict, tone = f"{'would be ' if spare else ''}over by {watts(draw - budget)}", "urgent"
    elif draw > free_w:
        verdict, tone = f"{'would use margin' if spare else 'margin used'}, {left} left", "warning"
    elif not complete:
        verdict, tone = "some ports unknown", "unknown"
    else:
        verdict, tone = f"would leave {left}" if spare else f"{left} left", "quiet"
    if stale:
        verdict, tone = f"when last read: {verdict}", "unknown"
    return BudgetBar(frame, fill, over, mark, stale or not complete, words, share, verdict, tone)


def reading_words(read_s: float | None, stale: bool, timezone: str, now_s: float) -> str:
    """Return how old a reading is: "read 12 s ago", "stale: read 14:02:10, 4 min ago", "never read"."""
    moment_s = known(read_s)
    if moment_s is None:
        return "never read"
    if stale:
        return f"stale: read {clock(moment_s, timezone, now_s)}, {age(now_s - moment_s)} ago"
    return f"read {age(now_s - moment_s)} ago"
