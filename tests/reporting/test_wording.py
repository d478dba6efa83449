"""Figures, times and legs in words."""

from __future__ import annotations

import math

import pytest
from tests.reporting.samples import NOW_S, TIMEZONE, ac_lost, all_fine, silent_unit

from portdraw.judgement.assessment import Availability, Carrying, Leg
from portdraw.reporting.wording import (
    LegShape,
    age,
    clock,
    iso,
    leg_shape,
    leg_words,
    limit,
    running_on,
    watts,
)


@pytest.mark.parametrize(
    ("value", "words"),
    [(36.84, "36.8 W"), (0.0, "0.0 W"), (None, "unknown"), (math.nan, "unknown"), (math.inf, "unknown")],
)
def test_unknown_watts_are_never_a_figure(value: float | None, words: str) -> None:
    assert watts(value) == words


@pytest.mark.parametrize(("value", "words"), [(90.0, "90 W"), (59.6, "59.6 W"), (None, "unknown")])
def test_limits(value: float | None, words: str) -> None:
    assert limit(value) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0 s"),
        (119, "119 s"),
        (120, "2 min"),
        (7199, "119 min"),
        (11_400, "3 h 10 min"),
        (187_200, "2 d 4 h"),
        (-3, "0 s"),
        (None, "unknown"),
    ],
)
def test_ages(seconds: float | None, words: str) -> None:
    assert age(seconds) == words


def test_clock_is_the_sites_and_names_another_day() -> None:
    # 2026-03-02T14:06:10Z; Faroe keeps UTC in winter, UTC+1 in summer (IANA time zone database)
    assert clock(NOW_S, TIMEZONE, NOW_S) == "14:06:10"
    assert clock(NOW_S - 86_400, TIMEZONE, NOW_S) == "2026-03-01 14:06:10"
    assert iso(NOW_S + 120 * 86_400, TIMEZONE) == "2026-06-30T15:06:10.000+01:00"
    assert clock(1e30, TIMEZONE) == "unknown"
    assert clock(NOW_S, "No/Such_Zone") == "14:06:10"


LEGS = [
    (Availability.LOST, Carrying.NONE, LegShape.LOST, "lost since 14:02:31"),
    (Availability.LOST, Carrying.ALL, LegShape.LOST, "lost since 14:02:31"),
    (Availability.PROVEN, Carrying.ALL, LegShape.CARRYING, "carrying, proven"),
    (Availability.BELIEVED, Carrying.PART, LegShape.CARRYING, "carrying part, believed"),
    (Availability.UNKNOWN, Carrying.ALL, LegShape.CARRYING, "carrying"),
    (Availability.BELIEVED, Carrying.NONE, LegShape.AVAILABLE, "available, believed"),
    (Availability.UNKNOWN, Carrying.NONE, LegShape.UNKNOWN, "not carrying, unknown if it could"),
    (Availability.BELIEVED, Carrying.UNKNOWN, LegShape.UNKNOWN, "believed, unknown if carrying"),
    (Availability.UNKNOWN, Carrying.UNKNOWN, LegShape.UNKNOWN, "unknown"),
]


@pytest.mark.parametrize(("availability", "carrying", "shape", "words"), LEGS)
def test_legs_say_what_they_do_and_how_sure_it_is(
    availability: Availability, carrying: Carrying, shape: LegShape, words: str
) -> None:
    leg = Leg("local AC", "pier-7", availability, carrying, since_s=NOW_S - 219)
    assert leg_shape(leg) is shape
    assert leg_words(leg, TIMEZONE, NOW_S) == words


def test_running_on() -> None:
    assert running_on(ac_lost().unit("berth-1")) == "PoE feed from core port 2, believed"
    assert running_on(all_fine().unit("berth-1")) == "local AC from quay-3, proven"
    assert running_on(silent_unit().unit("exit-lanes")) == "unknown: no leg is known to carry"
    assert running_on(None) == "unknown"
