"""Stands between engine and agent on loopback and changes answers on their way."""

from __future__ import annotations

import asyncio
import random
from collections.abc import Callable
from typing import cast

Change = Callable[[bytes, random.Random], bytes]


class Meddler(asyncio.DatagramProtocol):
    """Passes questions on as they are, and answers as `change` leaves them; seeded. Made inside the running loop."""

    def __init__(self, agent_port: int, change: Change, seed: int) -> None:
        self.agent = ("127.0.0.1", agent_port)
        self.change = change
        self.asker: tuple[str, int] | None = None
        self.dice = random.Random(seed)
        self.passed = self.changed = 0

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Keep the socket."""
        self.transport = cast(asyncio.DatagramTransport, transport)

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        """Pass a datagram on."""
        if addr != self.agent:
            self.asker = addr
            self.transport.sendto(data, self.agent)
        elif self.asker is not None:
            sent = self.change(data, self.dice)
            self.passed += 1
            self.changed += sent != data
            self.transport.sendto(sent, self.asker)
