"""The robust trend against scipy.stats.theilslopes (the reference), and its sentences."""

from __future__ import annotations

import random

import pytest
from scipy.stats import theilslopes

from portdraw.judgement.trend import DaysTo, NoTrend, Trend, days_to, trend


def series(seed: int, days: int, slope: float, noise_w: float, grain_w: float = 0.0) -> list[tuple[float, float]]:
    """Daily watts with a slope and noise; `grain_w` rounds them, which makes ties."""
    rng = random.Random(seed)
    points = []
    for day in range(days):
        watts = 20 + slope * day + rng.gauss(0, noise_w)
        points.append((float(day), round(watts / grain_w) * grain_w if grain_w else watts))
    return points


@pytest.mark.parametrize("grain_w", [0.0, 0.1, 0.5])
@pytest.mark.parametrize("days", [7, 8, 14, 31, 60])
@pytest.mark.parametrize("slope", [-0.05, 0.0, 0.1, 0.4])
def test_slope_and_band_are_those_of_scipy(grain_w: float, days: int, slope: float) -> None:
    compared = 0
    for seed in range(5):
        points = series(seed, days, slope, 0.8, grain_w)
        found = trend(points)
        if isinstance(found, NoTrend):
            assert found.reason.startswith("One step of")  # noise that looks like a step
            continue
        reference = theilslopes([watts for _, watts in points], [day for day, _ in points], 0.95)
        assert found.slope_w_per_day == pytest.approx(reference[0], abs=1e-12)
        assert found.low_w_per_day == pytest.approx(reference[2], abs=1e-12)
        assert found.high_w_per_day == pytest.approx(reference[3], abs=1e-12)
        assert found.at_w(0.0) == pytest.approx(reference[1], abs=1e-9)
        compared += 1
    assert compared >= 3


def test_gaps_between_days_are_those_of_scipy() -> None:
    points = [point for point in series(3, 40, 0.2, 0.5) if point[0] % 7 not in (5.0, 6.0)]
    found = trend(points)
    assert isinstance(found, Trend)
    reference = theilslopes([watts for _, watts in points], [day for day, _ in points], 0.95)
    assert (found.slope_w_per_day, found.low_w_per_day) == pytest.approx((reference[0], reference[2]))


def test_two_wild_days_do_not_move_it_much() -> None:
    points = series(1, 21, 0.3, 0.1)
    points[4], points[15] = (4.0, 90.0), (15.0, 0.0)
    found = trend(points)
    assert isinstance(found, Trend)
    assert found.slope_w_per_day == pytest.approx(0.3, abs=0.03)


@pytest.mark.parametrize(
    ("days", "reason"),
    [
        (0, "Only 0 whole days are recorded; a trend needs 7."),
        (1, "Only 1 whole day is recorded; a trend needs 7."),
        (6, "Only 6 whole days are recorded; a trend needs 7."),
    ],
)
def test_less_than_a_week_says_nothing(days: int, reason: str) -> None:
    assert trend(series(1, days, 1.0, 0.0)) == NoTrend(reason)


def test_what_is_no_number_is_left_out() -> None:
    points = [*series(1, 7, 1.0, 0.0), (7.0, float("nan")), (float("inf"), 1.0)]
    found = trend(points)
    assert isinstance(found, Trend)
    assert found.days == 7


def test_a_step_is_no_drift() -> None:
    rng = random.Random(2)
    points = [(float(day), (20.0 if day < 9 else 26.0) + rng.gauss(0, 0.2)) for day in range(14)]
    found = trend(points)
    assert isinstance(found, NoTrend)
    assert found.reason == (
        "One step of +6.0 W, 4 days before the last one, not a drift: was a device added or taken away?"
    )


def test_days_to_a_limit() -> None:
    found = trend([(float(day), 10 + 0.5 * day) for day in range(14)])
    assert isinstance(found, Trend)
    assert days_to(found, 20.0, 13.0) == DaysTo(7.0, 7.0, 7.0)  # 16.5 W on day 13, 0.5 W a day
    assert days_to(found, 16.0, 13.0) == DaysTo(0.0, 0.0, 0.0)


def test_the_band_of_days_is_around_the_likely_one() -> None:
    found = trend(series(5, 20, 0.3, 0.4))
    assert isinstance(found, Trend)
    ahead = days_to(found, 40.0, 19.0)
    assert isinstance(ahead, DaysTo)
    assert ahead.earliest < ahead.days < ahead.latest
    assert found.at_w(19.0 + ahead.days) == pytest.approx(40.0)


@pytest.mark.parametrize("slope", [0.0, -0.5])
def test_what_does_not_rise_meets_no_limit(slope: float) -> None:
    found = trend(series(4, 14, slope, 0.3))
    assert isinstance(found, Trend)
    ahead = days_to(found, 30.0, 14.0)
    assert isinstance(ahead, NoTrend)
    assert ahead.reason.startswith("No clear rise in 14 days: between -0.")
