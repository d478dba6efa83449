"""Sends one syslog line over TCP, TLS or UDP, and over TCP and TLS waits until the receiver has read to the end.

Syslog has no answer. Over TCP and TLS we therefore end our side after each message and wait for the receiver to end
its own, which it does once it has read everything: a receiver that hangs or dies in between is noticed, and the
message is sent again. Over UDP nothing can be known: sent counts as delivered.
"""

from __future__ import annotations

import asyncio
import os
import socket
import ssl
import time
from collections.abc import Mapping
from dataclasses import dataclass, field

from portdraw.reporting.notify.attempt import Attempt
from portdraw.reporting.notify.http_post import connect_words
from portdraw.reporting.notify.receiver_address import split_syslog
from portdraw.reporting.notify.syslog_message import syslog_line
from portdraw.reporting.site_json import Json

_REFUSAL_WAIT_S = 0.1  # how long a host's "nothing listens there" (ICMP) is waited for after a datagram
_WAYS = {"tcp": "syslog over TCP", "tls": "syslog over TLS", "udp": "syslog over UDP"}


@dataclass(frozen=True)
class Syslog:
    """A receiver of RFC 5424 messages: RFC 6587 octet counting over TCP, RFC 5425 over TLS, RFC 5426 over UDP."""

    url: str = field(repr=False)
    facility: int
    tls: ssl.SSLContext | None = field(default=None, repr=False)

    @property
    def way(self) -> str:
        """How it is reached."""
        return _WAYS[split_syslog(self.url)[0]]

    async def send(self, message: Mapping[str, Json], tried: int, timeout_s: float) -> Attempt:
        """Send a message once, within `timeout_s`."""
        scheme, host, port = split_syslog(self.url)
        line = syslog_line(message, self.facility, socket.gethostname(), os.getpid())
        began_s = time.monotonic()
        try:
            async with asyncio.timeout(timeout_s):
                if scheme == "udp":
                    await _datagram(host, port, line)
                else:
                    tls = (self.tls or ssl.create_default_context()) if scheme == "tls" else None
                    await _stream(host, port, tls, b"%d %s" % (len(line), line))
            error = ""
        except TimeoutError:
            error = f"not taken within {timeout_s:g} s"
        except (OSError, ssl.SSLError) as problem:
            error = _words(problem)
        except Exception as problem:  # whatever a receiver does, it may not end the agent
            error = f"the exchange broke off ({type(problem).__name__})"
        return Attempt(not error, None, error, time.monotonic() - began_s)


class _BrokenOffError(OSError):
    """The connection ended before the receiver had read everything."""


async def _stream(host: str, port: int, tls: ssl.SSLContext | None, frame: bytes) -> None:
    reader, writer = await asyncio.open_connection(host, port, ssl=tls, server_hostname=host if tls else None)
    try:
        writer.write(frame)
        try:
            await writer.drain()
            if tls is None:
                writer.write_eof()
                while await reader.read(4096):
                    pass  # a syslog receiver says nothing; whatever comes is no answer
            else:
                writer.close()  # sends close_notify and waits for the other side's
                await writer.wait_closed()
        except OSError as problem:
            raise _BrokenOffError(str(problem)) from problem
    finally:
        writer.transport.abort()


async def _datagram(host: str, port: int, line: bytes) -> None:
    loop = asyncio.get_running_loop()
    refused: asyncio.Future[Exception] = loop.create_future()

    class Listening(asyncio.DatagramProtocol):
        def error_received(self, exc: Exception) -> None:
            if not refused.done():
                refused.set_result(exc)

    transport, _ = await loop.create_datagram_endpoint(Listening, remote_addr=(host, port))
    try:
        transport.sendto(line)
        done, _ = await asyncio.wait([refused], timeout=_REFUSAL_WAIT_S)
        if done:
            raise refused.result()
    finally:
        transport.close()


def _words(problem: Exception) -> str:
    if isinstance(problem, _BrokenOffError):
        return "the connection broke off before all was read"
    if isinstance(problem, (ssl.SSLError, ConnectionRefusedError, socket.gaierror)):
        return connect_words(problem)
    reason = problem.strerror if isinstance(problem, OSError) else None
    return f"no connection: {reason.lower()}" if reason else connect_words(problem)
