"""What history keeps of a poll."""

from __future__ import annotations

import pytest
from tests.history.samples import SOURCE, observation, silent

from portdraw.history.hot_reading import from_observation, pack, to_dw, unpack
from portdraw.observation.record import Basis, PortState, Quantity, Record
from portdraw.observation.unit_observation import Outcome, UnitObservation


def test_a_reading_survives_packing() -> None:
    """Draws to 0.1 W, states, bases, the unit's own figures."""
    seen = observation(
        "core",
        1_772_460_370.25,
        {"1": 1.34, "2/14": None, "3": 99.9},
        states={"3": PortState.DELIVERING, "2/14": PortState.TEST},
        basis=Basis.GRANTED,
        total_w=101,
        budget_w=440,
        uptime_s=86_400.5,
        outcome=Outcome.PARTIAL,
    )
    kept = from_observation(seen, 30)
    again = unpack("core", kept.time_ms, pack(kept, 7), kept.ports)
    assert again == kept
    assert (again.time_ms, again.interval_ms, again.outcome) == (1_772_460_370_250, 30_000, Outcome.PARTIAL)
    assert (again.draw_w("1"), again.draw_w("2/14"), again.draw_w("3"), again.draw_w("9")) == (1.3, None, 99.9, None)
    assert (again.basis("1"), again.basis("2/14")) == (Basis.GRANTED, None)
    assert (again.state("2/14"), again.state("9")) == (PortState.TEST, None)
    assert (again.total_dw, again.budget_dw, again.uptime_s) == (1010, 4400, 86_400.5)


def test_silence_keeps_its_outcome_and_no_figure() -> None:
    """Nothing is made up for a unit that did not answer."""
    kept = from_observation(silent("core", 1000.0), 30)
    again = unpack("core", kept.time_ms, pack(kept, 1), ())
    assert (again.outcome, again.ports, again.total_dw, again.budget_dw) == (Outcome.SILENT, (), -1, -1)
    assert again.uptime_s is None


@pytest.mark.parametrize("state", [PortState.SEARCHING, PortState.DISABLED, PortState.FAULT, PortState.OTHER_FAULT])
def test_a_port_that_gives_no_power_draws_nothing(state: PortState) -> None:
    """RFC 3621, pethPsePortDetectionStatus: such a port gives no power; missing watts are no gap then."""
    kept = from_observation(observation("core", 1000.0, {"1": None, "2": 4.2}, states={"1": state}), 30)
    assert (kept.draw_w("1"), kept.basis("1")) == (0.0, Basis.MEASURED)
    assert kept.draw_w("2") == 4.2


def test_a_delivering_port_without_watts_is_unknown() -> None:
    """Unknown is not zero."""
    kept = from_observation(observation("core", 1000.0, {"1": None}), 30)
    assert (kept.draw_w("1"), kept.basis("1"), kept.state("1")) == (None, None, PortState.DELIVERING)


@pytest.mark.parametrize("watts", [None, -0.1, float("nan"), float("inf"), 1e9])
def test_what_nothing_can_draw_is_unknown(watts: float | None) -> None:
    """Negative, not a number, beyond any unit."""
    assert to_dw(watts) == -1


def test_a_state_that_the_standard_does_not_have_is_no_state() -> None:
    """Text from a switch is not trusted."""
    records = (Record("1", Quantity.PORT_STATE, "glowing", "", None, SOURCE, 1.0),)
    kept = from_observation(UnitObservation("core", 0.0, 1.0, Outcome.ANSWERED, "", records), 30)
    assert kept.state("1") is None


def test_a_body_of_another_length_is_refused() -> None:
    """A row with the wrong port list can't be read as another port's watts."""
    kept = from_observation(observation("core", 1000.0, {"1": 1.0, "2": 2.0}), 30)
    with pytest.raises(ValueError, match="bytes for 3 ports"):
        unpack("core", kept.time_ms, pack(kept, 1), ("1", "2", "3"))
