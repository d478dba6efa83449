"""The web server: one socket, bound at once, ended in bounded time."""

from __future__ import annotations

import asyncio
import signal
import socket
import time

import httpx
import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route
from tests.reporting.samples import all_fine, source
from tests.service.slipway import free_tcp_port

from portdraw.reporting.http.app import build_app
from portdraw.reporting.metrics import site_registry
from portdraw.service.settings import SettingsError
from portdraw.service.web_server import WebServer, bind


async def hello(_: Request) -> Response:
    return PlainTextResponse("hello")


async def never(_: Request) -> Response:
    await asyncio.sleep(3600)
    raise AssertionError


APP = Starlette(routes=[Route("/", hello), Route("/never", never)])


@pytest.mark.parametrize("host", ["0.0.0.0", "192.0.2.7", "::", "localhost.example", ""])
def test_only_loopback_is_listened_on(host: str) -> None:
    with pytest.raises(
        SettingsError, match="is not this machine's loopback; pages are served without authentication"
    ):
        bind(host, 0)


def test_a_port_in_use_is_one_sentence() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(SettingsError) as caught:
            bind("127.0.0.1", port)
    assert str(caught.value) == (
        f"listen: 127.0.0.1:{port} can't be used: Address already in use; "
        "another program (or another agent) may have it"
    )


def test_a_second_agent_that_starts_at_the_same_time_is_refused_too() -> None:
    """With SO_REUSEADDR two sockets may be bound to one port while neither listens (socket(7)): ours does at once."""
    port = free_tcp_port()
    with bind("127.0.0.1", port), pytest.raises(SettingsError, match="Address already in use"):
        bind("127.0.0.1", port)


def test_the_address_is_ready_to_open() -> None:
    server = WebServer(APP, bind("localhost", 0))
    assert server.address.startswith("http://127.0.0.1:")
    assert asyncio.run(server.stop(1))


def test_it_serves_and_stops_and_gives_its_port_back() -> None:
    async def work() -> int:
        before = signal.getsignal(signal.SIGTERM)
        server = WebServer(APP, bind("127.0.0.1", 0))
        server.start()
        async with httpx.AsyncClient(trust_env=False) as client:
            answer = await client.get(server.address)
            assert answer.text == "hello"
            assert "server" not in answer.headers
        assert signal.getsignal(signal.SIGTERM) is before  # signals are the agent's
        port = int(server.address.rsplit(":", 1)[1])
        assert await server.stop(5)
        return port

    bind("127.0.0.1", asyncio.run(work())).close()


def test_what_is_open_at_the_end_is_cut_in_bounded_time() -> None:
    async def work() -> None:
        sock = bind("127.0.0.1", 0)
        port = sock.getsockname()[1]
        server = WebServer(APP, sock)
        server.start()
        _, idle = await asyncio.open_connection("127.0.0.1", port)
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(b"GET /never HTTP/1.1\r\nHost: x\r\n\r\n")
        await asyncio.sleep(0.3)
        began = time.monotonic()
        ended = await server.stop(0.3)
        assert not ended
        assert time.monotonic() - began < 15  # generous: 0.3 s and one more were asked for
        async with asyncio.timeout(10):
            assert not (await reader.read()).startswith(b"HTTP/1.1 2")
        for one in (idle, writer):
            one.close()
        bind("127.0.0.1", port).close()

    asyncio.run(work())


def test_an_open_stream_of_events_ends_when_the_server_stops() -> None:
    """It ends itself, with a last word to the page; it is not cut, however long the server would wait."""

    async def work() -> tuple[str, bool]:
        told = source(all_fine())
        server = WebServer(build_app(told, site_registry(told)), bind("127.0.0.1", 0))
        server.start()
        asked = {"accept": "text/event-stream"}
        async with (
            httpx.AsyncClient(trust_env=False) as client,
            client.stream("GET", f"{server.address}/events", headers=asked) as open_page,
        ):
            lines = open_page.aiter_lines()
            while await anext(lines) != "event: cycle":
                pass
            stopping = asyncio.create_task(server.stop(60))
            last = [line async for line in lines if line.startswith("event: ")]
            return last[-1], await stopping

    assert asyncio.run(work()) == ("event: stop", True)
