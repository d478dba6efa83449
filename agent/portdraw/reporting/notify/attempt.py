"""One attempt to tell a receiver: how it went, and when to try again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from portdraw.reporting.site_json import Json

FIRST_WAIT_S = 5.0
LONGEST_WAIT_S = 900.0
TIMEOUT_S = 10.0


@dataclass(frozen=True)
class Attempt:
    """How one attempt went. `status` is the HTTP status of an answer; `error` is a sentence, "" if ok."""

    ok: bool
    status: int | None
    error: str
    took_s: float


class Notifier(Protocol):
    """A receiver of alarms that is reached in one way. No secret and no address shows in its errors or its repr."""

    @property
    def url(self) -> str:
        """Its address."""

    @property
    def way(self) -> str:
        """How it is reached, in a few words: "webhook", "syslog over TLS", "Alertmanager"."""

    async def send(self, message: Mapping[str, Json], tried: int, timeout_s: float) -> Attempt:
        """Send a message once, within `timeout_s`; `tried` counts the attempts before.

        Never raises for what the other side does.
        """


def backoff_s(attempt: int) -> float:
    """Return how long to wait after a failed attempt [s]: 5, 10, 20 ... up to 900. ValueError below 1."""
    if attempt < 1:
        raise ValueError("attempts are counted from 1")
    return float(min(LONGEST_WAIT_S, FIRST_WAIT_S * 2 ** min(attempt - 1, 20)))
