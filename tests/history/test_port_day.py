"""Percentiles against numpy on the expanded samples; merging of days that were polled at different rates."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from portdraw.history.port_day import HOURS, PortDay, merge, merge_by_port
from portdraw.observation.record import Basis, PortState

DAY = date(2026, 3, 2)
COUNTS = st.dictionaries(st.integers(0, 999), st.integers(1, 400), min_size=1, max_size=40)


def port_day(seconds_at: dict[int, int], day: date = DAY, peak_s: float | None = None, unknown_s: int = 0) -> PortDay:
    """Return a day of core port 3 with whole seconds at values in 0.1 W."""
    return PortDay(
        unit="core",
        port="3",
        first_day=day,
        last_day=day,
        ms_at={value_dw: 1000 * seconds for value_dw, seconds in seconds_at.items()},
        ms_unknown=1000 * unknown_s,
        ms_in_state={PortState.DELIVERING: 1000 * sum(seconds_at.values())},
        ms_on_basis={Basis.MEASURED: 1000 * sum(seconds_at.values())},
        peak_s=peak_s,
    )


@given(COUNTS, st.sampled_from([0.0, 1.0, 5.0, 50.0, 90.0, 95.0, 99.0, 99.9, 100.0]))
def test_percentile_is_the_inverse_of_the_empirical_distribution(seconds_at: dict[int, int], q: float) -> None:
    """Reference: numpy.percentile, method "inverted_cdf" (Hyndman, Fan 1996, definition 1), one sample a second."""
    expanded = np.repeat(list(seconds_at.keys()), list(seconds_at.values()))
    # the sample at q percent of the count, rounded up; numpy computes q/100*n in binary, so exact multiples are
    # checked against the definition itself
    expected = float(np.percentile(expanded, q, method="inverted_cdf"))
    got = port_day(seconds_at).percentile(q)
    assert got is not None
    if abs(q * expanded.size / 100 - round(q * expanded.size / 100)) > 1e-9:
        assert got * 10 == pytest.approx(expected)
    share_at_or_below = 100 * np.count_nonzero(expanded <= round(got * 10)) / expanded.size
    share_below = 100 * np.count_nonzero(expanded < round(got * 10)) / expanded.size
    assert share_at_or_below >= q - 1e-9
    assert share_below < q or share_below == 0


@given(st.lists(COUNTS, min_size=1, max_size=5), st.sampled_from([50.0, 95.0]))
def test_merged_days_have_the_percentile_of_all_samples_together(days: list[dict[int, int]], q: float) -> None:
    """Reference: numpy on all samples of all days in one array."""
    expanded = np.concatenate([np.repeat(list(one.keys()), list(one.values())) for one in days])
    whole = merge(port_day(one) for one in days)
    if abs(q * expanded.size / 100 - round(q * expanded.size / 100)) > 1e-9:
        assert whole.percentile(q) == pytest.approx(np.percentile(expanded, q, method="inverted_cdf") / 10)
    assert whole.mean_w == pytest.approx(expanded.mean() / 10)
    assert whole.max_w == pytest.approx(expanded.max() / 10)
    assert whole.seconds_known == expanded.size


def test_time_counts_and_not_the_number_of_readings() -> None:
    """By hand: ten readings of 5 s at 9 W are 50 s, one of 300 s at 4 W is 300 s: for 85.7 % of the time 4 W."""
    often, seldom = port_day({90: 50}), port_day({40: 300}, date(2026, 3, 3))
    whole = merge([often, seldom])
    assert whole.percentile(50) == 4.0
    assert whole.percentile(85) == 4.0
    assert whole.percentile(86) == 9.0
    assert whole.mean_w == pytest.approx((50 * 9 + 300 * 4) / 350)
    assert (whole.first_day, whole.last_day) == (DAY, date(2026, 3, 3))


def test_exact_multiples_take_the_lower_value() -> None:
    """By the definition: half of four samples is two, and the second one is 2.0 W."""
    assert port_day({10: 1, 20: 1, 30: 1, 40: 1}).percentile(50) == 2.0


def test_nothing_known_is_unknown_and_never_zero() -> None:
    """A port that was polled without an answer."""
    day = port_day({}, unknown_s=600)
    assert (day.percentile(95), day.mean_w, day.max_w, day.basis_shares) == (None, None, None, {})
    assert day.seconds_unknown == 600


@pytest.mark.parametrize("q", [-0.1, 100.1, float("nan")])
def test_a_percentile_outside_the_scale_is_refused(q: float) -> None:
    """There is none below 0 or above 100."""
    with pytest.raises(ValueError, match="0 to 100"):
        port_day({10: 1}).percentile(q)


def test_the_peak_of_merged_days_is_the_earliest_of_the_largest() -> None:
    """Two days reach 5 W; the earlier time stands."""
    days = [port_day({50: 1}, peak_s=200.0), port_day({50: 1}, peak_s=100.0), port_day({40: 1}, peak_s=50.0)]
    assert merge(days).peak_s == 100.0


def test_days_of_different_ports_are_never_merged() -> None:
    """The histories of two ports must not mix."""
    other = PortDay("core", "4", DAY, DAY, {}, 0, {}, {}, None)
    with pytest.raises(ValueError, match="can't be merged"):
        merge([port_day({10: 1}), other])
    with pytest.raises(ValueError, match="no day"):
        merge([])
    assert set(merge_by_port([port_day({10: 1}), other, port_day({20: 1})])) == {("core", "3"), ("core", "4")}


def test_seconds_at_or_above() -> None:
    """By hand; 7.04 W is 7.0 at the grain of the counts."""
    day = port_day({69: 10, 70: 20, 71: 30})
    assert day.seconds_at_or_above(7.04) == 50
    assert day.seconds_at_or_above(0) == 60
    assert day.seconds_at_or_above(7.2) == 0


def test_the_largest_draw_of_each_hour() -> None:
    """An hour without readings has none; merging takes the larger."""
    first = PortDay("core", "3", DAY, DAY, {}, 0, {}, {}, None, tuple(10 if h == 3 else -1 for h in range(HOURS)))
    second = PortDay("core", "3", DAY, DAY, {}, 0, {}, {}, None, tuple(25 if h == 3 else -1 for h in range(HOURS)))
    assert merge([first, second]).max_in_hour_w(3) == 2.5
    assert merge([first, second]).max_in_hour_w(4) is None
