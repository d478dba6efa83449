"""How watts, times and names are written in sentences of assessments and alarms."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, tzinfo
from zoneinfo import ZoneInfo


def watts_text(watts: float) -> str:
    """Return watts [W] with one decimal: the grain that readings have at best."""
    return f"{watts:.1f} W"


def limit_text(watts: float) -> str:
    """Return a limit [W], without decimals where it is whole: "90 W", "14.4 W"."""
    return f"{watts:.0f} W" if abs(watts - round(watts)) < 0.05 else f"{watts:.1f} W"


def clock_text(time_s: float, now_s: float, timezone: str) -> str:
    """Return HH:MM by the site's clock, with the date before it where it is not today's. Times: s since the epoch."""
    zone = _zone(timezone)
    moment = datetime.fromtimestamp(time_s, zone)
    if moment.date() == datetime.fromtimestamp(now_s, zone).date():
        return moment.strftime("%H:%M")
    return moment.strftime("%Y-%m-%d %H:%M")


def day_text(time_s: float, timezone: str) -> str:
    """Return the date by the site's clock: "2026-03-02". Time: s since the epoch."""
    return datetime.fromtimestamp(time_s, _zone(timezone)).strftime("%Y-%m-%d")


def count_text(count: int, one: str, many: str | None = None) -> str:
    """Return "1 unit", "2 units"."""
    return f"{count} {one}" if count == 1 else f"{count} {many or one + 's'}"


def list_text(names: Sequence[str], most: int = 6) -> str:
    """Return "a", "a and b", "a, b and c"; a long list is cut and says by how much."""
    if len(names) > most:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def capital(sentence: str) -> str:
    """Return a sentence with its first letter large. Not for sentences that begin with a name."""
    return sentence[:1].upper() + sentence[1:]


def place_text(unit: str, place: str) -> str:
    """Return "north-pier (mast 3, north pier)", the name alone where no place is known."""
    return f"{unit} ({place})" if place else unit


def port_text(port: str, label: str, hangs: str) -> str:
    """Return "port 4 (A-04, lane-camera-2)" with what is known of label and device."""
    known = [part for part in (label, hangs) if part]
    return f"port {port} ({', '.join(known)})" if known else f"port {port}"


def _zone(name: str) -> tzinfo:
    try:
        return UTC if name == "UTC" else ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return UTC  # the site file's check names an unknown zone; a sentence must not fail for it
