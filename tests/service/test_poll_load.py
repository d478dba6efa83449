"""Our own load on a switch, and its pace: a table of readings, then a poller in virtual time."""

from __future__ import annotations

import asyncio
from itertools import pairwise

import pytest
from tests.service.virtual_time import VirtualClock, run_virtual

from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.service.poll_load import PollLoad, after_poll
from portdraw.service.poller import Poller

SLOW = PollLoad(stretch=2, why="its answers took 5.0 s")


@pytest.mark.parametrize(
    ("before", "requests", "took_s", "slow", "stretch", "why"),
    [
        (PollLoad(), 4, 0.1, False, 1, ""),
        (PollLoad(), 4, 5.0, False, 2, "its answers took 5.0 s"),
        (PollLoad(), 40, 5.0, True, 1, ""),  # a long reading is rare
        (SLOW, 4, 3.0, False, 2, SLOW.why),  # in between nothing changes: no flutter
        (SLOW, 4, 1.9, False, 1, ""),
        (SLOW, 4, 9.0, False, 2, "its answers took 9.0 s"),  # never more seldom than that
        (PollLoad(), 301, 1.0, False, 2, "it takes 602 requests a minute, more than the 600 that we allow us"),
    ],
)
def test_the_pace_after_a_reading(
    before: PollLoad, requests: int, took_s: float, slow: bool, stretch: int, why: str
) -> None:
    found = after_poll(before, requests, took_s, slow, 30.0)
    assert (found.stretch, found.why) == (stretch, why)
    assert (found.requests, found.seconds) == (before.requests + requests, before.seconds + took_s)


class Sluggish:
    """A unit that takes 6 s to answer, and 0.5 s from its fifth reading on."""

    name = "slip"

    def __init__(self, clock: VirtualClock) -> None:
        self.read_at_s: list[float] = []
        self._clock = clock

    async def poll(self, deadline_s: float, slow: bool) -> UnitObservation:
        """Answer in its own time, with three requests."""
        began_s = self._clock.now_s()
        self.read_at_s.append(began_s)
        await asyncio.sleep(6.0 if len(self.read_at_s) < 5 else 0.5)
        return UnitObservation(self.name, began_s, self._clock.now_s(), Outcome.ANSWERED, "", (), 3)


def test_a_slow_switch_is_asked_every_other_turn_until_it_is_quick_again() -> None:
    async def work() -> tuple[list[float], list[str], PollLoad]:
        clock = VirtualClock(1_000_000.0)
        unit, seen = Sluggish(clock), list[UnitObservation]()
        one = Poller([unit], clock, 30.0, 3600.0, 8.0, 4, seen.append)  # type: ignore[arg-type]
        one.start()
        await asyncio.sleep(400)
        await one.stop(1.0)
        return unit.read_at_s, [observation.pace_note for observation in seen], one.load["slip"]

    read_at_s, notes, load = run_virtual(work)
    gaps = [round(after - before) for before, after in pairwise(read_at_s[1:])]
    assert gaps[:3] == [60, 60, 60]
    assert set(gaps[4:]) == {30}
    assert notes[1] == "its answers took 6.0 s: it is asked every 60 s, not every 30 s"
    assert notes[5] == ""
    assert load.requests == 3 * len(read_at_s)
    assert load.seconds == pytest.approx(4 * 6.0 + 0.5 * (len(read_at_s) - 4))
