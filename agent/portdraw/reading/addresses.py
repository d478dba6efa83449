"""Finds where a host name leads, in bounded time and without holding anybody else up.

A numeric address never waits. Every name is looked up by a thread of its own, once for all who ask: a name server
that hangs costs only those who wait for that name, until their own deadline.
"""

from __future__ import annotations

import asyncio
import ipaddress
import socket
import threading
from contextlib import suppress
from dataclasses import dataclass

from portdraw.reading.engine import Failure, ReadError

KEEP_S = 300.0  # a name is looked up again after this; common practice, no source

Found = list[tuple[bool, str]]


@dataclass(frozen=True, slots=True)
class Address:
    """A numeric address and port; IPv4 unless `is_v6`."""

    is_v6: bool
    host: str
    port: int

    @property
    def key(self) -> tuple[str, int]:
        """What identifies a sender of datagrams."""
        return (self.host, self.port)


class Addresses:
    """Looks names up and remembers them. Of the addresses of a name the one that answered last is taken.

    IPv4 comes first; the next one is tried after a silence, so that a name with both kinds is found by either.
    """

    def __init__(self) -> None:
        self._known: dict[str, tuple[Found, float]] = {}
        self._looking: dict[str, asyncio.Future[Found]] = {}
        self._turn: dict[str, int] = {}  # silences of a name: which of its addresses is asked

    def was_silent(self, host: str) -> None:
        """Ask the next address of a name from now on; a name that has one only stays with it."""
        if host in self._known:
            self._turn[host] = self._turn.get(host, 0) + 1

    async def find(self, host: str, port: int, timeout_s: float) -> Address:
        """Return the address of a host. Raises ReadError; a name known before outlives a failing name server."""
        with suppress(ValueError):
            numeric = ipaddress.ip_address(host)
            return Address(numeric.version == 6, str(numeric), port)
        now = asyncio.get_running_loop().time()
        found, at = self._known.get(host, ([], 0.0))
        if not found or now - at > KEEP_S:
            try:
                async with asyncio.timeout(timeout_s):
                    found = await asyncio.shield(self._look(host))
                self._known[host] = (found, now)
            except TimeoutError:
                if not found:
                    sentence = f"the address of {host} was not found within {timeout_s:.3g} s"
                    raise ReadError(Failure.UNREACHABLE, sentence) from None
            except (OSError, UnicodeError):
                if not found:
                    raise ReadError(Failure.UNREACHABLE, f"the address of {host} can't be found") from None
        is_v6, numeric_host = found[self._turn.get(host, 0) % len(found)]
        return Address(is_v6, numeric_host, port)

    def _look(self, host: str) -> asyncio.Future[Found]:
        if host not in self._looking:
            loop = asyncio.get_running_loop()
            future: asyncio.Future[Found] = loop.create_future()
            future.add_done_callback(lambda done: self._forget(host, done))
            self._looking[host] = future
            # a daemon thread: a hanging name server must not keep the program from ending
            threading.Thread(target=_resolve, args=(loop, future, host), daemon=True).start()
        return self._looking[host]

    def _forget(self, host: str, done: asyncio.Future[Found]) -> None:
        self._looking.pop(host, None)
        if not done.cancelled():
            done.exception()  # seen: nobody may be waiting any longer


def _resolve(loop: asyncio.AbstractEventLoop, future: asyncio.Future[Found], host: str) -> None:
    found: Found = []
    failure: Exception | None = None
    try:
        for family, _, _, _, address in socket.getaddrinfo(host, None, type=socket.SOCK_DGRAM):
            if family in (socket.AF_INET, socket.AF_INET6):
                found.append((family == socket.AF_INET6, str(address[0])))
        found = list(dict.fromkeys(found))
        found.sort(key=lambda entry: entry[0])
    except (OSError, UnicodeError) as error:
        failure = error
    if not found and failure is None:
        failure = OSError("no address")

    def settle() -> None:
        if future.done():
            return
        if failure is not None:
            future.set_exception(failure)
        else:
            future.set_result(found)

    with suppress(RuntimeError):  # the loop is closed: nobody waits
        loop.call_soon_threadsafe(settle)
