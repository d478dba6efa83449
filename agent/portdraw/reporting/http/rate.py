"""How many requests one client may make: a token bucket for each, as a function of the time given."""

from __future__ import annotations

import ipaddress
from collections import OrderedDict
from dataclasses import dataclass

MOST_CLIENTS = 4096


@dataclass(frozen=True)
class Bucket:
    """What is left of a client's requests at a time [s, any clock that only goes forward]."""

    left: float
    time_s: float


def take(bucket: Bucket, now_s: float, per_s: float, burst: float) -> tuple[Bucket, float]:
    """Take one request at `now_s`; return what is left then, and how many seconds to wait, 0.0 where it may pass.

    A request that has to wait takes nothing. A clock that goes back fills nothing.
    """
    left = min(burst, bucket.left + max(0.0, now_s - bucket.time_s) * per_s)
    if left >= 1.0:
        return Bucket(left - 1.0, now_s), 0.0
    return Bucket(left, now_s), (1.0 - left) / per_s


class RateLimit:
    """The buckets of the clients seen last; the memory they take is bounded."""

    def __init__(self, per_s: float, burst: float) -> None:
        self._per_s = per_s
        self._burst = burst
        self._buckets: OrderedDict[str, Bucket] = OrderedDict()

    def wait_s(self, key: str, now_s: float) -> float:
        """Count a request of a client; return how many seconds it has to wait, 0.0 where it may pass."""
        before = self._buckets.pop(key, Bucket(self._burst, now_s))
        after, wait_s = take(before, now_s, self._per_s, self._burst)
        self._buckets[key] = after
        if len(self._buckets) > MOST_CLIENTS:
            self._buckets.popitem(last=False)
        return wait_s


def client_key(address: str) -> str:
    """Return what counts as one client: an IPv4 address, or the /64 of an IPv6 address (one network, RFC 4291)."""
    try:
        parsed = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(parsed, ipaddress.IPv6Address):
        mapped = parsed.ipv4_mapped
        return str(ipaddress.IPv6Network((parsed, 64), strict=False)) if mapped is None else str(mapped)
    return str(parsed)


def is_loopback(address: str) -> bool:
    """Say whether an address is this machine's own."""
    try:
        parsed = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return False
    mapped = parsed.ipv4_mapped if isinstance(parsed, ipaddress.IPv6Address) else None
    return (mapped or parsed).is_loopback
