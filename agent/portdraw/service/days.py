"""What is done once a day: days are closed, trends worked out anew. Plain functions that any clock can call."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from portdraw.history.store import History
from portdraw.judgement.assessment import SiteAssessment
from portdraw.judgement.condition import Condition
from portdraw.judgement.drift import drift_conditions
from portdraw.judgement.live_load import METER_PERCENT
from portdraw.judgement.look_ahead import NightDraws
from portdraw.plan.site import Night, Site
from portdraw.powerflow.load import Reading
from portdraw.powerflow.port_link import PortId

TREND_DAYS = 28
NIGHT_DAYS = 14  # tonight is as large as the largest of so many nights: common practice
WHOLE_DAY_SHARE = 0.8  # a day counts for a trend when at least this share of it was read


def local_day(time_s: float, timezone: str) -> str:
    """Return the site's calendar day, "2026-03-02"."""
    return datetime.fromtimestamp(time_s, ZoneInfo(timezone)).date().isoformat()


def close_days(history: History, time_s: float) -> None:
    """Close every local day that is over. Raises HistoryError."""
    history.close_days(time_s)


def daily_points(
    history: History, time_s: float, timezone: str
) -> dict[tuple[str, str | None], list[tuple[float, float]]]:
    """Return (day ordinal, 95th percentile in watts) by unit and port of the last whole days. Raises HistoryError."""
    today = datetime.fromtimestamp(time_s, ZoneInfo(timezone)).date()
    points: dict[tuple[str, str | None], list[tuple[float, float]]] = defaultdict(list)
    for day in history.each_port_day(today - timedelta(days=TREND_DAYS), today - timedelta(days=1)):
        p95_w = day.percentile(95)
        if p95_w is not None and day.seconds_known >= WHOLE_DAY_SHARE * 86_400:
            points[(day.unit, day.port)].append((float(day.day.toordinal()), p95_w))
    return {key: sorted(values) for key, values in points.items()}


def drift_of(history: History, assessment: SiteAssessment, time_s: float) -> tuple[Condition, ...]:
    """Return the drift conditions of today. Raises HistoryError."""
    points = daily_points(history, time_s, assessment.timezone)
    today = float(datetime.fromtimestamp(time_s, ZoneInfo(assessment.timezone)).date().toordinal())
    return tuple(drift_conditions(assessment, points, today))


def night_draws(history: History, site: Site, time_s: float) -> NightDraws | None:
    """Return the load of tonight: the largest draws of the last days in one hour of the night, the fullest of them.

    The most that a port may draw is its largest in any hour of the night. A site without a night has all hours.
    None where no night was read. Raises HistoryError.
    """
    today = datetime.fromtimestamp(time_s, ZoneInfo(site.site.timezone)).date()
    hours = night_hours(site.site.night)
    largest: dict[PortId, list[int]] = {}
    feeds = {(name, key) for name, unit in site.units.items() for key, port in unit.ports.items() if port.feeds}
    for day in history.each_port_day(today - timedelta(days=NIGHT_DAYS), today - timedelta(days=1)):
        if day.port is None or (day.unit, day.port) in feeds:
            continue
        at_hour = [day.hour_max_dw[hour] for hour in hours]
        before = largest.get((day.unit, day.port))
        largest[day.unit, day.port] = at_hour if before is None else list(map(max, before, at_hour))
    read = {port: at_hour for port, at_hour in largest.items() if max(at_hour) >= 0}
    if not read:
        return None
    sums = [sum(max(0, at_hour[place]) for at_hour in read.values()) for place in range(len(hours))]
    fullest = max(range(len(hours)), key=sums.__getitem__)
    readings = {port: _night_reading(at_hour, fullest) for port, at_hour in read.items()}
    hour = hours[fullest]
    words = f"each port's largest draw of {hour:02}:00 to {(hour + 1) % 24:02}:00 in the last {NIGHT_DAYS} days"
    return NightDraws(readings, words)


def night_hours(night: Night | None) -> tuple[int, ...]:
    """Return the hours of the local day that lie wholly within a night; of a shorter night those that it touches."""
    if night is None:
        return tuple(range(24))
    begins, ends = _minutes(night.start), _minutes(night.end)
    ends += 0 if ends > begins else 24 * 60
    hours = range(-(-begins // 60), ends // 60) or range(begins // 60, -(-ends // 60))
    return tuple(hour % 24 for hour in hours)


def _night_reading(at_hour: list[int], fullest: int) -> Reading:
    """Return a port's draw in the fullest hour, with the largest of the whole night as the most [W]."""
    most_w = max(at_hour) / 10
    likely_w = most_w if at_hour[fullest] < 0 else at_hour[fullest] / 10
    spread = METER_PERCENT / 100
    return Reading(likely_w, likely_w * (1 - spread), most_w * (1 + spread))


def _minutes(time_of_day: str) -> int:
    hour, minute = time_of_day.split(":")[:2]
    return 60 * int(hour) + int(minute)
