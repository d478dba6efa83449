"""An alarm as it is told to people and machines."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class AlarmState(StrEnum):
    """Where an alarm is in its life (ISA-18.2 / IEC 62682)."""

    NORMAL = "normal"
    PENDING = "pending"
    RAISED = "raised"
    ACKNOWLEDGED = "acknowledged"
    RETURNING = "returning"
    RETURNED = "returned"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed"


class Severity(StrEnum):
    """How soon somebody has to act."""

    URGENT = "urgent"
    WARNING = "warning"
    NOTICE = "notice"


class AlarmKind(StrEnum):
    """What an alarm is about; the value is the short name used in metrics and messages."""

    UNIT_NEAR_BUDGET = "unit-near-budget"
    UNIT_OVER_BUDGET = "unit-over-budget"
    PORT_ABOVE_PLAN = "port-above-plan"
    PORT_ABOVE_CLASS = "port-above-class"
    LOCAL_AC_LOST = "local-ac-lost"
    POE_FEED_LOST = "poe-feed-lost"
    DEVICE_MISSING = "planned-device-missing"
    DEVICE_UNPLANNED = "unplanned-device"
    POWER_DENIED = "power-denied"
    READING_STALE = "reading-stale"
    CREDENTIALS_REFUSED = "credentials-refused"
    WATTS_UNTOLD = "watts-untold"
    UNIT_REPLACED = "unit-replaced"
    NEXT_FAILURE_UNSAFE = "next-failure-unsafe"
    DRIFT = "drift"


@dataclass(frozen=True)
class Handling:
    """Who acknowledged an alarm or set it aside, why, and until when [s since the epoch; None: without an end]."""

    owner: str
    reason: str = ""
    until_s: float | None = None


@dataclass(frozen=True)
class Alarm:
    """One alarm. `sentence` says what, where, how much, since when.

    `summary` is what of it stays true when it is over. `handling` is there while a person has it in hand.
    `began_s` is when the condition was first seen, `raised_s` when the alarm came up, `ended_s` when it returned;
    not `began_seen`: it was there already at the first reading, so it is older than that.
    `last_seen_s` is when a fresh reading last showed the condition. Not `ended_seen`: readings were missing between
    that and `ended_s`, so that it ended somewhere in between.
    `value` and `limit` are in `unit` ("W", "days", ...); None where the kind has none.
    """

    kind: AlarmKind
    unit: str
    port: str | None
    state: AlarmState
    severity: Severity
    sentence: str
    consequence: str
    action: str
    why_severity: str
    began_s: float
    raised_s: float | None
    ended_s: float | None
    value: float | None = None
    limit: float | None = None
    measure: str = ""
    summary: str = ""
    handling: Handling | None = None
    began_seen: bool = True
    last_seen_s: float | None = None
    ended_seen: bool = True

    @property
    def key(self) -> tuple[str, str, str]:
        """Kind, unit and port: what makes it the same alarm the next time."""
        return (self.kind.value, self.unit, self.port or "")
