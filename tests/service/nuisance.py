"""Clients that do everything wrong: slow, silent, oversized, malformed."""

from __future__ import annotations

import asyncio
import contextlib
import random

# What a client sends at once, and what it adds again and again (nothing: it stays silent). The first four can't be
# told from honest ones at once, so that they stay connected until they take too long; the others are refused.
LASTING = 4
MISDEEDS: list[tuple[bytes, bytes]] = [
    (b"", b""),  # silent from the beginning
    (b"GET / HTTP/1.1\r\nHost: x\r\n", b"X-Slow: 1\r\n"),  # a head without end
    (b"POST /api/v1/alarms/shelve HTTP/1.1\r\nHost: x\r\nContent-Length: 1000000\r\n\r\n", b"a"),  # a slow body
    (b"GET /metrics HTTP/1.1\r\nHost: localhost\r\n\r\n" * 50, b""),  # asks much, takes nothing
    (b"GET / HTTP/1.1\r\nHost: x\r\nX-Large: " + b"a" * 200_000, b"a" * 5000),  # a head far too large
    (bytes(random.Random(3).randrange(256) for _ in range(4000)), b"\x00"),  # no HTTP at all
    (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\x00" * 300, b"\x16"),  # TLS where there is none
    (
        b"POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\nffffffff\r\n",
        b"a" * 100,
    ),  # a chunk too large
    (b"GET / HTTP/1.1\r\nHost: x\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\n", b""),  # smuggling
    (b"GET http://[::1 HTTP/1.1\r\nHost: [::\r\nUpgrade: websocket\r\nConnection: upgrade\r\n\r\n", b""),
]


class Nuisance:
    """A client that keeps its connection as long as it is let."""

    def __init__(self, number: int) -> None:
        self.lasts = number % len(MISDEEDS) < LASTING
        self._first, self._again = MISDEEDS[number % len(MISDEEDS)]
        self.connected = False

    async def go(self, port: int) -> None:
        """Connect, and do it wrong for as long as the connection lasts; what is answered is not taken."""
        with contextlib.suppress(OSError):
            _, writer = await asyncio.open_connection("127.0.0.1", port, limit=1024)
            self.connected = True
            writer.transport.pause_reading()  # type: ignore[attr-defined]
            try:
                writer.write(self._first)
                while not writer.is_closing():
                    await asyncio.sleep(0.3)
                    if self._again:
                        writer.write(self._again)
            finally:
                writer.transport.abort()

    async def go_on(self, port: int) -> None:
        """Do it again and again, until the task is cancelled."""
        while True:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(15):
                    await self.go(port)
            await asyncio.sleep(0.5)
