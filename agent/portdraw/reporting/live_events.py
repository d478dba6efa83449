"""News for open pages as server-sent events (HTML Living Standard, section 9.2): a cycle has ended, all is well.

A stream carries no figures: a page that hears of a new cycle asks for its sheet anew. Each stream ends by itself
after some minutes, and all of them at once when the server stops; how many there may be is the guard's affair.
"""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass

from portdraw.reporting.current import Source
from portdraw.reporting.wording import clock

EVENT_STREAM = "text/event-stream"
NO_STREAM_ASKED = f"This address gives a stream of events: ask for it with the header accept: {EVENT_STREAM}\n"


@dataclass(frozen=True)
class Pace:
    """Wall seconds: between two looks for news, between two signs of life, of a whole stream, and until a new try."""

    look_every_s: float = 0.25
    beat_every_s: float = 2.0
    longest_s: float = 300.0
    try_again_s: float = 1.0


class LiveEvents:
    """Tells pages of news. `now_s` is any clock that only goes forward [s]."""

    def __init__(self, source: Source, pace: Pace | None = None, now_s: Callable[[], float] = time.monotonic) -> None:
        self._source = source
        self._pace = pace or Pace()
        self._now_s = now_s
        self._closed = False

    def close(self) -> None:
        """End every stream within one look, telling the pages that the agent stops."""
        self._closed = True

    async def stream(self) -> AsyncIterator[str]:
        """Give the events of one page: `cycle` at once and with each new one, `beat` between, `end` or `stop` last.

        After `end` the page is to come again at once; after `stop` nothing is to be expected.
        """
        began_s = beat_s = self._now_s()
        yield f"retry: {1000 * self._pace.try_again_s:.0f}\n\n"
        told: object = self  # like no assessment, so that the first look is news
        while not self._closed and self._now_s() - began_s < self._pace.longest_s:
            newest = self._source.assessment()
            if newest is not told:
                told, beat_s = newest, self._now_s()
                yield self._event("cycle")
            elif self._now_s() - beat_s >= self._pace.beat_every_s:
                beat_s = self._now_s()
                yield self._event("beat")
            await asyncio.sleep(self._pace.look_every_s)
        yield self._event("stop" if self._closed else "end")

    def _event(self, name: str) -> str:
        site = self._source.assessment()
        timezone = "UTC" if site is None else site.timezone
        told = {"clock": clock(self._source.now_s(), timezone), "cycle": None if site is None else site.cycle}
        return f"event: {name}\ndata: {json.dumps(told)}\n\n"
