"""One change of an alarm as a JSON message for other programs, put into words once, when it happened."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping

from portdraw.judgement.alarm import Alarm, AlarmState
from portdraw.judgement.alarm_book import AlarmChange
from portdraw.judgement.assessment import UnitAssessment
from portdraw.reporting.plain_text import plain
from portdraw.reporting.site_json import Json, handling_json
from portdraw.reporting.wording import iso, known, running_on

FORMAT = 1
ID_LETTERS = 32
LONGEST_SENTENCE = 600


def alarm_id(site: str, alarm: Alarm) -> str:
    """Return what stays the same over the life of one alarm: from raised to returned."""
    return _digest(site, *alarm.key, f"{alarm.began_s:.3f}")


def message_id(site: str, alarm: Alarm, state: AlarmState, by_hand_s: float | None = None) -> str:
    """Return what is the same for each sending of one change, so that a receiver can drop the second.

    What people do they may do again: the time at which it was done is then part of it.
    """
    raised = "" if alarm.raised_s is None else f"{alarm.raised_s:.3f}"
    by_hand = () if by_hand_s is None else (f"{by_hand_s:.3f}",)
    return _digest(site, *alarm.key, f"{alarm.began_s:.3f}", raised, state.value, *by_hand)


def alarm_message(
    change: AlarmChange,
    site: str,
    timezone: str,
    emulated: bool,
    time_s: float,
    unit: UnitAssessment | None = None,
    by_hand: bool = False,
) -> dict[str, Json]:
    """Return the message of a change at `time_s`: what, where, how much, since when, what to do first.

    `by_hand`: a person made the change.
    `unit` gives the place and the leg that carries; without it both are null.
    """
    alarm = change.alarm
    what = plain(alarm.sentence, LONGEST_SENTENCE)
    return {
        "format": FORMAT,
        "id": message_id(site, alarm, change.to_state, time_s if by_hand else None),
        "alarm_id": alarm_id(site, alarm),
        "site": plain(site),
        "emulated": emulated,
        "text": f"EMULATED: {what}" if emulated else what,
        "state": change.to_state.value,
        "was": change.from_state.value,
        "changed_at": iso(time_s, timezone),
        "handling": handling_json(alarm, timezone),
        "severity": alarm.severity.value,
        "why_severity": plain(alarm.why_severity, LONGEST_SENTENCE),
        "kind": alarm.kind.value,
        "what": what,
        "where": {
            "unit": plain(alarm.unit),
            "port": None if alarm.port is None else plain(alarm.port),
            "place": None if unit is None else plain(unit.place),
        },
        "running_on": None if unit is None else plain(running_on(unit)),
        "value": known(alarm.value),
        "limit": known(alarm.limit),
        "measure": plain(alarm.measure),
        "began_at": iso(alarm.began_s, timezone),
        "raised_at": iso(alarm.raised_s, timezone),
        "ended_at": iso(alarm.ended_s, timezone),
        "consequence": plain(alarm.consequence, LONGEST_SENTENCE),
        "action": plain(alarm.action, LONGEST_SENTENCE),
    }


def trial_message(site: str, emulated: bool, time_s: float, timezone: str) -> dict[str, Json]:
    """Return a message that only shows that a receiver is reached; it is no alarm."""
    text = f"Trial message of {plain(site)}: nothing has happened."
    return {
        "format": FORMAT,
        "id": _digest(site, "trial", f"{time_s:.3f}"),
        "alarm_id": None,
        "site": plain(site),
        "emulated": emulated,
        "text": f"EMULATED: {text}" if emulated else text,
        "state": "trial",
        "sent_at": iso(time_s, timezone),
    }


def message_body(message: Mapping[str, Json]) -> bytes:
    """Return the bytes that are sent and signed. ValueError for a figure that is not finite."""
    return json.dumps(message, sort_keys=True, separators=(",", ":"), allow_nan=False).encode()


def _digest(*parts: str) -> str:
    return hashlib.sha256("\0".join(parts).encode("utf-8", "backslashreplace")).hexdigest()[:ID_LETTERS]
