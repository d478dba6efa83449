"""An agent on loopback that misbehaves on command. It answers v2c with BER of its own.

A behaviour is a function of the agent, the question and who asked; it sends what it likes. `honest` is the good one.
"""

from __future__ import annotations

import asyncio
import bisect
import socket
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from itertools import accumulate
from typing import cast

from tests.reading import ber
from tests.reading.ber import Arcs, Request

COMMUNITY = b"watch-only"
Sender = tuple[str, int]
Behaviour = Callable[["ScriptedAgent", Request, Sender], None]

UPTIME = (1, 3, 6, 1, 2, 1, 1, 3, 0)
PORT_TABLE = (1, 3, 6, 1, 2, 1, 105, 1, 1, 1)
GROUP_TABLE = (1, 3, 6, 1, 2, 1, 105, 1, 3, 1, 1)
WATTS = (1, 3, 6, 1, 4, 1, 1916, 1, 27, 2, 1, 1, 6)
IF_TYPE = (1, 3, 6, 1, 2, 1, 2, 2, 1, 3)
IF_NAME = (1, 3, 6, 1, 2, 1, 31, 1, 1, 1, 1)


def switch_rows(ports: int = 8) -> dict[Arcs, bytes]:
    """Return the tables of a switch whose odd ports deliver 2.5 W and a tenth of a watt more for every port."""
    rows: dict[Arcs, bytes] = {UPTIME: ber.integer(360_000, ber.TIMETICKS)}
    for port in range(1, ports + 1):
        delivers = port % 2 == 1
        for column, value in ((3, 1), (6, 3 if delivers else 2), (7, 3), (10, 4 if delivers else 1)):
            rows[(*PORT_TABLE, column, 1, port)] = ber.integer(value)
        for column in (8, 11, 12, 13, 14):
            rows[(*PORT_TABLE, column, 1, port)] = ber.integer(0, ber.COUNTER32)
        rows[(*WATTS, 1, port)] = ber.integer(2500 + 100 * port if delivers else 0, ber.GAUGE32)
        rows[(*IF_TYPE, port)] = ber.integer(6)
        rows[(*IF_NAME, port)] = ber.tlv(ber.OCTETS, f"port {port}".encode())
    total_w = sum(2500 + 100 * port for port in range(1, ports + 1, 2)) // 1000
    rows[(*GROUP_TABLE, 2, 1)] = ber.integer(100_000, ber.GAUGE32)
    rows[(*GROUP_TABLE, 3, 1)] = ber.integer(1)
    rows[(*GROUP_TABLE, 4, 1)] = ber.integer(total_w, ber.GAUGE32)
    return rows


def honest(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """Answer as RFC 3416 says."""
    agent.send(agent.answer(question), sender)


class ScriptedAgent(asyncio.DatagramProtocol):
    """Holds rows, counts questions, and lets `behave` answer them."""

    def __init__(self, rows: Mapping[Arcs, bytes], behave: Behaviour = honest) -> None:
        self.rows = dict(rows)
        self.order = sorted(self.rows)
        self.behave = behave
        self.questions = 0
        self.port = 0
        self.transport: asyncio.DatagramTransport | None = None
        self._timers: list[asyncio.TimerHandle] = []

    @property
    def address(self) -> str:
        """Where it listens, as a site file writes it."""
        return f"127.0.0.1:{self.port}"

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Note the port."""
        self.transport = cast(asyncio.DatagramTransport, transport)
        self.port = int(transport.get_extra_info("sockname")[1])

    def datagram_received(self, data: bytes, addr: Sender) -> None:
        """Take a question; what is no v2c question is dropped, as agents do."""
        try:
            question = ber.parse(data)
        except (ValueError, IndexError):
            return
        if question.community == COMMUNITY:
            self.questions += 1
            self.behave(self, question, addr)

    def send(self, data: bytes, to: Sender, after_s: float = 0.0) -> None:
        """Send now, or later."""
        assert self.transport is not None
        if after_s:
            self._timers.append(asyncio.get_running_loop().call_later(after_s, self.send, data, to))
        elif not self.transport.is_closing():
            self.transport.sendto(data, to)

    def close(self) -> None:
        """Say nothing more."""
        for timer in self._timers:
            timer.cancel()
        if self.transport is not None:
            self.transport.close()

    def answer(self, question: Request, most: int = 1000, most_octets: int = 1400) -> bytes:
        """Return the right answer; GETBULK ends where `most` bindings or `most_octets` are reached."""
        bindings = self.bindings(question, most)
        if question.pdu == ber.GETBULK:
            sizes = accumulate(map(len, bindings))
            bindings = [one for one, size in zip(bindings, sizes, strict=True) if size <= most_octets] or bindings[:1]
        return self.response(question, bindings)

    def response(self, question: Request, bindings: list[bytes], status: int = 0, index: int = 0) -> bytes:
        """Return a response to a question with any bindings."""
        return ber.message(question.community, ber.RESPONSE, question.request_id, status, index, bindings)

    def refusal(self, question: Request, status: int, index: int = 0) -> bytes:
        """Return a response with an error-status and the names as they were asked."""
        return self.response(
            question, [ber.binding(name, ber.tlv(ber.NULL, b"")) for name in question.names], status, index
        )

    def bindings(self, question: Request, most: int = 1000) -> list[bytes]:
        """Return the right bindings for GET, GETNEXT and GETBULK."""
        if question.pdu == ber.GET:
            missing = ber.tlv(ber.NO_SUCH_INSTANCE, b"")
            return [ber.binding(name, self.rows.get(name, missing)) for name in question.names]
        out: list[bytes] = []
        at = list(question.names)
        for _ in range(question.repetitions if question.pdu == ber.GETBULK else 1):
            for position, name in enumerate(at):
                place = bisect.bisect_right(self.order, name)
                if len(out) >= most:
                    return out
                if place == len(self.order):
                    out.append(ber.binding(name, ber.tlv(ber.END_OF_MIB_VIEW, b"")))
                else:
                    at[position] = self.order[place]
                    out.append(ber.binding(at[position], self.rows[at[position]]))
        return out


@asynccontextmanager
async def scripted_agent(
    behave: Behaviour = honest, rows: Mapping[Arcs, bytes] | None = None
) -> AsyncIterator[ScriptedAgent]:
    """Run an agent on a free loopback port inside the running loop."""
    agent = ScriptedAgent(switch_rows() if rows is None else rows, behave)
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sock.setblocking(False)
    sock.bind(("127.0.0.1", 0))
    await asyncio.get_running_loop().create_datagram_endpoint(lambda: agent, sock=sock)
    try:
        yield agent
    finally:
        agent.close()
