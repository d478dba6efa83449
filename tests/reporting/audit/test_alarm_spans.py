"""Alarms with a beginning and an end, from events as they are told."""

from __future__ import annotations

from portdraw.history.event import Event
from portdraw.reporting.audit.alarm_spans import alarm_spans


def told(time_s: float, kind: str, alarm: str = "local-ac-lost", port: str | None = None, **data: object) -> Event:
    """Return an event of the pier."""
    return Event(time_s, kind, "pier", port, "sentence", {"kind": alarm, "sentence": "sentence", **data})


def spans(*events: Event, from_s: float = 100, to_s: float = 200) -> list[tuple[float | None, float | None]]:
    """Return beginnings and ends."""
    return [(span.from_s, span.to_s) for span in alarm_spans(events, from_s, to_s)]


def test_pairs() -> None:
    """Raised, returned, raised again and still up."""
    found = spans(told(110, "alarm-raised"), told(120, "alarm-returned"), told(150, "alarm-raised"))
    assert found == [(110, 120), (150, None)]


def test_different_ports_do_not_mix() -> None:
    """The return of port 3 does not end the alarm of port 4."""
    found = spans(told(110, "alarm-raised", port="4"), told(120, "alarm-returned", port="3"))
    assert sorted(found, key=str) == sorted([(110, None), (None, 120)], key=str)


def test_an_alarm_that_was_up_all_the_time_is_in_the_period() -> None:
    """Raised long before, not returned; and one that ended before the period is not in it."""
    assert spans(told(10, "alarm-raised")) == [(10, None)]
    assert spans(told(10, "alarm-raised"), told(90, "alarm-returned")) == []


def test_the_times_that_the_alarm_names_count() -> None:
    """When the condition began and ended, not when the delays had passed; nonsense is not believed."""
    assert spans(told(110, "alarm-raised", began_s=50.0), told(160, "alarm-returned", ended_s=155.0)) == [(50, 155)]
    assert spans(told(110, "alarm-raised", began_s=999.0)) == [(110, None)]
    assert spans(told(110, "alarm-raised", began_s="yesterday")) == [(110, None)]


def test_a_leg_that_was_lost_too_shortly_for_an_alarm_is_a_span_too() -> None:
    (span,) = alarm_spans([told(130, "alarm-passed", began_s=120.0)], 100, 200)
    assert (span.from_s, span.to_s, span.raised) == (120, 130, False)


def test_a_beginning_that_was_missed_is_told() -> None:
    events = [told(110, "alarm-raised", began_seen=False), told(150, "alarm-returned", began_seen=False)]
    (span,) = alarm_spans(events, 100, 200)
    assert (span.lasted_s, span.began_seen) == (40, False)


def test_an_end_that_was_not_seen_has_a_least_and_a_longest() -> None:
    events = [
        told(110, "alarm-raised", began_s=106.0, last_seen_s=107.0),
        told(150, "alarm-returned", began_s=106.0, ended_s=148.0, last_seen_s=107.0, ended_seen=False),
    ]
    (span,) = alarm_spans(events, 100, 200)
    assert (span.last_seen_s, span.ended_seen, span.lasted_s, span.at_most_s) == (107, False, 1, 42)


def test_no_alarm_begins_before_the_last_one_of_its_key_had_ended() -> None:
    """Three that all name the same beginning, as alarms were told that kept their old "since"."""
    events = []
    for number in range(3):
        at_s = 110.0 + 30 * number
        events.append(told(at_s, "alarm-raised", began_s=101.0))
        events.append(told(at_s + 20, "alarm-returned", began_s=101.0, ended_s=at_s + 15))
    assert spans(*events) == [(101, 125), (125, 155), (155, 185)]
    other = told(190, "alarm-raised", port="3", began_s=101.0)
    assert (101, None) in spans(*events, other)


def test_told_twice_is_one_alarm() -> None:
    """A restart may tell it again."""
    assert spans(told(110, "alarm-raised"), told(130, "alarm-raised"), told(150, "alarm-returned")) == [(110, 150)]
