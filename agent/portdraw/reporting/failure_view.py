"""The next failures as they are shown: those that do the same as one row, with a cell for each load."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from portdraw.judgement.failure_words import dark_words, headroom_words, verdict_words
from portdraw.judgement.next_failure import NextFailure, Outlook, StudiedLoad
from portdraw.judgement.wording import count_text, list_text
from portdraw.powerflow.failure_result import Outcome
from portdraw.reporting.budget_bar import BudgetBar, budget_bar
from portdraw.reporting.plain_text import plain
from portdraw.reporting.wording import figure, known, limit

HEADS = {StudiedLoad.NOW: "now", StudiedLoad.TONIGHT: "tonight", StudiedLoad.DESIGN: "design worst"}
MOST_NAMES = 6  # of devices that go dark; all of them are in the JSON
MOST_ALIKE = 3
MOST_NOT_JUDGED = 2


@dataclass(frozen=True)
class OutlookView:
    """One failure under one load. `limit` is the limit that binds, `figures` its watts, `headroom` what is left."""

    head: str
    verdict: str
    tone: str
    dark: str
    limit: str
    figures: str
    headroom: str
    rests_on: str
    lasts: str
    bar: BudgetBar | None


@dataclass(frozen=True)
class FailureView:
    """Failures that do the same, by name, which units they move to another leg, and what they do."""

    what: str
    moved: str
    outlooks: tuple[OutlookView, ...]

    @property
    def alike(self) -> bool:
        """Whether it does the same under every load."""
        return all(replace(outlook, head="") == replace(self.outlooks[0], head="") for outlook in self.outlooks)


def failure_views(failures: Sequence[NextFailure]) -> list[FailureView]:
    """Return the rows, in the order given; what does the same as an earlier one is named there.

    What the site's promise does not cover, as what a unit takes along when it fails itself, is the same every day:
    beyond MOST_NOT_JUDGED such rows it comes last.
    """
    alike: dict[object, list[NextFailure]] = {}
    for failure in failures:
        alike.setdefault(_does(failure), []).append(failure)
    first: list[FailureView] = []
    last: list[FailureView] = []
    not_judged = 0
    for same in alike.values():
        judged = any(outlook.outcome is not Outcome.NOT_JUDGED for outlook in same[0].outlooks)
        not_judged += not judged
        (first if judged or not_judged <= MOST_NOT_JUDGED else last).append(_view(same))
    return first + last


def outlook_tone(outlook: Outlook) -> str:
    """Return how loud a result is shown."""
    if outlook.outcome is Outcome.NOT_SURVIVED:
        return "urgent"
    if outlook.unsafe or (outlook.tight and outlook.outcome is not Outcome.NOT_JUDGED):
        return "warning"
    return "quiet" if outlook.known else "unknown"


def rests_on_words(outlook: Outlook) -> str:
    """Return what a figure rests on where it is not all read, "" where it is."""
    if not outlook.assumed:
        return ""
    return f"counts up to the largest planned watts of {list_text(outlook.assumed, 3)}: not known"


def _does(failure: NextFailure) -> object:
    return tuple(
        (one.load, one.outcome, one.dark, one.may_go_dark, one.limit, figure(one.need_w), one.over, one.minutes)
        for one in failure.outlooks
    )


def _view(same: Sequence[NextFailure]) -> FailureView:
    first = same[0]
    moved = [plain(name) for name in first.moved_units]
    return FailureView(
        what=plain(list_text([failure.what for failure in same], MOST_ALIKE), 400),
        moved=list_text(moved, 8),
        outlooks=tuple(_outlook(outlook) for outlook in first.outlooks),
    )


def _outlook(outlook: Outlook) -> OutlookView:
    need_w, limit_w = known(outlook.need_w), known(outlook.limit_w)
    bar = budget_bar(need_w, limit_w, max(need_w or 0.0, limit_w or 0.0), 0.0) if outlook.limit else None
    lasts = "" if outlook.minutes is None else f"{outlook.battery} lasts {outlook.minutes:.0f} min"
    return OutlookView(
        head=HEADS[outlook.load],
        verdict=_verdict(outlook),
        tone=outlook_tone(outlook),
        dark=plain(dark_words(outlook, MOST_NAMES), 600) if outlook.dark or outlook.may_go_dark else "",
        limit=plain(outlook.limit),
        figures=f"{figure(need_w)} of {limit(limit_w)}" if outlook.limit else "",
        headroom=plain(headroom_words(outlook)),
        rests_on=plain(rests_on_words(outlook)),
        lasts=plain(lasts),
        bar=bar,
    )


def _verdict(outlook: Outlook) -> str:
    """Return the verdict; of what breaks no promise, but darkens devices all the same, how many these are."""
    dark, may = len(outlook.dark), len(outlook.may_go_dark)
    if outlook.unsafe or (outlook.outcome is not Outcome.NOT_JUDGED and not dark and not may):
        return verdict_words(outlook)
    if not dark and not may:
        return "nothing dark"
    said = f"{count_text(dark, 'device')} dark" if dark else f"{count_text(may, 'device')} may go dark"
    return f"{said}, {may} may" if dark and may else said
