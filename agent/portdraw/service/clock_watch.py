"""Notices that the machine's clock was set, by holding site time against a clock that nobody can set."""

from __future__ import annotations

import time
from collections.abc import Callable

from portdraw.service.clock import Clock

LEAST_STEP_WALL_S = 30.0  # far above what a time daemon slews between two cycles: common practice
TOLD_FOR_WALL_S = 3600.0


class ClockWatch:
    """`look` once a cycle; `note` is one sentence for an hour after the clock was set."""

    def __init__(self, clock: Clock, monotonic_s: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._monotonic_s = monotonic_s
        self._site_s, self._steady_s = clock.now_s(), monotonic_s()
        self._told_until_s = 0.0
        self._words = ""

    def look(self) -> float:
        """Return by how many site seconds the clock was set since the last look; 0 where it was not."""
        site_s, steady_s = self._clock.now_s(), self._monotonic_s()
        step_s = (site_s - self._site_s) - (steady_s - self._steady_s) * self._clock.scale
        self._site_s, self._steady_s = site_s, steady_s
        if abs(step_s) < LEAST_STEP_WALL_S * self._clock.scale:
            return 0.0
        way = "forward, or the machine slept," if step_s > 0 else "back"
        self._words = (
            f"the machine's clock was set {way} by {abs(step_s):.0f} s; reading and alarming go on, times and days "
            "are by the new clock"
        )
        self._told_until_s = steady_s + TOLD_FOR_WALL_S
        return step_s

    @property
    def note(self) -> str:
        """The sentence about the newest step, "" where there was none within the last hour."""
        return self._words if self._monotonic_s() < self._told_until_s else ""
