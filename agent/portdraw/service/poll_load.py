"""Our own load on each switch: requests and seconds so far, and how seldom a slow one is asked."""

from __future__ import annotations

from dataclasses import dataclass, replace

# Common practice, no source. A stretched unit is asked at every other turn and no more seldom: after three intervals
# without an answer its readings would count as stale.
SLOW_ANSWER_S = 4.0
QUICK_ANSWER_S = 2.0
MOST_REQUESTS_A_MINUTE = 600.0
MOST_STRETCH = 2


@dataclass(frozen=True)
class PollLoad:
    """Of one unit since the start: requests sent, wall seconds spent on reading it, and every how many turns it is
    read. `why` says why it is not read at every turn.
    """

    requests: int = 0
    seconds: float = 0.0
    stretch: int = 1
    why: str = ""


def after_poll(before: PollLoad, requests: int, took_s: float, slow: bool, every_s: float) -> PollLoad:
    """Return the load after a reading that took `took_s` [wall s]; `every_s` is the poll interval [wall s].

    A long reading (`slow`) takes more, and more seldom, so it changes no pace. Twice the time between two readings
    halves the load; quick and small again, the unit is read at every turn again.
    """
    total = replace(before, requests=before.requests + requests, seconds=before.seconds + took_s)
    if slow:
        return total
    a_minute = requests * 60 / every_s
    if took_s >= SLOW_ANSWER_S:
        return replace(total, stretch=MOST_STRETCH, why=f"its answers took {took_s:.1f} s")
    if a_minute > MOST_REQUESTS_A_MINUTE:
        why = (
            f"it takes {a_minute:.0f} requests a minute, more than the {MOST_REQUESTS_A_MINUTE:.0f} that we allow us"
        )
        return replace(total, stretch=MOST_STRETCH, why=why)
    if took_s < QUICK_ANSWER_S:
        return replace(total, stretch=1, why="")
    return total
