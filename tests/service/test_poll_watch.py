"""Whether polls keep up, from the polls themselves."""

from __future__ import annotations

import pytest

from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.service.poll_watch import PollWatch

EVERY_S = 30.0
UNITS = [f"unit-{number}" for number in range(8)]


def watched(rounds: int, lost: int = 0, every_s: float = EVERY_S) -> PollWatch:
    """Return a watch over rounds of polls, of each of which some bring nothing, at an interval."""
    watch = PollWatch(EVERY_S, len(UNITS))
    for turn in range(rounds):
        for place, name in enumerate(UNITS):
            began_s = turn * every_s + place
            outcome = Outcome.SILENT if place < lost else Outcome.ANSWERED
            watch.take(UnitObservation(name, began_s, began_s + 1, outcome, "", ()))
    return watch


@pytest.mark.parametrize(
    ("watch", "share"),
    [
        (watched(6), 0.0),
        (watched(6, lost=2), 0.25),
        (watched(6, lost=3), 0.375),
        (watched(6, every_s=2 * EVERY_S), 0.5),  # every second turn was skipped
        (watched(3, lost=8), 0.0),  # three rounds say nothing yet
    ],
)
def test_the_share_of_turns_that_brought_nothing(watch: PollWatch, share: float) -> None:
    assert watch.bad_share == pytest.approx(share)


def test_more_than_a_quarter_is_said_of_fast_time_only() -> None:
    busy, fine = watched(6, lost=3), watched(6, lost=2)
    assert busy.words(15.0).startswith(
        "this machine is too busy for site time at fifteen times: polls are late or lost"
    )
    assert busy.words(15.0).endswith("run it on a quieter machine")
    assert (busy.words(1.0), fine.words(15.0)) == ("", "")


def test_it_is_over_when_polls_keep_up_again() -> None:
    watch = watched(6, lost=8)
    for turn in range(6, 14):
        for name in UNITS:
            watch.take(UnitObservation(name, turn * EVERY_S, turn * EVERY_S + 1, Outcome.ANSWERED, "", ()))
    assert watch.words(15.0) == ""
