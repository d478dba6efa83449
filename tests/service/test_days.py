"""The daily work: whole days make points, points make trends."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from pathlib import Path

import pytest
from scipy import stats
from tests.history.samples import observation
from tests.service.slipway import EVERY_S, NOON_S, answers, slipway

from portdraw.history.site_day import day_start_s
from portdraw.history.store import History, HistoryError
from portdraw.judgement.alarm import AlarmKind
from portdraw.judgement.assessment import SiteAssessment
from portdraw.plan.site import Night
from portdraw.service.cycle import Cycle
from portdraw.service.days import close_days, daily_points, drift_of, local_day, night_draws, night_hours

ZONE = "Atlantic/Faroe"
TODAY = date(2026, 3, 2)
STEP_S = 600.0
DAYS = 14


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    one = History.open(tmp_path / "history", ZONE)
    yield one
    one.close()


def write_day(
    history: History, day: date, draws_w: Mapping[str, float], hours: float = 24.0, unit: str = "slip"
) -> None:
    """Write a day's readings of a unit, from its midnight on for some hours."""
    start_s = day_start_s(day, history.zone)
    readings = [
        observation(unit, start_s + number * STEP_S, draws_w) for number in range(round(hours * 3600 / STEP_S))
    ]
    history.record_cycle(readings, STEP_S)


def assessment() -> SiteAssessment:
    """Return the slipway in good order at noon of today."""
    cycle = Cycle(slipway(), EVERY_S, None, (), emulated=False)
    for one in answers(NOON_S):
        cycle.take(one)
    cycle.run(NOON_S)
    assert cycle.current is not None
    return cycle.current


def test_a_day_is_the_site_s_own() -> None:
    """The zone is at UTC+1 in summer (WEST): its day begins at 23:00 UTC."""
    assert local_day(1_782_860_399.0, ZONE) == "2026-06-30"  # 2026-06-30 22:59:59 UTC
    assert local_day(1_782_860_400.0, ZONE) == "2026-07-01"  # 23:00 UTC is midnight in the zone
    assert local_day(NOON_S, ZONE) == TODAY.isoformat()


def test_only_whole_days_before_today_count(history: History) -> None:
    for back, hours in ((3, 24.0), (2, 19.1), (1, 19.3), (0, 12.0)):
        write_day(history, TODAY - timedelta(days=back), {"1": 6.0 + back}, hours)
    points = daily_points(history, NOON_S, ZONE)
    assert points[("slip", "1")] == [
        (float((TODAY - timedelta(days=3)).toordinal()), 9.0),
        (float((TODAY - timedelta(days=1)).toordinal()), 7.0),  # 19.3 h are above 80 % of a day, 19.1 h are not
    ]


def test_points_are_the_same_before_and_after_the_days_are_closed(history: History) -> None:
    noise = random.Random(4)
    for back in range(1, DAYS + 1):
        write_day(history, TODAY - timedelta(days=back), {"1": round(noise.uniform(5, 9), 1), "2": 3.2})
    open_points = daily_points(history, NOON_S, ZONE)
    close_days(history, NOON_S)
    assert history.info().closed_days == DAYS
    assert daily_points(history, NOON_S, ZONE) == open_points
    assert [len(one) for one in open_points.values()] == [DAYS] * 3  # two ports and the unit's sum


def test_points_older_than_the_trend_s_reach_are_left_out(history: History) -> None:
    for back in (28, 29):
        write_day(history, TODAY - timedelta(days=back), {"1": 6.0})
    assert len(daily_points(history, NOON_S, ZONE)[("slip", "1")]) == 1


def test_a_seeded_rise_becomes_a_drift_with_the_days_that_are_left(history: History) -> None:
    noise = random.Random(8)
    expected = []
    for back in range(DAYS, 0, -1):
        watts = round(9.9 - 0.25 * back + noise.uniform(-0.1, 0.1), 1)
        expected.append((-back, watts))
        write_day(history, TODAY - timedelta(days=back), {"1": watts})
        write_day(
            history, TODAY - timedelta(days=back), {"2": round(6.0 + noise.uniform(-0.3, 0.3), 1)}, unit="winch-house"
        )
    close_days(history, NOON_S)
    found = {(one.unit, one.port): one for one in drift_of(history, assessment(), NOON_S)}
    assert ("winch-house", "2") not in found
    drift = found[("slip", "1")]
    assert drift.kind is AlarmKind.DRIFT
    # against SciPy's Theil-Sen estimator: days from today until the class 3 limit of 15.4 W (IEEE 802.3, PSE output)
    slope, intercept, _, _ = stats.theilslopes([watts for _, watts in expected], [day for day, _ in expected])
    assert drift.limit == pytest.approx(15.4)
    assert drift.value == pytest.approx((15.4 - intercept) / slope, abs=1.0)
    assert (drift.unit, drift.port) == ("slip", "1")


def test_nothing_is_said_without_days(history: History) -> None:
    assert drift_of(history, assessment(), NOON_S) == ()


def test_a_history_that_can_not_be_read_raises(history: History) -> None:
    history.close()
    with pytest.raises(HistoryError, match="history file"):
        drift_of(history, assessment(), NOON_S)


@pytest.mark.parametrize(
    ("begins", "ends", "hours"),
    [
        ("20:00", "06:30", (20, 21, 22, 23, 0, 1, 2, 3, 4, 5)),  # by day half of the hour from 06:00 is no night
        ("01:00", "05:00", (1, 2, 3, 4)),
        ("22:30", "23:15", (22, 23)),  # no whole hour: those that it touches
    ],
)
def test_the_whole_hours_of_a_night(begins: str, ends: str, hours: tuple[int, ...]) -> None:
    assert night_hours(Night.model_validate({"from": begins, "to": ends})) == hours
    assert len(night_hours(None)) == 24


def test_tonight_is_the_fullest_hour_of_the_last_nights(history: History) -> None:
    """By hand: 7 W and 8 W at 22:00 on two nights, 9 W at noon; the most of any night hour is 8.4 W, at 03:00."""
    for back, at_ten_w in ((2, 7.0), (1, 8.0)):
        start_s = day_start_s(TODAY - timedelta(days=back), history.zone)
        for hour, slip_w, winch_w in ((3, 8.4, 2.0), (12, 9.0, 9.0), (22, at_ten_w, 6.0)):
            together = [
                observation("slip", start_s + hour * 3600, {"1": slip_w}),
                observation("winch-house", start_s + hour * 3600, {"1": 1.0, "2": winch_w}),
            ]
            history.record_cycle(together, STEP_S)
    found = night_draws(history, slipway(), NOON_S)
    assert found is not None
    assert found.words == "each port's largest draw of 22:00 to 23:00 in the last 14 days"
    assert set(found.readings) == {("slip", "1"), ("winch-house", "2")}  # not the port that feeds the slip
    slip, winch = found.readings["slip", "1"], found.readings["winch-house", "2"]
    assert (slip.watts, winch.watts) == (8.0, 6.0)
    assert slip.most_w == pytest.approx(8.4 * 1.02)  # 2 % is what a meter may be off
    assert winch.most_w == pytest.approx(6.0 * 1.02)


def test_without_a_night_in_the_history_nothing_is_said_of_tonight(history: History) -> None:
    assert night_draws(history, slipway(), NOON_S) is None
    noon_s = day_start_s(TODAY - timedelta(days=1), history.zone) + 43_200
    history.record_cycle([observation("slip", noon_s, {"1": 6.0})], STEP_S)
    assert night_draws(history, slipway(), NOON_S) is None
