"""The life of an alarm, walked through: every state with every event."""

from __future__ import annotations

import pytest

from portdraw.judgement.alarm import AlarmState
from portdraw.judgement.alarm_states import SET_ASIDE, TRANSITIONS, UP, AlarmEvent, step

# Written by hand from the description of ISA-18.2's state diagram (from memory) with delays added; "." = stays.
# columns: seen gone on-delay off-delay acknowledge shelve shelf-expired suppress release forget
MATRIX = """
normal        pending .         .      .        .            .       .       suppressed .       .
pending       .       normal    raised .        .            shelved .       suppressed .       .
raised        .       returning .      .        acknowledged shelved .       suppressed .       .
acknowledged  .       returning .      .        .            shelved .       suppressed .       .
returning     raised  .         .      returned .            shelved .       suppressed .       .
returned      pending .         .      .        normal       .       .       suppressed .       normal
shelved       .       .         .      .        .            .       pending suppressed .       .
suppressed    .       .         .      .        .            .       .       .          pending .
"""
EVENTS = list(AlarmEvent)
CASES = [
    (row.split()[0], event, row.split()[0] if cell == "." else cell)
    for row in MATRIX.strip().splitlines()
    for event, cell in zip(EVENTS, row.split()[1:], strict=True)
]


@pytest.mark.parametrize(("before", "event", "after"), CASES)
def test_every_state_with_every_event(before: str, event: AlarmEvent, after: str) -> None:
    assert step(AlarmState(before), event) is AlarmState(after)


def test_the_matrix_is_whole() -> None:
    assert len(CASES) == len(AlarmState) * len(AlarmEvent)
    moving = [case for case in CASES if case[0] != case[2]]
    assert len(moving) == len(TRANSITIONS)


def test_every_state_is_reached_and_left() -> None:
    assert set(TRANSITIONS.values()) == set(AlarmState)
    assert {before for before, _ in TRANSITIONS} == set(AlarmState)
    assert not UP & SET_ASIDE
