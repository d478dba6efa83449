"""The one clock: plain, set, scaled."""

from __future__ import annotations

import math
import time

import pytest

from portdraw.service.clock import Clock


class Watches:
    """The machine's two clocks, set by hand."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.wall_s = 1000.0
        self.monotonic_s = 50.0
        monkeypatch.setattr(time, "time", lambda: self.wall_s)
        monkeypatch.setattr(time, "monotonic", lambda: self.monotonic_s)


def test_a_plain_clock_follows_the_machine_and_its_corrections(monkeypatch: pytest.MonkeyPatch) -> None:
    watches = Watches(monkeypatch)
    clock = Clock()
    watches.monotonic_s += 10
    watches.wall_s -= 3600
    assert clock.now_s() == 1000 - 3600
    assert clock.wall_s(30) == 30


def test_a_scaled_clock_runs_faster_and_never_back(monkeypatch: pytest.MonkeyPatch) -> None:
    watches = Watches(monkeypatch)
    clock = Clock(500.0, 15.0)
    assert clock.now_s() == 500
    watches.monotonic_s += 2
    watches.wall_s -= 3600
    assert clock.now_s() == 530
    assert clock.wall_s(30) == 2


def test_a_scaled_clock_begins_at_the_machine_s_time(monkeypatch: pytest.MonkeyPatch) -> None:
    watches = Watches(monkeypatch)
    clock = Clock(scale=2.0)
    watches.monotonic_s += 1
    assert clock.now_s() == 1002


def test_a_clock_that_is_set_runs_at_the_wall_s_pace(monkeypatch: pytest.MonkeyPatch) -> None:
    watches = Watches(monkeypatch)
    clock = Clock(0.0)
    watches.monotonic_s += 4
    assert clock.now_s() == 4


@pytest.mark.parametrize("scale", [0.0, -1.0, math.nan])
def test_a_clock_that_would_stand_or_run_back_is_refused(scale: float) -> None:
    with pytest.raises(ValueError, match="scale must be above 0"):
        Clock(0.0, scale)
