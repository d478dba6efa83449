"""How a failure that may come is put into words: who goes dark, which limit binds, how long a battery lasts."""

from __future__ import annotations

from portdraw.judgement.next_failure import NextFailure, Outlook, StudiedLoad
from portdraw.judgement.wording import count_text, limit_text, list_text, watts_text
from portdraw.powerflow.failure_result import Outcome

LEAST_TOLD_W = 0.05  # less reads as 0.0 W
_FEW = 2

WHEN = {
    StudiedLoad.NOW: "on the draws of now",
    StudiedLoad.TONIGHT: "tonight",
    StudiedLoad.DESIGN: "in the plan's worst case",
}


def dark_words(outlook: Outlook, most: int = 8) -> str:
    """Return who goes dark, and who may, by name: "foyer-sign goes dark, desk-phone and stair-cam may"."""
    parts = []
    if outlook.dark:
        parts.append(f"{list_text(outlook.dark, most)} {'goes' if len(outlook.dark) == 1 else 'go'} dark")
    if outlook.may_go_dark:
        parts.append(f"{list_text(outlook.may_go_dark, most)} may{'' if outlook.dark else ' go dark'}")
    return ", ".join(parts) or "nothing goes dark"


def dark_count_words(outlook: Outlook) -> str:
    """Return the same for one line: two names at most, else how many; "" where nothing goes dark."""
    dark, may = outlook.dark, outlook.may_go_dark
    parts = []
    if dark:
        who = list_text(dark) if len(dark) <= _FEW else count_text(len(dark), "device")
        parts.append(f"{who} {'goes' if len(dark) == 1 else 'go'} dark")
    if may:
        who = f"{len(may)} more" if dark else list_text(may) if len(may) <= _FEW else count_text(len(may), "device")
        parts.append(f"{who} may{'' if dark else ' go dark'}")
    return " and ".join(parts)


def headroom_words(outlook: Outlook) -> str:
    """Return what the limit means: "20.4 W short", "29.7 W to spare", "" where none is touched."""
    if not outlook.limit:
        return ""
    headroom_w = outlook.headroom_w
    if headroom_w is None:
        return f"unknown: {outlook.reason}" if outlook.reason else "unknown: it can't be worked out"
    if headroom_w < -LEAST_TOLD_W:
        return f"{watts_text(-headroom_w)} short"
    return f"{watts_text(max(0.0, headroom_w))} to spare"


def limit_words(outlook: Outlook) -> str:
    """Return the limit with its figures: "core budget 460.4 W of 440 W, 20.4 W short"; "" where none is touched."""
    if not outlook.limit:
        return ""
    if outlook.need_w is None or outlook.limit_w is None:
        return f"{outlook.limit}: {headroom_words(outlook)}"
    figures = f"{outlook.need_w:.1f} of {limit_text(outlook.limit_w)}"
    return f"{outlook.limit} {figures}, {headroom_words(outlook)}"


def outlook_words(outlook: Outlook) -> str:
    """Return everything in one line: who goes dark, the limit, what else is over, the battery."""
    parts = [dark_words(outlook), limit_words(outlook)]
    others = [name for name in outlook.over if name != outlook.limit]
    if others:
        parts.append(f"over as well: {list_text(others)}")
    if outlook.minutes is not None:
        parts.append(f"{outlook.battery} lasts {outlook.minutes:.0f} min")
    return "; ".join(part for part in parts if part)


def verdict_words(outlook: Outlook) -> str:
    """Return how a failure stands against what the site promised: "not survived", "overloads", "survived"."""
    if outlook.outcome is Outcome.SURVIVED and outlook.over:
        return "survived, but a limit stays over"
    if outlook.outcome is Outcome.SURVIVED and outlook.tight:
        return "survived, margin used"
    return outlook.outcome.value


def worst_under(failures: tuple[NextFailure, ...], load: StudiedLoad) -> list[tuple[NextFailure, Outlook]]:
    """Return the failures that are unsafe under a load, the worst first."""
    found = [(failure, outlook) for failure in failures if (outlook := failure.on(load)) is not None]
    return sorted((pair for pair in found if pair[1].unsafe), key=lambda pair: badness(pair[1]))


def badness(outlook: Outlook) -> tuple[int, int, int, int]:
    """Return how bad an outlook is, to sort by: the smallest is the worst."""
    order = (Outcome.NOT_SURVIVED, Outcome.MAY_NOT_SURVIVE)
    place = order.index(outlook.outcome) if outlook.outcome in order else 2 if outlook.unsafe else 3
    return (place, outlook.highest or 9, -len(outlook.dark), -len(outlook.may_go_dark))
