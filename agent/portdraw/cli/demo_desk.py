"""The demo's receiver of alarms: a small web server on loopback that keeps and prints what it is told."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable

MOST_OCTETS = 256 * 1024
TIMEOUT_S = 5.0


class DemoDesk:
    """Accepts POST on 127.0.0.1 and hands each JSON message on; `messages` keeps them all."""

    def __init__(self, on_message: Callable[[dict[str, object]], None]) -> None:
        self._on_message = on_message
        self._server: asyncio.Server | None = None
        self.messages: list[dict[str, object]] = []
        self.url = ""

    async def start(self) -> None:
        """Listen on a free port."""
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", 0, limit=MOST_OCTETS)
        port = self._server.sockets[0].getsockname()[1]
        self.url = f"http://127.0.0.1:{port}/alarms"

    async def stop(self) -> None:
        """Stop listening."""
        if self._server is not None:
            self._server.close()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        status = "400 Bad Request"
        try:
            async with asyncio.timeout(TIMEOUT_S):
                head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1")
                length = next(
                    (
                        int(line.split(":", 1)[1])
                        for line in head.split("\r\n")
                        if line.lower().startswith("content-length:")
                    ),
                    0,
                )
                if 0 < length <= MOST_OCTETS:
                    message = json.loads(await reader.readexactly(length))
                    self.messages.append(message)
                    self._on_message(message)
                    status = "204 No Content"
        except (TimeoutError, ValueError, asyncio.IncompleteReadError, asyncio.LimitOverrunError):
            pass
        finally:
            writer.write(f"HTTP/1.1 {status}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n".encode())
            writer.close()
