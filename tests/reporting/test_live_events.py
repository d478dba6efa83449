"""The stream of events, held against its format (HTML Living Standard, section 9.2.6) by a reader of its own."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from dataclasses import replace
from typing import Any

import httpx
import pytest
from tests.reporting.samples import NOW_S, SampleSource, ac_lost, all_fine, source

from portdraw.reporting.http.app import build_app
from portdraw.reporting.live_events import LiveEvents, Pace
from portdraw.reporting.metrics import site_registry

AT_ONCE = Pace(look_every_s=0.0, beat_every_s=2.0, longest_s=10.0, try_again_s=1.5)


class Ticking:
    """A clock that goes on by one second each time it is read."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        """Return the time."""
        self.now_s += 1
        return self.now_s


def parsed(text: str) -> list[tuple[str, Any]]:
    """Return the events of a stream as (name, data), the time to a new try as ("retry", milliseconds)."""
    events: list[tuple[str, Any]] = []
    for block in text.split("\n\n"):
        fields = dict(line.split(": ", 1) for line in block.split("\n") if line)
        if "retry" in fields:
            events.append(("retry", int(fields["retry"])))
        if "data" in fields:
            events.append((fields.get("event", "message"), json.loads(fields["data"])))
    return events


def whole(events: LiveEvents) -> list[tuple[str, Any]]:
    """Return all that one stream gives."""

    async def collect() -> str:
        return "".join([text async for text in events.stream()])

    return parsed(asyncio.run(collect()))


def test_a_stream_begins_with_the_cycle_beats_and_ends_by_itself() -> None:
    events = whole(LiveEvents(source(all_fine()), AT_ONCE, Ticking()))
    assert events[0] == ("retry", 1500)
    assert events[1] == ("cycle", {"clock": "14:06:10", "cycle": 3120})
    names = [name for name, _ in events[2:]]
    assert names[:-1] == ["beat"] * (len(names) - 1)
    assert len(names) > 2
    assert names[-1] == "end"


async def _next(stream: AsyncIterator[str]) -> tuple[str, Any]:
    return parsed(await anext(stream))[0]


def test_news_is_told_once_and_the_end_as_well() -> None:
    told = source(all_fine())
    still = LiveEvents(told, replace(AT_ONCE, beat_every_s=1e9, longest_s=1e9), Ticking())

    async def read() -> list[tuple[str, Any]]:
        stream = still.stream()
        found = [await _next(stream), await _next(stream)]
        told.site, told.clock_s = replace(ac_lost(), cycle=3121), NOW_S + 30
        found.append(await _next(stream))
        still.close()
        found.extend([parsed(text)[0] async for text in stream])
        return found

    assert asyncio.run(read())[1:] == [
        ("cycle", {"clock": "14:06:10", "cycle": 3120}),
        ("cycle", {"clock": "14:06:40", "cycle": 3121}),
        ("stop", {"clock": "14:06:40", "cycle": 3121}),
    ]
    assert [name for name, _ in whole(still)] == ["retry", "stop"]


def test_before_the_first_cycle_there_is_none() -> None:
    events = whole(LiveEvents(source(None), AT_ONCE, Ticking()))
    assert events[1] == ("cycle", {"clock": "14:06:10", "cycle": None})


@pytest.mark.parametrize(("accept", "status"), [("text/event-stream", 200), ("text/html", 406)])
def test_the_address_gives_a_stream_to_those_who_ask_for_one(accept: str, status: int) -> None:
    told: SampleSource = source(all_fine())
    app = build_app(told, site_registry(told))
    app.state.live_events.close()

    async def ask(method: str) -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://agent") as client:
            return await client.request(method, "/events", headers={"accept": accept})

    answer = asyncio.run(ask("GET"))
    assert answer.status_code == status
    assert answer.headers["cache-control"] == "no-store"
    assert "script-src 'sha256-" in answer.headers["content-security-policy"]
    if status == 200:
        assert answer.headers["content-type"].startswith("text/event-stream")
        assert [name for name, _ in parsed(answer.text)] == ["retry", "stop"]
    else:
        assert answer.text.startswith("This address gives a stream of events")
    assert asyncio.run(ask("HEAD")).text == ""
