"""How figures, times and legs are put into words: alike on pages, in the terminal and in messages."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import UTC, datetime, tzinfo
from enum import StrEnum
from zoneinfo import ZoneInfo

from portdraw.judgement.alarm import Alarm, AlarmState, Severity
from portdraw.judgement.assessment import Availability, Carrying, Leg, UnitAssessment

UNKNOWN = "unknown"
SHOWN_STATES = frozenset({AlarmState.RAISED, AlarmState.ACKNOWLEDGED, AlarmState.RETURNING})
SEVERITY_RANK = {Severity.URGENT: 0, Severity.WARNING: 1, Severity.NOTICE: 2}


class LegShape(StrEnum):
    """How a leg is drawn."""

    CARRYING = "carrying"
    AVAILABLE = "available"
    LOST = "lost"
    UNKNOWN = "unknown"


def known(value: float | None) -> float | None:
    """Return the value, None where it is unknown or not a finite number."""
    return value if value is not None and math.isfinite(value) else None


def watts(value: float | None) -> str:
    """Return watts with one decimal, as every reading has that grain at best; "unknown" where it is."""
    figure = known(value)
    if figure is None:
        return UNKNOWN
    return f"{figure:.1f} W"


def figure(value: float | None) -> str:
    """Return watts without their unit, for columns whose head carries it."""
    number = known(value)
    return UNKNOWN if number is None else f"{number:.1f}"


def limit(value: float | None) -> str:
    """Return a limit in watts: "90 W" where it is whole, else one decimal."""
    number = known(value)
    if number is None:
        return UNKNOWN
    return f"{number:.0f} W" if abs(number - round(number)) < 0.05 else f"{number:.1f} W"


def age(seconds: float | None) -> str:
    """Return a span in its two largest useful parts: "12 s", "4 min", "3 h 10 min", "2 d 4 h"."""
    span = known(seconds)
    if span is None:
        return UNKNOWN
    whole = max(0, round(span))
    if whole < 120:
        return f"{whole} s"
    minutes = whole // 60
    if minutes < 120:
        return f"{minutes} min"
    hours = minutes // 60
    if hours < 48:
        return f"{hours} h {minutes % 60} min"
    return f"{hours // 24} d {hours % 24} h"


def share_text(percent: float | None) -> str:
    """Return a share of time in words: "62 %"; what is little is not rounded to nothing, nor what lacks to all."""
    number = known(percent)
    if number is None:
        return UNKNOWN
    if 0 < number < 1:
        return "less than 1 %"
    if 99 < number < 100:
        return "over 99 %"
    return f"{number:.0f} %"


WHOLE_PERCENT = 99.5  # common practice: below this, what was not read may hide something


def is_whole(percent: float | None) -> bool:
    """Say whether so much of a period was read that a sentence may speak of the whole of it."""
    return (known(percent) or 0.0) >= WHOLE_PERCENT


def in_what_was_read(percent: float | None) -> str:
    """Return "in what was read (62 % of the period)"."""
    return f"in what was read ({share_text(known(percent) or 0.0)} of the period)"


def seen_for(seconds: float, percent: float | None) -> str:
    """Return "30 s" where the whole period was read, else "at least 30 s": more may have gone unread."""
    return age(seconds) if is_whole(percent) else f"at least {age(seconds)}"


def zone(timezone: str) -> tzinfo:
    """Return the site's time zone; UTC where the name is unknown here (the pages then name it)."""
    try:
        return ZoneInfo(timezone)
    except (KeyError, ValueError, OSError):
        return UTC


def clock(time_s: float | None, timezone: str, now_s: float | None = None) -> str:
    """Return the site's time of day, with the date before it where it is not the day of `now_s`."""
    moment_s = known(time_s)
    if moment_s is None:
        return UNKNOWN
    where = zone(timezone)
    try:
        moment = datetime.fromtimestamp(moment_s, where)
        same_day = now_s is None or datetime.fromtimestamp(now_s, where).date() == moment.date()
    except (ValueError, OverflowError, OSError):
        return UNKNOWN
    return moment.strftime("%H:%M:%S" if same_day else "%Y-%m-%d %H:%M:%S")


def iso(time_s: float | None, timezone: str) -> str | None:
    """Return a time in ISO 8601 with the site's offset, None where unknown."""
    moment_s = known(time_s)
    if moment_s is None:
        return None
    try:
        return datetime.fromtimestamp(moment_s, zone(timezone)).isoformat(timespec="milliseconds")
    except (ValueError, OverflowError, OSError):
        return None


def since(time_s: float | None, timezone: str, now_s: float) -> str:
    """Return "14:02:31, 4 min ago"."""
    moment_s = known(time_s)
    if moment_s is None:
        return UNKNOWN
    return f"{clock(moment_s, timezone, now_s)}, {age(now_s - moment_s)} ago"


def leg_shape(leg: Leg) -> LegShape:
    """Return which of the four shapes a leg has. Unless something says otherwise it is unknown, never available."""
    if leg.availability is Availability.LOST:
        return LegShape.LOST
    if leg.carrying in (Carrying.ALL, Carrying.PART):
        return LegShape.CARRYING
    if leg.availability is Availability.UNKNOWN or leg.carrying is Carrying.UNKNOWN:
        return LegShape.UNKNOWN
    return LegShape.AVAILABLE


def leg_words(leg: Leg, timezone: str, now_s: float) -> str:
    """Return what a leg does and how sure that is: "carrying, believed", "lost since 14:02:31"."""
    shape = leg_shape(leg)
    if shape is LegShape.LOST:
        return "lost" if leg.since_s is None else f"lost since {clock(leg.since_s, timezone, now_s)}"
    if shape is LegShape.CARRYING:
        part = "carrying part" if leg.carrying is Carrying.PART else "carrying"
        return part if leg.availability is Availability.UNKNOWN else f"{part}, {leg.availability.value}"
    if shape is LegShape.AVAILABLE:
        return f"available, {leg.availability.value}"
    if leg.carrying is Carrying.NONE:
        return "not carrying, unknown if it could"
    if leg.availability is not Availability.UNKNOWN:
        return f"{leg.availability.value}, unknown if carrying"
    return UNKNOWN


def running_on(unit: UnitAssessment | None) -> str:
    """Return what still carries a unit: "PoE feed from core port 1, believed"."""
    if unit is None:
        return UNKNOWN
    carrying = [leg for leg in unit.legs if leg_shape(leg) is LegShape.CARRYING]
    if not carrying:
        if unit.legs and all(leg_shape(leg) is LegShape.LOST for leg in unit.legs):
            return "nothing: every leg is lost"
        return "unknown: no leg is known to carry"
    return " and ".join(
        f"{leg.name} from {leg.source}"
        + ("" if leg.availability is Availability.UNKNOWN else f", {leg.availability.value}")
        for leg in carrying
    )


def most_urgent_first(alarms: Iterable[Alarm]) -> list[Alarm]:
    """Return alarms by severity, the not yet acknowledged before the others, the newest first."""
    return sorted(
        alarms,
        key=lambda alarm: (
            SEVERITY_RANK[alarm.severity],
            alarm.state is AlarmState.ACKNOWLEDGED,
            -(alarm.raised_s if alarm.raised_s is not None else alarm.began_s),
            alarm.key,
        ),
    )
