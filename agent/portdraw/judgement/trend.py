"""A robust trend of daily watts: Theil-Sen slope with Sen's confidence band, and when it meets a limit.

P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", J. Am. Stat. Assoc. 63 (1968), equation
2.6 for the variance; H. Theil (1950) for the slope. A week of faulty days does not move the median of all slopes.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from statistics import NormalDist, median

CONFIDENCE = 0.95
LEAST_DAYS = 7  # below a whole week the days of the week alone make a slope: common practice
STEP_BETTER_BY = 0.6  # a single step must leave this share of the line's error, or less, to be taken for a step


@dataclass(frozen=True)
class Trend:
    """A slope [W a day] with its 95 % band, through the median day and the median watts [W] of the points."""

    slope_w_per_day: float
    low_w_per_day: float
    high_w_per_day: float
    mid_day: float
    mid_w: float
    days: int
    first_day: float
    last_day: float

    def at_w(self, day: float, slope_w_per_day: float | None = None) -> float:
        """Return the watts [W] of the trend on a day, by its slope or another of its band."""
        slope = self.slope_w_per_day if slope_w_per_day is None else slope_w_per_day
        return self.mid_w + slope * (day - self.mid_day)

    @property
    def rises(self) -> bool:
        """Say whether it rises for sure: the whole band is above zero."""
        return self.low_w_per_day > 0


@dataclass(frozen=True)
class NoTrend:
    """The data can't say, and `reason` is the one sentence why."""

    reason: str


@dataclass(frozen=True)
class DaysTo:
    """Days from today until a limit is met; `earliest` and `latest` by the band of the slope."""

    days: float
    earliest: float
    latest: float


def trend(points: Sequence[tuple[float, float]]) -> Trend | NoTrend:
    """Return the trend of (day, watts [W]) points, one a day, or why there is none.

    Needs 7 days at least. Points that are not finite are left out. One clear step is no trend: a device was added or
    taken away.
    """
    used = sorted((day, watts) for day, watts in points if math.isfinite(day) and math.isfinite(watts))
    if len({day for day, _ in used}) < LEAST_DAYS:
        have = len({day for day, _ in used})
        return NoTrend(
            f"Only {have} whole {'day is' if have == 1 else 'days are'} recorded; a trend needs {LEAST_DAYS}."
        )
    slopes = sorted((y2 - y1) / (x2 - x1) for (x1, y1), (x2, y2) in combinations(used, 2) if x2 > x1)
    low, high = _band(slopes, used)
    found = Trend(
        slope_w_per_day=median(slopes),
        low_w_per_day=low,
        high_w_per_day=high,
        mid_day=median(day for day, _ in used),
        mid_w=median(watts for _, watts in used),
        days=len(used),
        first_day=used[0][0],
        last_day=used[-1][0],
    )
    step = _step(used, found)
    return found if step is None else step


def days_to(found: Trend, limit_w: float, today: float) -> DaysTo | NoTrend:
    """Return in how many days after `today` a rising trend meets a limit [W], or one sentence why that is unknown.

    `today` counts in the same days as the points. A limit that is already met gives 0 days.
    """
    if not found.rises:
        return NoTrend(
            f"No clear rise in {found.days} days: between {found.low_w_per_day:+.2f} and "
            f"{found.high_w_per_day:+.2f} W a day."
        )
    left_w = limit_w - found.at_w(today)
    if left_w <= 0:
        return DaysTo(0.0, 0.0, 0.0)
    soonest, likely, latest = (
        max(0.0, (limit_w - found.at_w(today, slope)) / slope)
        for slope in (found.high_w_per_day, found.slope_w_per_day, found.low_w_per_day)
    )
    return DaysTo(likely, min(soonest, likely), max(latest, likely))


def _band(slopes: Sequence[float], points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return Sen's confidence band of the median slope, with Kendall's variance of S corrected for ties."""
    count = len(points)
    variance = (
        count * (count - 1) * (2 * count + 5) - _ties(day for day, _ in points) - _ties(watts for _, watts in points)
    ) / 18
    half_width = NormalDist().inv_cdf(0.5 + CONFIDENCE / 2) * math.sqrt(max(0.0, variance))
    low = max(round((len(slopes) - half_width) / 2) - 1, 0)
    high = min(round((len(slopes) + half_width) / 2), len(slopes) - 1)
    return slopes[low], slopes[high]


def _ties(values: Iterable[float]) -> int:
    return sum(times * (times - 1) * (2 * times + 5) for times in Counter(values).values() if times > 1)


def _step(points: Sequence[tuple[float, float]], line: Trend) -> NoTrend | None:
    """Return the sentence of a single step where two levels explain the days much better than the line."""
    error_w = sum(abs(watts - line.at_w(day)) for day, watts in points)
    best_w, at, rise_w = math.inf, 0, 0.0
    for cut in range(3, len(points) - 2):  # at least three days on either side
        before, after = median(w for _, w in points[:cut]), median(w for _, w in points[cut:])
        left_w = sum(abs(w - before) for _, w in points[:cut]) + sum(abs(w - after) for _, w in points[cut:])
        if left_w < best_w:
            best_w, at, rise_w = left_w, cut, after - before
    if error_w == 0 or best_w > STEP_BETTER_BY * error_w:
        return None
    ago = points[-1][0] - points[at][0]
    return NoTrend(
        f"One step of {rise_w:+.1f} W, {ago:.0f} days before the last one, not a drift: "
        "was a device added or taken away?"
    )
