"""The connections that are open: how many of them, of whom, and which has to go.

Whoever has not yet sent a whole request can lose the place to a newcomer, the oldest first, so that silent clients
keep nobody out. Whoever is being answered keeps it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from portdraw.reporting.http.patience import MOST_UNSENT_OCTETS, Moment, Phase, Progress, follow, overdue
from portdraw.reporting.http.rate import client_key, is_loopback

_CAN_LOSE_PLACE = (Phase.GREETING, Phase.WAITING)


class Guest:
    """One open connection. `look` says what it is at, `cut` ends it at once."""

    def __init__(self, address: str, now_s: float) -> None:
        self.address = address
        self.look: Callable[[], Moment] = lambda: Moment(Phase.GREETING, 0, 0)
        self.cut: Callable[[], None] = lambda: None
        self.progress = Progress(self.look(), now_s)
        self.opened_s = now_s

    def follow(self, now_s: float) -> Progress:
        """Return its progress with what is so now."""
        self.progress = follow(self.progress, self.look(), now_s)
        return self.progress


class Door:
    """Who is in. Not thread-safe: the event loop calls it. Times are of a clock that only goes forward [s]."""

    def __init__(self, most: int, most_of_one: int) -> None:
        self._most = most
        self._most_of_one = most_of_one
        self._guests: set[Guest] = set()

    def __len__(self) -> int:
        return len(self._guests)

    def admit(self, address: str, now_s: float) -> Guest | None:
        """Take a newcomer in, if need be for the oldest that has asked nothing yet; None where there is no place.

        Clients on this machine share one address (tunnels, proxies), so that the bound on one does not hold there.
        """
        if not is_loopback(address):
            key = client_key(address)
            of_one = [guest for guest in self._guests if client_key(guest.address) == key]
            if len(of_one) >= self._most_of_one and not self._make_room(of_one, now_s):
                return None
        if len(self._guests) >= self._most and not self._make_room(self._guests, now_s):
            return None
        guest = Guest(address, now_s)
        self._guests.add(guest)
        return guest

    def leave(self, guest: Guest) -> None:
        """A connection has ended."""
        self._guests.discard(guest)

    def sweep(self, now_s: float) -> list[str]:
        """Cut what is overdue, and the largest of what waits to be taken where it is too much; return the reasons."""
        reasons = []
        unsent: list[tuple[int, Guest]] = []
        for guest in list(self._guests):
            progress = guest.follow(now_s)
            reason = overdue(progress, now_s)
            if reason:
                self._cut(guest)
                reasons.append(reason)
            elif progress.moment.unsent_octets:
                unsent.append((progress.moment.unsent_octets, guest))
        total = sum(octets for octets, _ in unsent)
        for octets, guest in sorted(unsent, key=lambda row: -row[0]):
            if total <= MOST_UNSENT_OCTETS:
                break
            self._cut(guest)
            total -= octets
            reasons.append("too much waits to be taken")
        return reasons

    def _make_room(self, among: Iterable[Guest], now_s: float) -> bool:
        idle = [guest for guest in among if guest.follow(now_s).moment.phase in _CAN_LOSE_PLACE]
        if not idle:
            return False
        self._cut(min(idle, key=lambda guest: guest.opened_s))
        return True

    def _cut(self, guest: Guest) -> None:
        self._guests.discard(guest)
        guest.cut()
