"""Who is being asked at this moment, and what has come from there: free of any SNMP library.

Datagrams from anybody else need not be looked at, and an answer counts only when it comes from whom was asked.
"""

from __future__ import annotations

import asyncio

from portdraw.reading.engine import Answer
from portdraw.reading.varbind import Varbind

GARBAGE_GRACE_S = 0.3  # wait after an answer that can't be decoded, as the right one may follow; no source


class Asked:
    """One request on its way: to whom, and what has come from there meanwhile."""

    def __init__(self, key: tuple[str, int]) -> None:
        self.key = key
        self.future: asyncio.Future[Answer] = asyncio.get_running_loop().create_future()
        self.heard = 0
        self.garbage = False
        self.limit: asyncio.Timeout | None = None

    def hear_garbage(self) -> None:
        """Wait only a little longer: the right answer may still follow, but most likely this was it."""
        self.garbage = True
        if self.limit is None or self.future.done():
            return
        soon = asyncio.get_running_loop().time() + GARBAGE_GRACE_S
        if (self.limit.when() or soon) > soon:
            self.limit.reschedule(soon)

    def hear_stranger(self, error: Exception) -> None:
        """Another SNMP engine answers at this address: the question must be asked anew, of the new one."""
        if not self.future.done():
            self.future.set_exception(error)


class Desk:
    """Who is being asked now. A datagram from anybody else is dropped before anything decodes it."""

    def __init__(self) -> None:
        self._asked: dict[tuple[str, int], list[Asked]] = {}
        self.sender: tuple[str, int] | None = None  # of the datagram being digested now
        self.bindings: tuple[Varbind, ...] | None = None  # taken out of that datagram; None: the library has them

    def add(self, asked: Asked) -> None:
        """Begin to listen to whom was asked."""
        self._asked.setdefault(asked.key, []).append(asked)

    def remove(self, asked: Asked) -> None:
        """Stop listening on behalf of one request."""
        left = [other for other in self._asked[asked.key] if other is not asked]
        if left:
            self._asked[asked.key] = left
        else:
            del self._asked[asked.key]

    def of(self, sender: tuple[str, int]) -> list[Asked]:
        """Return the requests that wait for an answer from `sender`."""
        return self._asked.get(sender, [])
