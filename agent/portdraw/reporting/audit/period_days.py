"""The days of a period, gone through once: what an audit keeps of them. No single port-day stays in memory."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from portdraw.history.port_day import PortDay, PortDaySum
from portdraw.reporting.audit.audit_rows import UnitDaySummary
from portdraw.reporting.audit.drift_rows import WHOLE_DAY_S

Key = tuple[str, str | None]  # unit and port; the port of a unit's sum is None


@dataclass(frozen=True)
class PeriodDays:
    """A period: each port's days as one, its (day, 95th percentile in W) points of whole days, each unit's days."""

    merged: Mapping[Key, PortDay]
    points: Mapping[Key, list[tuple[float, float]]]
    unit_days: Mapping[str, list[UnitDaySummary]]


def period_days(days: Iterable[PortDay]) -> PeriodDays:
    """Go through the port-days of a period, oldest first."""
    sums: dict[Key, PortDaySum] = {}
    points: dict[Key, list[tuple[float, float]]] = {}
    unit_days: dict[str, list[UnitDaySummary]] = {}
    for day in days:
        key = (day.unit, day.port)
        one = sums.get(key)
        if one is None:
            sums[key] = PortDaySum(day)
        else:
            one.add(day)
        p95_w = day.percentile(95)
        if p95_w is not None and day.seconds_known >= WHOLE_DAY_S:
            points.setdefault(key, []).append((float(day.day.toordinal()), p95_w))
        if day.port is None:
            summary = UnitDaySummary(day.first_day, day.percentile(50), p95_w, day.max_w)
            unit_days.setdefault(day.unit, []).append(summary)
    return PeriodDays({key: one.whole() for key, one in sums.items()}, points, unit_days)
