"""Whether an agent has started anew since it was last asked, by its uptime. Times come from whoever asks."""

from __future__ import annotations

CLOCK_TOLERANCE_S = 5.0  # an agent's uptime lags behind our clock by less than this and 2 %; common practice


class AgentUptime:
    """Remembers the uptime that was last read [s] and the time of our own clock at which that was [s]."""

    def __init__(self) -> None:
        self._last: tuple[float, float] | None = None

    def restarted(self, uptime_s: float, now_s: float) -> bool:
        """Return True where the uptime is less than what was last read plus the time since; remember this one."""
        before, self._last = self._last, (uptime_s, now_s)
        if before is None:
            return False
        least_s = before[0] + (now_s - before[1]) * 0.98 - CLOCK_TOLERANCE_S
        return uptime_s < max(least_s, before[0] - 1)
