"""A receiver of alarms on loopback that behaves as badly as it is told to."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import Sequence
from typing import Any

Behaviour = int | str  # a status to answer, "hang" (says nothing), or "drop" (closes without an answer)


class Receiver:
    """Takes POST requests; `script` says how to treat the first ones, in order; all others are answered 204."""

    def __init__(self, script: Sequence[Behaviour] = ()) -> None:
        self.script = list(script)
        self.always: Behaviour | None = None
        self.refuse: set[int] = set()  # numbers of messages that are always answered 400
        self.heard: list[dict[str, Any]] = []
        self.headers: list[dict[str, str]] = []
        self.bodies: list[bytes] = []
        self.port = 0
        self._server: asyncio.Server | None = None
        self._stopped = asyncio.Event()

    @property
    def url(self) -> str:
        """Where it is, or was."""
        return f"http://127.0.0.1:{self.port}/alarms"

    @property
    def numbers(self) -> list[int]:
        """The numbers of all messages that came, also of those that were not taken."""
        return [int(message["number"]) for message in self.heard]

    async def start(self) -> Receiver:
        """Listen, at the port it had before if it had one."""
        self._stopped.clear()
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", self.port)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def stop(self) -> None:
        """Be dead, and let go of whoever hangs."""
        self._stopped.set()
        if self._server is not None:
            self._server.close()
            self._server = None
        await asyncio.sleep(0.02)

    async def until(self, count: int, within_s: float = 20.0) -> None:
        """Wait until so many messages came."""
        async with asyncio.timeout(within_s):
            while len(self.heard) < count:
                await asyncio.sleep(0.01)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(asyncio.IncompleteReadError, ConnectionError):
            head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1")
            lines = [line.partition(":") for line in head.split("\r\n")[1:] if line]
            headers = {name.lower(): value.strip() for name, _, value in lines}
            body = await reader.readexactly(int(headers["content-length"]))
            self.headers.append(headers)
            self.bodies.append(body)
            self.heard.append(json.loads(body))
            behaviour = self._next(self.heard[-1])
            if behaviour == "hang":
                await self._stopped.wait()
            if isinstance(behaviour, int):
                writer.write(f"HTTP/1.1 {behaviour} Said\r\nContent-Length: 0\r\nConnection: close\r\n\r\n".encode())
                await writer.drain()
        writer.close()

    def _next(self, message: dict[str, Any]) -> Behaviour:
        if message.get("number") in self.refuse:
            return 400
        if self.always is not None:
            return self.always
        return self.script.pop(0) if self.script else 204
