"""What the pages, metrics and messages are made from: the newest assessment and the agent's own health."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

from portdraw.judgement.assessment import SiteAssessment
from portdraw.reading.notification_gate import NotificationCounts


class ReceiverHealth(NamedTuple):
    """How the last delivery to one receiver of alarms went; `last_error` is "" where it went well."""

    name: str
    ok: bool
    last_error: str


@dataclass(frozen=True)
class AgentHealth:
    """The agent about itself. Times are on the site clock, in seconds since the epoch.

    `overdue_units` are units whose poll is past its due time. `why_not_ready` is a sentence, "" when ready.
    A cycle older than `late_after_s` makes every page say that its news is old. `clock_note` is a sentence while the
    machine's clock was set lately, `busy_note` while an emulated site's time is too fast for the machine. `emulated`
    holds before the first cycle too. `notifications` is None where none are listened for. `polling` has by unit how
    many requests were sent to it, and how many seconds that took.
    """

    started_s: float
    last_cycle_s: float | None
    last_cycle_took_s: float | None
    cycles: int
    overdue_units: tuple[str, ...]
    history_ok: bool
    history_error: str
    receivers: tuple[ReceiverHealth, ...]
    version: str
    ready: bool
    why_not_ready: str
    late_after_s: float = 180.0
    clock_note: str = ""
    busy_note: str = ""
    emulated: bool = False
    notifications: NotificationCounts | None = None
    polling: Mapping[str, tuple[int, float]] = field(default_factory=dict)


class Source(Protocol):
    """Where reporting gets its facts. Called from worker threads: answer at once, with frozen facts."""

    def assessment(self) -> SiteAssessment | None:
        """Return the newest assessment, None before the first cycle has ended."""
        ...

    def health(self) -> AgentHealth:
        """Return how the agent itself is doing."""
        ...

    def now_s(self) -> float:
        """Return the site clock (seconds since the epoch)."""
        ...
