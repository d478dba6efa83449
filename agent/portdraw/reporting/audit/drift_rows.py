"""The trend of every unit and device port over the days of the period, by the robust trend of `judgement`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from portdraw.judgement.drift import LEAST_RISE_PERCENT, LEAST_RISE_W
from portdraw.judgement.trend import DaysTo, NoTrend, Trend, days_to, trend
from portdraw.reporting.audit.audit_rows import DriftRow
from portdraw.reporting.wording import limit, watts

WHOLE_DAY_S = 0.8 * 86_400  # a day counts when its watts are known for this long: common practice

Key = tuple[str, str | None]
Marks = Sequence[tuple[str, float | None]]


def drift_rows(
    points: Mapping[Key, Sequence[tuple[float, float]]], marks: Mapping[Key, Marks], today: date
) -> tuple[DriftRow, ...]:
    """Return the trend of each unit (port None) and port in `marks`, the clear rises first.

    `marks` has what each may meet, by name, in W at the PSE output; the last of them is its limit. Points are the
    day (its ordinal) and the 95th percentile [W] of whole days.
    """
    rows = [_row(key, marks[key], points[key], float(today.toordinal())) for key in marks if key in points]
    return tuple(sorted(rows, key=lambda row: (not row.rising, row.days_to_limit is None, row.days_to_limit or 0.0)))


def _row(key: Key, marks: Marks, points: Sequence[tuple[float, float]], today: float) -> DriftRow:
    found = trend(points)
    limit_w = marks[-1][1] if marks else None
    if isinstance(found, NoTrend):
        return DriftRow(*key, False, None, None, None, limit_w, None, f"The data can't say. {found.reason}")
    rise_w = found.slope_w_per_day * (found.last_day - found.first_day)
    rising = found.rises and rise_w >= max(LEAST_RISE_W, found.mid_w * LEAST_RISE_PERCENT / 100)
    to_limit = days_to(found, limit_w, today) if rising and limit_w is not None else None
    return DriftRow(
        *key,
        rising=rising,
        w_per_day=found.slope_w_per_day,
        low_w_per_day=found.low_w_per_day,
        high_w_per_day=found.high_w_per_day,
        limit_w=limit_w,
        days_to_limit=to_limit.days if isinstance(to_limit, DaysTo) else None,
        sentence=_sentence(found, marks, today) if rising else f"No rise worth a note in {found.days} days.",
    )


def _sentence(found: Trend, marks: Marks, today: float) -> str:
    said = []
    for name, mark_w in marks:
        ahead = None if mark_w is None else days_to(found, mark_w, today)
        if mark_w is None or not isinstance(ahead, DaysTo):
            continue
        when = "already" if ahead.days == 0 else f"in about {_days(ahead)}"
        said.append(f"{name} ({limit(mark_w)}) {when}")
    meets = f" It meets {' and '.join(said)}." if said else " No limit of it is known."
    return (
        f"Drifting up by {found.slope_w_per_day:.2f} W a day over {found.days} days; "
        f"its daily 95th percentile stands at {watts(found.at_w(today))}.{meets}"
    )


def _days(ahead: DaysTo) -> str:
    first, last = f"{ahead.earliest:.0f}", f"{ahead.latest:.0f}"
    likely = "1 day" if round(ahead.days) == 1 else f"{ahead.days:.0f} days"
    return likely if first == last else f"{likely} ({first} to {last})"
