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
    """
    spans: list[AuditEvent] = []
    open_at: dict[tuple[str, str | None, str | None], int] = {}
    for event in sorted(events, key=lambda event: event.time_s):
        key = (_kind(event), event.unit, event.port)
        if event.kind == RAISED and key not in open_at:  # told twice, after a restart say: one alarm all the same
            open_at[key] = len(spans)
            spans.append(_span(event, _began_s(event), None))
        elif event.kind == RETURNED:
            ended_s = _time(event, "ended_s")
            end_s = event.time_s if ended_s is None else ended_s
            place = open_at.pop(key, None)
            if place is None:
                spans.append(_span(event, _time(event, "began_s"), end_s))
            else:
                spans[place] = replace(spans[place], to_s=end_s)
        elif event.kind == PASSED:
            spans.append(replace(_span(event, _began_s(event), event.time_s), raised=False))
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
    return AuditEvent(_kind(event), event.unit, event.port, from_s, to_s, sentence, began_seen)


def _began_s(event: Event) -> float:
    named_s = _time(event, "began_s")
    return event.time_s if named_s is None else named_s


def _time(event: Event, name: str) -> float | None:
    """Return a time that the event names, if it is one and not after the event itself."""
    named = event.data.get(name)
    if not isinstance(named, int | float) or isinstance(named, bool) or not 0 < named <= event.time_s:
        return None
    return float(named)
