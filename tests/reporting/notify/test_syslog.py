"""Syslog to a real rsyslogd over TCP, TLS and UDP: what it parsed is held against what was sent."""

from __future__ import annotations

import asyncio
import contextlib
import re
import socket
import ssl
import struct
import time
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path

import pytest
from tests.reporting.notify.rsyslog import Rsyslog
from tests.reporting.notify.test_syslog_message import message
from tests.reporting.samples import HOSTILE

from portdraw.history.store import History
from portdraw.reporting.notify.attempt import Attempt
from portdraw.reporting.notify.syslog import Syslog
from portdraw.service import delivery as delivery_module
from portdraw.service.clock import Clock
from portdraw.service.delivery import Delivery

Serve = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


@pytest.fixture(scope="module", params=["ossl", "gtls"])
def rsyslog(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rsyslog]:
    with Rsyslog(tmp_path_factory.mktemp("rsyslog") / "run", request.param) as one:
        yield one


def receiver(rsyslog: Rsyslog, way: str, trusted: bool = True) -> Syslog:
    tls = ssl.create_default_context(cafile=rsyslog.ca) if trusted else None
    return Syslog(f"{way}://127.0.0.1:{getattr(rsyslog, way)}", 16, tls)


def send(one: Syslog, timeout_s: float = 20.0, **changed: object) -> Attempt:
    return asyncio.run(one.send(message(**changed), 0, timeout_s))  # type: ignore[arg-type]


@pytest.mark.parametrize("way", ["tcp", "tls", "udp"])
def test_rsyslog_parses_each_field_as_it_was_meant(rsyslog: Rsyslog, way: str) -> None:
    unit = f'quay "1" \\ ]{way}'
    before = rsyslog.count()
    assert send(receiver(rsyslog, way), unit=unit, sentence="Größe – 日本: lost").error == ""
    row = rsyslog.rows(before + 1)[-1]
    assert (row["pri"], row["facility"], row["severity"], row["version"]) == ("129", "local0", "alert", "1")
    assert (row["app"], row["kind"]) == ("portdraw", "local-ac-lost")
    assert row["time"] == "2026-03-02T14:06:10.000+00:00"
    assert row["text"] == "\ufeffEMULATED: Größe – 日本: lost"
    assert row["data"].startswith('[portdraw@32473 id="')
    assert f'unit="quay \\"1\\" \\\\ \\]{way}"' in row["data"]


@pytest.mark.parametrize("way", ["tcp", "udp"])
def test_hostile_texts_stay_one_message(rsyslog: Rsyslog, way: str) -> None:
    before = rsyslog.count()
    text = HOSTILE + "\n<13>1 - forged - - - - forged"
    assert send(receiver(rsyslog, way), sentence=text, unit=text, action=text).ok
    assert send(receiver(rsyslog, way), unit="the next one").ok
    hostile, following = rsyslog.rows(before + 2)[before:]
    assert hostile["app"] == following["app"] == "portdraw"
    assert not re.search(r"[\x00-\x1f\u202e]", hostile["text"] + hostile["data"])
    assert 'unit="the next one"' in following["data"]


def test_a_certificate_of_nobody_we_trust_is_refused(rsyslog: Rsyslog) -> None:
    before = rsyslog.count()
    attempt = send(receiver(rsyslog, "tls", trusted=False))
    assert not attempt.ok
    assert attempt.error.startswith("its certificate is not accepted: ")
    assert rsyslog.count() == before


def test_the_queue_outlives_a_receiver_that_is_away(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(delivery_module, "LOOK_EVERY_WALL_S", 0.02)
    monkeypatch.setattr(
        delivery_module, "backoff_s", lambda attempt: 1.0
    )  # below eight attempts, for then others may pass
    server = Rsyslog(tmp_path / "rsyslog")
    history = History.open(tmp_path / "history", "UTC")
    units = [f"unit-{number}" for number in range(5)]

    async def work() -> None:
        delivery = Delivery(history, {"log": receiver(server, "tls")}, Clock())
        delivery.start()
        for unit in units:
            history.outbox.add("log", unit, message(unit=unit), 0.0)
        async with asyncio.timeout(60):
            while delivery.health()[0].ok:
                await asyncio.sleep(0.02)
            await asyncio.to_thread(server.start)
            while history.outbox.waiting():
                await asyncio.sleep(0.02)
        await delivery.stop(1)

    try:
        asyncio.run(work())
        rows = server.rows(len(units))
    finally:
        server.stop()
        history.close()
    assert [re.findall(r' unit="([^"]+)"', row["data"])[0] for row in rows] == units  # each once, in order


async def _served(make: Callable[[str], Syslog], serve: Serve, timeout_s: float = 1.0) -> Attempt:
    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    try:
        port = server.sockets[0].getsockname()[1]
        return await make(f"tcp://127.0.0.1:{port}").send(message(), 0, timeout_s)
    finally:
        server.close()


async def _hang(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    await asyncio.sleep(20)


async def _swallow(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    await reader.read(10)
    no_linger = struct.pack("ii", 1, 0)  # SO_LINGER of 0 s: closing sends a reset (socket(7))
    writer.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, no_linger)
    writer.transport.abort()


async def _chatter(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    with contextlib.suppress(ConnectionError):
        while True:
            writer.write(b"x" * 1000)
            await writer.drain()
            await asyncio.sleep(0.01)


@pytest.mark.parametrize(
    ("serve", "error"),
    [
        (_hang, "not taken within 1 s"),
        (_chatter, "not taken within 1 s"),
        (_swallow, "broke off before all was read"),
    ],
)
def test_a_receiver_that_does_not_read_to_the_end_has_not_taken_it(serve: Serve, error: str) -> None:
    began_s = time.monotonic()
    attempt = asyncio.run(_served(lambda url: Syslog(url, 16), serve))
    assert not attempt.ok
    assert error in attempt.error
    assert time.monotonic() - began_s < 15  # generous: each would go on for 20 s


@pytest.mark.parametrize(
    "url", ["tcp://127.0.0.1:1", "udp://127.0.0.1:1", "tls://127.0.0.1:1", "tcp://name.invalid:1"]
)
def test_nobody_there_is_told_without_the_address(url: str) -> None:
    attempt = send(Syslog(url, 16))
    assert attempt.error.startswith("no connection: nothing listens there")
    assert "127" not in attempt.error + repr(Syslog(url, 16))
