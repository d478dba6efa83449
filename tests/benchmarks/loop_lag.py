"""How long an event loop keeps its tasks waiting: a task that wakes up each 20 ms and notes how late it is."""

from __future__ import annotations

import asyncio

WAKE_EVERY_S = 0.02  # 50 wake-ups a second cost about a tenth of a percent of a core


class LoopLag:
    """Watches the running loop from when it is made until it is stopped."""

    def __init__(self) -> None:
        self._late_s: list[float] = []
        self._task = asyncio.create_task(self._watch(), name="loop lag")

    def stop(self) -> dict[str, float]:
        """Return the lag in ms: median, p99 and max."""
        self._task.cancel()
        late_ms = sorted(1000 * late_s for late_s in self._late_s) or [0.0]
        return {"median": late_ms[len(late_ms) // 2], "p99": late_ms[len(late_ms) * 99 // 100], "max": late_ms[-1]}

    async def _watch(self) -> None:
        loop = asyncio.get_running_loop()
        while True:
            due_s = loop.time() + WAKE_EVERY_S
            await asyncio.sleep(WAKE_EVERY_S)
            self._late_s.append(max(0.0, loop.time() - due_s))
