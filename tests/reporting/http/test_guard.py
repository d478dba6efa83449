"""What stands before every page: names, rates, streams, and headers on whatever is answered."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from typing import Any

import httpx
import pytest
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from portdraw.reporting.http.access import Access, Permission, make_token
from portdraw.reporting.http.guard import Guard, Rules, is_our_name, safe_headers
from portdraw.reporting.http.patience import MOST_STREAMS, REQUESTS_AT_ONCE, REQUESTS_PER_S

OURS = frozenset({"portdraw.example"})
TOKEN = make_token("scraper", b"0123456789abcdef", frozenset({Permission.READ}))


async def hello(_: Request) -> Response:
    return PlainTextResponse("hello")


async def events(_: Request) -> Response:
    async def endless() -> AsyncIterator[bytes]:
        yield b"data: 1\n\n"
        await asyncio.Event().wait()

    return StreamingResponse(endless(), media_type="text/event-stream")


class Clock:
    """A clock that is set by hand."""

    now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


def guarded(rules: Rules, clock: Clock | None = None) -> Starlette:
    return Starlette(
        routes=[Route("/", hello), Route("/events", events)],
        middleware=[Middleware(Guard, headers=safe_headers(tls=rules.tls), rules=rules, now_s=clock or Clock())],
    )


async def ask(app: Starlette, headers: dict[str, str] | None = None, client: str = "192.0.2.1") -> httpx.Response:
    transport = httpx.ASGITransport(app, client=(client, 5000))
    async with httpx.AsyncClient(transport=transport, base_url="http://agent") as asked:
        return await asked.get("/", headers=headers)


@pytest.mark.parametrize(
    ("host", "ours"),
    [
        ("127.0.0.1:8437", True),
        ("[::1]:8437", True),
        ("localhost", True),
        ("LOCALHOST:1", True),
        ("portdraw.example", True),
        ("Portdraw.Example:443", True),
        ("10.20.0.2", True),
        ("attacker.example", False),
        ("portdraw.example.attacker.example", False),
        ("localhost.attacker.example", False),
        ("127.0.0.1.attacker.example", False),
        ("", False),
        ("[::1", False),
        ("@localhost@attacker.example", False),
    ],
)
def test_a_name_that_is_not_ours_is_not_answered(host: str, ours: bool) -> None:
    """A page from elsewhere that has its name point at this machine sends that name as Host (RFC 9110, 7.2)."""
    assert is_our_name(host, OURS) is ours
    answer = asyncio.run(ask(guarded(Rules(names=OURS)), {"host": host}))
    assert answer.status_code == (200 if ours else 421)
    assert asyncio.run(ask(guarded(Rules()), {"host": host or "x"})).status_code == 200


def test_too_many_requests_are_told_how_long_to_wait() -> None:
    clock = Clock()
    app = guarded(Rules(), clock)

    async def work() -> None:
        answers = [await ask(app) for _ in range(int(REQUESTS_AT_ONCE) + 5)]
        assert [answer.status_code for answer in answers[-6:]] == [200, 429, 429, 429, 429, 429]
        assert answers[-1].headers["retry-after"] == "1"
        assert answers[-1].headers["x-content-type-options"] == "nosniff"
        assert (await ask(app, client="192.0.2.2")).status_code == 200
        clock.now_s += 1.01 / REQUESTS_PER_S
        assert [(await ask(app)).status_code for _ in range(2)] == [200, 429]

    asyncio.run(work())


def test_a_known_caller_is_not_delayed_by_others_at_its_address() -> None:
    app = guarded(Rules(access=Access((TOKEN,))))

    async def work() -> None:
        strangers = [(await ask(app)).status_code for _ in range(int(REQUESTS_AT_ONCE) + 1)]
        assert strangers[-2:] == [401, 429]
        assert (await ask(app, {"authorization": "Bearer 0123456789abcdef"})).status_code == 200

    asyncio.run(work())


async def stream(app: Starlette, first: asyncio.Future[int]) -> None:
    """Open a stream and keep it."""

    async def receive() -> dict[str, Any]:
        await asyncio.Event().wait()
        raise AssertionError

    async def send(message: Any) -> None:
        if message["type"] == "http.response.start" and not first.done():
            first.set_result(message["status"])

    scope = {
        "type": "http",
        "http_version": "1.1",
        "method": "GET",
        "path": "/events",
        "query_string": b"",
        "headers": [(b"accept", b"text/event-stream")],
        "client": ("192.0.2.1", 5000),
    }
    await app(scope, receive, send)


def test_streams_are_bounded_and_take_no_place_of_pages() -> None:
    app = guarded(Rules())

    async def work() -> None:
        loop = asyncio.get_running_loop()
        firsts = [loop.create_future() for _ in range(MOST_STREAMS + 1)]
        tasks = [asyncio.create_task(stream(app, first)) for first in firsts]
        assert await asyncio.gather(*firsts) == [200] * MOST_STREAMS + [503]
        assert (await ask(app)).status_code == 200
        tasks[0].cancel()
        await asyncio.gather(tasks[0], return_exceptions=True)
        again = loop.create_future()
        tasks.append(asyncio.create_task(stream(app, again)))
        assert await again == 200  # a place is free once one has gone
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    asyncio.run(work())


@pytest.mark.parametrize("tls", [False, True])
def test_browsers_are_held_to_tls_where_there_is_tls(tls: bool) -> None:
    answer = asyncio.run(ask(guarded(Rules(tls=tls))))
    assert answer.headers.get("strict-transport-security") == ("max-age=86400" if tls else None)


@pytest.mark.parametrize(
    ("authorization", "said", "again"),
    [
        (None, "A token is needed: ", False),
        ("Bearer", "A token is needed: ", False),
        ("Digest abc", "A token is needed: ", False),
        ("Bearer fedcba9876543210", "This token is not known to this agent.", True),
        ("Basic YW55Ym9keTp3cm9uZw==", "This token is not known to this agent.", True),
    ],
)
def test_a_wrong_token_is_told_from_none(authorization: str | None, said: str, again: bool) -> None:
    """A challenge to a token that was refused says invalid_token (RFC 6750, section 3.1)."""
    headers = {} if authorization is None else {"authorization": authorization}
    answer = asyncio.run(ask(guarded(Rules(Access((TOKEN,)))), headers))
    assert answer.status_code == 401
    assert answer.text.startswith(said)
    assert ('error="invalid_token"' in answer.headers["www-authenticate"]) is again
