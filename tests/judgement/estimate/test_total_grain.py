"""How totals are made whole: the grain, and which way, as far as the bias tells."""

from __future__ import annotations

import pytest

from portdraw.judgement.estimate.total_grain import BIAS_MEAN, BIAS_SD, Told, grain_of, told_as, ways


@pytest.mark.parametrize(
    ("total_w", "before_w", "grain_w"),
    [
        (57.0, 1.0, 1.0),
        (57.3, 1.0, 0.1),
        (57.0, 0.1, 0.1),
        (57.25, 0.1, 0.01),
        (0.0, 1.0, 1.0),
        (57.0004, 1.0, 0.001),
    ],
)
def test_a_grain_only_gets_finer(total_w: float, before_w: float, grain_w: float) -> None:
    assert grain_of(total_w, before_w) == grain_w


def test_without_a_reading_each_way_has_its_first_share() -> None:
    shares = {way.told: way.share for way in ways(BIAS_MEAN, BIAS_SD**2, 1.0)}
    assert shares == pytest.approx({Told.TRUNCATED: 0.45, Told.ROUNDED: 0.45, Told.GOES_UP: 0.1})
    assert told_as(ways(BIAS_MEAN, BIAS_SD**2, 1.0)) is Told.NOT_KNOWN


@pytest.mark.parametrize(("bias_w", "told"), [(-0.5, Told.TRUNCATED), (0.0, Told.ROUNDED), (0.5, Told.GOES_UP)])
def test_a_bias_that_is_well_known_names_the_way(bias_w: float, told: Told) -> None:
    assert told_as(ways(bias_w, 0.05**2, 1.0)) is told


def test_a_bias_between_two_ways_names_none() -> None:
    assert told_as(ways(-0.25, 0.05**2, 1.0)) is Told.NOT_KNOWN
