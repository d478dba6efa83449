"""The story plays on the minute, and its names are the terminal's."""

from __future__ import annotations

import pytest
from tests.rehearsal.terminal import NOON_S, terminal

from portdraw.rehearsal.physics import Physics
from portdraw.rehearsal.story import LIVE, PAST, VOICES
from portdraw.rehearsal.truth import SiteTruth

MINUTE_S = 60.0


def _at(minute: float) -> SiteTruth:
    physics = Physics(terminal(), NOON_S, 9, LIVE)
    physics.step(NOON_S + minute * MINUTE_S)
    return physics.truth()


def test_every_scene_can_be_played_at_the_terminal() -> None:
    assert LIVE.on(terminal()) == LIVE
    assert PAST.on(terminal()) == PAST
    assert set(VOICES) == set(terminal().units)


@pytest.mark.parametrize(
    ("minute", "leg", "source"),
    [(3.95, "ac", "both"), (4.0, "feed", "pse"), (13.95, "feed", "pse"), (14.0, "ac", "both")],
)
def test_the_pier_loses_local_ac_for_ten_minutes(minute: float, leg: str, source: str) -> None:
    truth = _at(minute)
    for name in ("north-pier", "breakwater"):
        assert (truth.units[name].leg, truth.units[name].source) == (leg, source)
    assert truth.units["berth-1"].leg == "ac"
    assert truth.dark_devices == ()


def test_the_feeder_sees_the_step() -> None:
    before, after = _at(3.95).units["north-pier"], _at(4.0).units["north-pier"]
    assert before.port_w["6"] == pytest.approx(1.3, abs=0.05)  # the held spare feed of breakwater
    assert after.port_w["6"] > 15
    assert _at(4.0).units["core"].port_w["1"] > 40


def test_a_device_that_nobody_planned_appears() -> None:
    assert _at(6.95).units["exit-lanes"].port_state["6"] == "searching"
    lanes = _at(7.0).units["exit-lanes"]
    assert lanes.port_state["6"] == "delivering"
    assert lanes.port_w["6"] == pytest.approx(9.0, abs=0.2)


def test_breakwater_denies_a_class_4_device_again_and_again() -> None:
    counts = [_at(minute).units["breakwater"].denied["5"] for minute in (9.95, 10.0, 12.0, 20.0)]
    assert counts[0] == 0
    assert counts[1] == 1
    assert counts == sorted(set(counts))
    assert _at(20.0).units["breakwater"].port_state["5"] == "searching"
    assert _at(20.0).units["breakwater"].port_w["5"] == 0


def test_the_heater_of_berth_1_has_crept_up() -> None:
    # 15.0 W typical + 14 days x 0.35 W at the PD = 19.9 W, plus its cable and at most 1.2 % of noise
    assert _at(1.0).units["berth-1"].port_w["1"] == pytest.approx(20.15, abs=0.4)
