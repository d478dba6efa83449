"""The life of an alarm as one table: (state, event) -> state. What the table does not name leaves the state alone.

The states are those of ISA-18.2 / IEC 62682 (from memory of both), with two for the delays, pending and returning.
"""

from __future__ import annotations

from enum import StrEnum

from portdraw.judgement.alarm import AlarmState


class AlarmEvent(StrEnum):
    """What can happen to an alarm. Delays are counted by the alarm book, never here."""

    SEEN = "condition seen"
    GONE = "condition gone"
    ON_DELAY_OVER = "on-delay over"
    OFF_DELAY_OVER = "off-delay over"
    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    SHELF_EXPIRED = "shelf expired or taken off the shelf"
    SUPPRESS = "suppress for planned work"
    RELEASE = "planned work over"
    FORGET = "shown long enough after its return"


_S, _E = AlarmState, AlarmEvent

TRANSITIONS: dict[tuple[AlarmState, AlarmEvent], AlarmState] = {
    (_S.NORMAL, _E.SEEN): _S.PENDING,
    (_S.NORMAL, _E.SUPPRESS): _S.SUPPRESSED,
    # not yet told to anybody: a condition that goes within its on-delay leaves no trace
    (_S.PENDING, _E.GONE): _S.NORMAL,
    (_S.PENDING, _E.ON_DELAY_OVER): _S.RAISED,
    (_S.PENDING, _E.SHELVE): _S.SHELVED,
    (_S.PENDING, _E.SUPPRESS): _S.SUPPRESSED,
    (_S.RAISED, _E.GONE): _S.RETURNING,
    (_S.RAISED, _E.ACKNOWLEDGE): _S.ACKNOWLEDGED,
    (_S.RAISED, _E.SHELVE): _S.SHELVED,
    (_S.RAISED, _E.SUPPRESS): _S.SUPPRESSED,
    (_S.ACKNOWLEDGED, _E.GONE): _S.RETURNING,
    (_S.ACKNOWLEDGED, _E.SHELVE): _S.SHELVED,
    (_S.ACKNOWLEDGED, _E.SUPPRESS): _S.SUPPRESSED,
    # gone, but not for long enough: still up
    (_S.RETURNING, _E.SEEN): _S.RAISED,
    (_S.RETURNING, _E.OFF_DELAY_OVER): _S.RETURNED,
    (_S.RETURNING, _E.SHELVE): _S.SHELVED,
    (_S.RETURNING, _E.SUPPRESS): _S.SUPPRESSED,
    # over, and shown so that nobody misses that it was there
    (_S.RETURNED, _E.SEEN): _S.PENDING,
    (_S.RETURNED, _E.ACKNOWLEDGE): _S.NORMAL,
    (_S.RETURNED, _E.FORGET): _S.NORMAL,
    (_S.RETURNED, _E.SUPPRESS): _S.SUPPRESSED,
    # off the shelf it begins anew as pending; its on-delay has long passed, so it comes up at once if still there
    (_S.SHELVED, _E.SHELF_EXPIRED): _S.PENDING,
    (_S.SHELVED, _E.SUPPRESS): _S.SUPPRESSED,
    (_S.SUPPRESSED, _E.RELEASE): _S.PENDING,
}

UP = frozenset({AlarmState.RAISED, AlarmState.ACKNOWLEDGED, AlarmState.RETURNING})
SET_ASIDE = frozenset({AlarmState.SHELVED, AlarmState.SUPPRESSED})


def step(state: AlarmState, event: AlarmEvent) -> AlarmState:
    """Return the state after an event; an event that means nothing in a state leaves it as it is."""
    return TRANSITIONS.get((state, event), state)
