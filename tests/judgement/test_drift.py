"""Drift of ports and units: sentences, severities, and what is no drift."""

from __future__ import annotations

import pytest
from tests.judgement.scene import EVERY_S, NIGHT_S, answers, ferry_terminal

from portdraw.judgement.alarm import AlarmKind, Severity
from portdraw.judgement.compare import assess
from portdraw.judgement.condition import Condition
from portdraw.judgement.drift import drift_conditions, forecasts, next_mark
from portdraw.judgement.memory import Memory
from portdraw.judgement.trend import NoTrend
from portdraw.plan.tree import Tree

SITE = ferry_terminal()
SEEN, _ = assess(SITE, Tree(SITE), answers(SITE, NIGHT_S), NIGHT_S, EVERY_S, False, Memory())
CAMERA = ("berth-1", "2")  # a lane camera, class 3: 15.4 W at the port (IEEE 802.3 clause 33), at most 12.6 W planned


def rising(start_w: float, slope: float, days: int = 14) -> list[tuple[float, float]]:
    """Daily watts that rise, with a little of up and down."""
    return [(float(day), start_w + slope * day + 0.05 * (-1) ** day) for day in range(days)]


def only(points: list[tuple[float, float]], key: tuple[str, str | None] = CAMERA) -> list[Condition]:
    return drift_conditions(SEEN, {key: points}, 14.0)


def test_a_heater_that_rises_towards_the_class_limit() -> None:
    (found,) = only(rising(10.4, 0.2))
    assert found.kind is AlarmKind.DRIFT
    assert found.sentence(0, 0, "UTC") == (
        "berth-1 (gantry, berth 1) port 2 (D-02, berth-1-cam) has risen by 0.20 W a day over 14 days (95 % band 0.19 "
        "to 0.20), to 13.2 W at the 95th percentile of the day. That reaches its plan (12.7 W) already and its class "
        "limit (15.4 W) in about 11 days (11 to 12)."
    )
    assert found.measure == "days"
    assert found.value == pytest.approx(11.0, abs=0.3)  # (15.4 - 13.2) / 0.2
    assert found.limit == 15.4
    assert found.severity is Severity.WARNING


def test_what_is_far_off_is_no_alarm() -> None:
    assert only(rising(8.0, 0.01, days=60)) == []


@pytest.mark.parametrize("slope", [0.0, -0.2])
def test_what_does_not_rise_is_no_alarm(slope: float) -> None:
    assert only(rising(10.4, slope)) == []


def test_a_clear_but_tiny_rise_is_no_news() -> None:
    points = [(float(day), 12.9 + 0.01 * day) for day in range(14)]
    assert only(points) == []


def test_a_unit_drifts_towards_the_lesser_of_its_budgets() -> None:
    (found,) = only(rising(40.0, 0.5), ("berth-1", None))
    assert found.limit == pytest.approx(59.6, abs=0.06)  # fed budget of the worked site
    assert "in about 1 day" in found.head
    assert "its budget on PoE feed (59.6 W) in about 25 days" in found.head


def test_the_data_cannot_say() -> None:
    (short,) = forecasts(SEEN, {CAMERA: rising(10.4, 0.2, days=5)}, 5.0)
    assert isinstance(short.found, NoTrend)
    assert short.sentence == (
        "berth-1 (gantry, berth 1) port 2 (D-02, berth-1-cam): the data can't say whether it drifts. "
        "Only 5 whole days are recorded; a trend needs 7."
    )
    assert next_mark(short) is None
    (flat,) = forecasts(SEEN, {CAMERA: rising(10.4, 0.0)}, 14.0)
    assert flat.sentence.startswith("berth-1 (gantry, berth 1) port 2 (D-02, berth-1-cam): No clear rise in 14 days")


def test_ports_without_history_have_no_forecast() -> None:
    assert forecasts(SEEN, {}, 14.0) == ()
