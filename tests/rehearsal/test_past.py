"""Fourteen days before the start, as the units would have told them."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice

import pytest
from tests.rehearsal.terminal import NOON_S, terminal

from portdraw.rehearsal.past import PastUnit, past_rows
from portdraw.rehearsal.physics import Physics
from portdraw.rehearsal.story import LIVE

DAY_S = 86_400.0


@pytest.fixture(scope="module")
def rows() -> list[PastUnit]:
    return list(past_rows(terminal(), NOON_S, 4))


def test_every_unit_at_every_ten_minutes(rows: list[PastUnit]) -> None:
    assert len(rows) == 14 * 144 * 9
    times = sorted({row.time_s for row in rows})
    assert times[0] == NOON_S - 14 * DAY_S
    assert times[-1] == NOON_S - 600


def test_the_heater_drifts_at_its_rate(rows: list[PastUnit]) -> None:
    # least squares over the noons: 0.35 W a day at the PD, and about 3 % more at the PSE for the cable
    noons = [
        (row.time_s / DAY_S, row.port_w["1"])
        for row in rows
        if row.unit == "berth-1" and row.time_s % DAY_S == 43_200
    ]
    assert len(noons) == 14
    days = [day for day, _ in noons]
    watts = [watts for _, watts in noons if watts is not None]
    mean_day, mean_w = sum(days) / 14, sum(watts) / 14
    spread = sum((day - mean_day) ** 2 for day in days)
    slope = sum((day - mean_day) * (one - mean_w) for day, one in zip(days, watts, strict=True)) / spread
    # noise of 1.2 % of 17 W, triangular: 0.08 W standard deviation, so 0.0055 W/day on the slope; four of them
    assert slope == pytest.approx(0.35 * 1.03, abs=0.025)


def test_only_the_lane_units_were_on_their_feeds(rows: list[PastUnit]) -> None:
    on_feed = [row for row in rows if row.power_source == "pse"]
    assert {row.unit for row in on_feed} == {"entry-lanes", "exit-lanes"}
    assert 3 <= len({row.time_s for row in on_feed}) <= 4  # 35 minutes
    # class 8 brings 71.3 W at the PD; less 8 W of own use, times 0.92
    assert {row.budget_w for row in on_feed} == {58}


def test_each_unit_tells_watts_in_its_own_way(rows: list[PastUnit]) -> None:
    last = {row.unit: row for row in rows}
    assert set(last["waiting-room"].port_w.values()) == {None}
    assert last["waiting-room"].watt_source is None
    assert last["breakwater"].power_source is None
    assert last["core"].power_source is None
    for name, row in last.items():
        if name != "waiting-room":
            known = [watts for watts in row.port_w.values() if watts is not None]
            assert row.total_w == pytest.approx(sum(known), abs=0.51)


def test_night_draws_more_than_noon(rows: list[PastUnit]) -> None:
    cameras = [row for row in rows if row.unit == "north-pier"]
    by_night = {row.port_w["1"] for row in cameras if row.time_s % DAY_S == 0}
    by_noon = {row.port_w["1"] for row in cameras if row.time_s % DAY_S == 43_200}
    # lane camera: 6.8 W typical, 10.4 W at night
    assert all(watts is not None and 10.2 < watts < 11.0 for watts in by_night)
    assert all(watts is not None and 6.6 < watts < 7.1 for watts in by_noon)


def test_the_past_meets_the_present(rows: list[PastUnit]) -> None:
    present = Physics(terminal(), NOON_S, 4, LIVE).truth()
    last = {row.unit: row for row in rows}
    for name in ("berth-1", "north-pier", "core"):
        for key, watts in last[name].port_w.items():
            # ten minutes lie between: the noise of a device changes by at most twice 1.2 %
            assert watts == pytest.approx(present.units[name].port_w[key], rel=0.026, abs=0.01)


def test_the_same_seed_tells_the_same_past() -> None:
    def first(seed: int) -> list[PastUnit]:
        told: Iterator[PastUnit] = past_rows(terminal(), NOON_S, seed, days=1)
        return list(islice(told, 200))

    assert first(4) == first(4)
    assert first(4) != first(5)
