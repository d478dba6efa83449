"""From the events of history to alarms with a beginning and an end."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from portdraw.history.event import Event
from portdraw.reporting.audit.audit_rows import AuditEvent

RAISED = "alarm-raised"
RETURNED = "alarm-returned"
PASSED = "alarm-passed"


def alarm_spans(events: Iterable[Event], from_s: float, to_s: float) -> tuple[AuditEvent, ...]:
    """Return the alarms that were up at any time from `from_s` to `to_s`, in the order in which they began.

    `events` reaches back before the period, so that an alarm that was up all the time is among them. One whose
    beginning is not among the events began when its end says so, if it does; one that did not return has no end.
    No alarm begins before the last one of its kind and place had ended, whatever its events say.
    """
    spans: list[AuditEvent] = []
    open_at: dict[tuple[str, str | None, str | None], int] = {}
    ended_at_s: dict[tuple[str, str | None, str | None], float] = {}
    for event in sorted(events, key=lambda event: event.time_s):
        key = (_kind(event), event.unit, event.port)
        last_s = ended_at_s.get(key)
        if event.kind == RAISED and key not in open_at:  # told twice, after a restart say: one alarm all the same
            open_at[key] = len(spans)
            spans.append(_span(event, _not_before(_began_s(event), last_s), None))
        elif event.kind == RETURNED:
            ended_s = _time(event, "ended_s")
            end_s = event.time_s if ended_s is None else ended_s
            place = open_at.pop(key, None)
            if place is None:
                spans.append(_span(event, _not_before(_time(event, "began_s"), last_s), end_s))
            else:
                end = _span(event, None, end_s)
                spans[place] = replace(
                    spans[place], to_s=end_s, last_seen_s=end.last_seen_s, ended_seen=end.ended_seen
                )
            ended_at_s[key] = end_s
        elif event.kind == PASSED:
            spans.append(replace(_span(event, _not_before(_began_s(event), last_s), event.time_s), raised=False))
            ended_at_s[key] = event.time_s
    within = [
        span
        for span in spans
        if (span.to_s is None or span.to_s >= from_s) and (span.from_s is None or span.from_s <= to_s)
    ]
    return tuple(sorted(within, key=lambda span: span.from_s if span.from_s is not None else -math.inf))


def _kind(event: Event) -> str:
    return str(event.data.get("kind", ""))


def _span(event: Event, from_s: float | None, to_s: float | None) -> AuditEvent:
    sentence = str(event.data.get("sentence") or event.text)
    began_seen = bool(event.data.get("began_seen", True))
    seen_s = _time(event, "last_seen_s")
    ended_seen = bool(event.data.get("ended_seen", True))
    return AuditEvent(
        _kind(event), event.unit, event.port, from_s, to_s, sentence, began_seen, True, seen_s, ended_seen
    )


def _not_before(began_s: float | None, last_ended_s: float | None) -> float | None:
    if began_s is None or last_ended_s is None:
        return began_s if last_ended_s is None else last_ended_s
    return max(began_s, last_ended_s)


def _began_s(event: Event) -> float:
    named_s = _time(event, "began_s")
    return event.time_s if named_s is None else named_s


def _time(event: Event, name: str) -> float | None:
    """Return a time that the event names, if it is one and not after the event itself."""
    named = event.data.get(name)
    if not isinstance(named, int | float) or isinstance(named, bool) or not 0 < named <= event.time_s:
        return None
    return float(named)
