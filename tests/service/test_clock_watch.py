"""The clock is set ahead, back, or only drifts, with a steady clock that the test moves by hand."""

from __future__ import annotations

import pytest

from portdraw.service.clock import Clock
from portdraw.service.clock_watch import LEAST_STEP_WALL_S, TOLD_FOR_WALL_S, ClockWatch


class Clocks(Clock):
    """Site time and steady time, both by hand."""

    def __init__(self, scale: float) -> None:
        super().__init__(1000.0, scale)
        self.site_s, self.steady_s = 1000.0, 50.0

    def now_s(self) -> float:
        return self.site_s

    def pass_by(self, wall_s: float) -> None:
        self.steady_s += wall_s
        self.site_s += wall_s * self.scale


@pytest.mark.parametrize("scale", [1.0, 30.0])
def test_time_that_only_passes_is_no_step(scale: float) -> None:
    clocks = Clocks(scale)
    watch = ClockWatch(clocks, lambda: clocks.steady_s)
    for _ in range(5):
        clocks.pass_by(30)
        clocks.site_s += scale * (LEAST_STEP_WALL_S - 1) / 5  # a slew
        assert watch.look() == 0
    assert watch.note == ""


@pytest.mark.parametrize(
    ("step_s", "words"),
    [(86_400.0, "set forward, or the machine slept, by 86400 s"), (-3600.0, "set back by 3600 s")],
)
def test_a_step_is_told_once_and_shown_for_an_hour(step_s: float, words: str) -> None:
    clocks = Clocks(1.0)
    watch = ClockWatch(clocks, lambda: clocks.steady_s)
    clocks.pass_by(30)
    clocks.site_s += step_s
    assert watch.look() == pytest.approx(step_s)
    assert words in watch.note
    clocks.pass_by(TOLD_FOR_WALL_S - 1)
    assert watch.look() == 0
    assert words in watch.note
    clocks.pass_by(1)
    assert watch.note == ""
