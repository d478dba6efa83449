"""What is done once a day: days are closed, trends worked out anew. Plain functions that any clock can call."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from portdraw.history.store import History
from portdraw.judgement.assessment import SiteAssessment
from portdraw.judgement.condition import Condition
from portdraw.judgement.drift import drift_conditions

TREND_DAYS = 28
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
