"""Who may hint at what, and how often: senders by address, and the bounds of a flood. Free of any SNMP library."""

from __future__ import annotations

import ipaddress
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from portdraw.reading.addresses import Addresses
from portdraw.reading.engine import ReadError, Target

# Bounds of a flood; common practice, no source. RFC 3621 limits one port to two notifications a second, but not how
# many ports may speak at once: a 48-port switch that restarts sends some hundred, of which a few are enough.
UNIT_BURST, UNIT_A_SECOND = 40.0, 4.0
ALL_BURST, ALL_A_SECOND = 200.0, 50.0
LOOK_UP_WITHIN_S = 5.0


class Fate(StrEnum):
    """What became of a datagram."""

    TAKEN = "taken"
    UNKNOWN = "unknown sender"
    REFUSED = "credentials refused"
    MALFORMED = "not understood"
    DROPPED = "too many"


@dataclass(frozen=True)
class NotificationCounts:
    """Datagrams since the start by their fate, and those taken by unit."""

    fates: Mapping[Fate, int]
    units: Mapping[str, int]


@dataclass
class Bucket:
    """A token bucket: `burst` at once, `a_second` in the long run. The time is given [s, monotonic]."""

    burst: float
    a_second: float
    left: float = field(init=False)
    at_s: float = 0.0

    def __post_init__(self) -> None:
        self.left = self.burst

    def take(self, now_s: float) -> bool:
        """Take one token, if there is one."""
        self.left = min(self.burst, self.left + max(0.0, now_s - self.at_s) * self.a_second)
        self.at_s = now_s
        if self.left < 1:
            return False
        self.left -= 1
        return True


class Senders:
    """Which units an address belongs to. Several may stand behind one: then each is meant.

    A unit whose port is the sender's own as well is meant alone. Names are looked up by `refresh`.
    """

    def __init__(self, targets: Mapping[str, Target]) -> None:
        self._targets = dict(targets)
        self._addresses = Addresses()
        self._hosts: dict[str, str] = {}  # of each unit, in numbers
        for name, target in self._targets.items():
            numeric = plain_host(target.host)
            if numeric is not None:
                self._hosts[name] = numeric
        self._index()

    async def refresh(self) -> None:
        """Look up the units that are known by a host name; what can't be found keeps its last address."""
        for name, target in self._targets.items():
            if plain_host(target.host) is None:
                try:
                    found = await self._addresses.find(target.host, target.port, LOOK_UP_WITHIN_S)
                except ReadError:
                    continue
                self._hosts[name] = found.host
        self._index()

    @property
    def has_names(self) -> bool:
        """True where some unit is known by a host name."""
        return any(plain_host(target.host) is None for target in self._targets.values())

    def units_of(self, host: str, port: int) -> tuple[str, ...]:
        """Return the units that a datagram from there is about, none where nobody is known there."""
        numeric = plain_host(host) or host
        alone = self._by_port.get((numeric, port))
        return (alone,) if alone is not None else self._by_host.get(numeric, ())

    def _index(self) -> None:
        self._by_port: dict[tuple[str, int], str] = {}
        self._by_host: dict[str, tuple[str, ...]] = {}
        for name, host in self._hosts.items():
            self._by_port[host, self._targets[name].port] = name
            self._by_host[host] = (*self._by_host.get(host, ()), name)


class Gate:
    """Counts what comes and lets through as much as the bounds allow."""

    def __init__(self, senders: Senders) -> None:
        self.senders = senders
        self._all = Bucket(ALL_BURST, ALL_A_SECOND)
        self._of_host: dict[str, Bucket] = {}
        self._fates: Counter[Fate] = Counter()
        self._units: Counter[str] = Counter()

    def admit(self, host: str, port: int, now_s: float) -> tuple[str, ...]:
        """Return the units that a datagram is about; none where it need not be looked at, which is counted."""
        units = self.senders.units_of(host, port)
        if not units:
            self.count(Fate.UNKNOWN)
            return ()
        # a bucket for each set of units that are meant together: no more of them than there are units, twice
        bucket = self._of_host.setdefault("\n".join(units), Bucket(UNIT_BURST, UNIT_A_SECOND))
        if not (bucket.take(now_s) and self._all.take(now_s)):
            self.count(Fate.DROPPED)
            return ()
        return units

    def count(self, fate: Fate, units: tuple[str, ...] = ()) -> None:
        """Count a datagram, and the units that it was about."""
        self._fates[fate] += 1
        self._units.update(units)

    def counts(self) -> NotificationCounts:
        """Return the counts so far."""
        return NotificationCounts({fate: self._fates[fate] for fate in Fate}, dict(self._units))


def plain_host(host: str) -> str | None:
    """Return a numeric address in its one spelling, None for a name; IPv4 within IPv6 is IPv4 (RFC 4291, 2.5.5.2)."""
    try:
        numeric = ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return None
    mapped = numeric.ipv4_mapped if isinstance(numeric, ipaddress.IPv6Address) else None
    return str(mapped or numeric)
