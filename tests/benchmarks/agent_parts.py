"""Counts what the parts of a running agent cost, and when its polls begin: attached from outside, for benchmarks."""

from __future__ import annotations

import gc
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.reading.unit_reader import UnitReader
from portdraw.reporting.metrics import SiteMetrics
from portdraw.reporting.page import Pages
from portdraw.service.cycle import Cycle

SLICES = 10


class Parts:
    """CPU seconds by part of the agent; what is left over is the reading."""

    def __init__(self) -> None:
        self.cpu_s: dict[str, float] = dict.fromkeys(
            ("judge", "study", "store", "/metrics", "overview", "garbage"), 0.0
        )
        self.longest_s: dict[str, float] = dict(self.cpu_s)
        self._inside: dict[int, float] = {}
        self._collection_s = 0.0

    @contextmanager
    def counted(self, name: str) -> Iterator[None]:
        """Count what this thread spends here, less what is counted inside."""
        thread = threading.get_ident()
        outer, self._inside[thread] = self._inside.get(thread, 0.0), 0.0
        began_s = time.thread_time()
        try:
            yield
        finally:
            spent_s = time.thread_time() - began_s
            own_s = spent_s - self._inside[thread]
            self._inside[thread] = outer + spent_s
            self.cpu_s[name] += own_s
            self.longest_s[name] = max(self.longest_s[name], own_s)

    def _collecting(self, phase: str, info: dict[str, int]) -> None:
        """Count the search for garbage, whatever it interrupts."""
        if phase == "start":
            self._collection_s = time.thread_time()
            return
        spent_s = time.thread_time() - self._collection_s
        thread = threading.get_ident()
        self._inside[thread] = self._inside.get(thread, 0.0) + spent_s
        self.cpu_s["garbage"] += spent_s
        self.longest_s["garbage"] = max(self.longest_s["garbage"], spent_s)

    def clear(self) -> None:
        """Begin to count."""
        for name in self.cpu_s:
            self.cpu_s[name] = self.longest_s[name] = 0.0

    def wrap(self, name: str, work: Callable[..., Any]) -> Callable[..., Any]:
        """Return the same function, counted."""

        def counted(*values: object, **named: object) -> Any:
            with self.counted(name):
                return work(*values, **named)

        return counted

    def attach(self) -> None:
        """Count the agent's parts from here on."""
        Cycle.look = self.wrap("judge", Cycle.look)  # type: ignore[method-assign]
        Cycle.study = self.wrap("study", Cycle.study)  # type: ignore[method-assign]
        Cycle.conclude = self.wrap("judge", Cycle.conclude)  # type: ignore[method-assign]
        Cycle._keep = self.wrap("store", Cycle._keep)  # type: ignore[method-assign]
        Cycle.take = self.wrap("judge", Cycle.take)  # type: ignore[method-assign]
        Pages.overview = self.wrap("overview", Pages.overview)  # type: ignore[method-assign]
        gc.callbacks.append(self._collecting)
        SiteMetrics.text = self.wrap("/metrics", SiteMetrics.text)  # type: ignore[method-assign]


class Polls:
    """When each poll began and how it ended."""

    def __init__(self) -> None:
        self.began_s: list[float] = []
        self.requests = self.records = self.failed = 0

    def attach(self) -> None:
        """Note every poll from here on."""
        poll = UnitReader.poll

        async def noted(reader: UnitReader, deadline_s: float, slow: bool) -> UnitObservation:
            self.began_s.append(time.time())
            observation = await poll(reader, deadline_s, slow)
            self.requests += observation.requests
            self.records += len(observation.records)
            self.failed += observation.outcome is not Outcome.ANSWERED
            return observation

        UnitReader.poll = noted  # type: ignore[method-assign, assignment]

    def clear(self) -> None:
        """Begin to count."""
        self.began_s.clear()
        self.requests = self.records = self.failed = 0

    def slices(self, every_s: float) -> list[int]:
        """Return how many polls began in each tenth of the interval [s]."""
        counts = [0] * SLICES
        for began_s in self.began_s:
            counts[int(began_s % every_s / every_s * SLICES)] += 1
        return counts
