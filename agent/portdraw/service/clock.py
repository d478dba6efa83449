"""The one clock of an agent: site time, in seconds since the epoch. The demo's runs faster than the wall's."""

from __future__ import annotations

import time


class Clock:
    """Site time. With `scale` 15 a wall second is 15 site seconds; `start_s` is the site time at creation."""

    def __init__(self, start_s: float | None = None, scale: float = 1.0) -> None:
        if not scale > 0:
            raise ValueError("a clock's scale must be above 0")
        self.scale = scale
        self._plain = start_s is None and scale == 1.0
        self._start_s = time.time() if start_s is None else start_s
        self._start_monotonic_s = time.monotonic()

    def now_s(self) -> float:
        """Return site time; follows the machine's clock (and its corrections) unless scaled or set."""
        if self._plain:
            return time.time()
        return self._start_s + (time.monotonic() - self._start_monotonic_s) * self.scale

    def wall_s(self, site_s: float) -> float:
        """Return how many wall seconds a span of site seconds takes."""
        return site_s / self.scale
