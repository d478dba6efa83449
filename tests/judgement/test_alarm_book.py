"""A whole alarm's life, with times; delays from the rule table."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from portdraw.judgement.alarm import AlarmKind, AlarmState, Severity
from portdraw.judgement.alarm_book import KEEP_RETURNED_S, AlarmBook
from portdraw.judgement.alarm_entry import HELD_NOTE
from portdraw.judgement.alarm_rule import ALARM_RULES
from portdraw.judgement.condition import Condition, Presence, unjudged

T0_S = 1_772_460_360.0  # 2026-03-02 14:06:00 UTC
PLAN = Condition(
    AlarmKind.PORT_ABOVE_PLAN,
    "north-pier",
    "1",
    head="north-pier port 1 has drawn more than its plan",
    tail=": 15.1 W now.",
    value=15.1,
    limit=12.9,
    measure="W",
)
AC = Condition(AlarmKind.LOCAL_AC_LOST, "north-pier", None, head="north-pier lost local AC", when="at", sure=True)
STALE = Condition(AlarmKind.READING_STALE, "north-pier", None, head="north-pier has not been heard")
KEY = PLAN.key
ON_S = ALARM_RULES[PLAN.kind].on_delay_s
OFF_S = ALARM_RULES[PLAN.kind].off_delay_s


def moves(book: AlarmBook, time_s: float, *conditions: Condition) -> list[tuple[str, str]]:
    return [(change.from_state.value, change.to_state.value) for change in book.update(conditions, time_s)]


def raised_book() -> AlarmBook:
    book = AlarmBook()
    book.update([PLAN], T0_S)
    book.update([PLAN], T0_S + ON_S)
    return book


def test_a_whole_life() -> None:
    book = AlarmBook()
    assert moves(book, T0_S, PLAN) == [("normal", "pending")]
    assert moves(book, T0_S + ON_S - 1, PLAN) == []
    assert moves(book, T0_S + ON_S, PLAN) == [("pending", "raised")]
    alarm = book.alarms()[0]
    assert (alarm.began_s, alarm.raised_s, alarm.ended_s) == (T0_S, T0_S + ON_S, None)
    assert alarm.sentence == "north-pier port 1 has drawn more than its plan since 14:06: 15.1 W now."
    change = book.acknowledge(KEY, T0_S + 200)
    assert change is not None
    assert change.to_state is AlarmState.ACKNOWLEDGED
    gone_s = T0_S + 400
    assert moves(book, gone_s) == [("acknowledged", "returning")]
    assert moves(book, gone_s + OFF_S - 1) == []
    assert moves(book, gone_s + OFF_S) == [("returning", "returned")]
    assert book.alarms()[0].ended_s == gone_s
    assert book.alarms()[0].sentence.startswith("Over since 14:12: north-pier port 1 has drawn more")
    assert moves(book, gone_s + KEEP_RETURNED_S) == [("returned", "normal")]
    assert book.alarms() == ()


def test_what_goes_within_its_on_delay_leaves_no_trace() -> None:
    book = AlarmBook()
    book.update([PLAN], T0_S)
    assert moves(book, T0_S + ON_S - 1) == [("pending", "normal")]
    assert book.alarms() == ()


def test_two_signs_that_agree_need_no_delay_one_sign_does() -> None:
    assert moves(AlarmBook(), T0_S, AC) == [("normal", "raised")]
    assert moves(AlarmBook(), T0_S, replace(AC, sure=False)) == [("normal", "pending")]


def test_an_acknowledged_alarm_that_flickers_is_not_raised_anew() -> None:
    book = raised_book()
    book.acknowledge(KEY, T0_S + 200)
    book.update([], T0_S + 300)
    assert moves(book, T0_S + 330, PLAN) == [("returning", "acknowledged")]


def test_what_is_gone_is_not_said_to_be_so_while_the_alarm_waits_to_return() -> None:
    lost = replace(AC, tail=". It runs on the PoE feed.", consequence="One leg is left.")
    book = AlarmBook()
    book.update([lost], T0_S)
    book.update([], T0_S + 240)
    (waits,) = book.alarms()
    assert waits.state is AlarmState.RETURNING
    assert waits.sentence == (
        "north-pier lost local AC at 14:06. No longer so since 14:10; it is over when that has lasted 60 seconds."
    )
    assert waits.consequence == "None, if it stays so."
    book.update([lost], T0_S + 270)
    (again,) = book.alarms()
    assert (again.sentence, again.consequence) == (
        "north-pier lost local AC at 14:06. It runs on the PoE feed.",
        "One leg is left.",
    )


def test_an_alarm_that_went_while_it_was_on_the_shelf_is_over_when_taken_off_it() -> None:
    book = raised_book()
    assert book.shelve(KEY, "Anna", "heater is ordered", T0_S + 3_600, T0_S + 200) is not None
    assert moves(book, T0_S + 300) == []
    assert "No longer so since 14:11" in book.alarms()[0].sentence
    back = book.take_back(KEY, T0_S + 330)
    assert back is not None
    assert (back.to_state, back.is_over) == (AlarmState.NORMAL, True)
    assert back.alarm.sentence.startswith("Over since 14:11: north-pier port 1 has drawn more")
    assert book.alarms() == ()


def test_an_alarm_that_flickers_is_not_new() -> None:
    book = raised_book()
    book.update([], T0_S + 300)
    (change,) = book.update([PLAN], T0_S + 330)
    assert change.to_state is AlarmState.RAISED
    assert not change.came_up
    assert not change.is_over


def test_dead_band_keeps_up_what_is_up_and_begins_nothing() -> None:
    in_band = replace(PLAN, presence=Presence.DEAD_BAND)
    assert moves(AlarmBook(), T0_S, in_band) == []
    assert moves(raised_book(), T0_S + 200, in_band) == []
    pending = AlarmBook()
    pending.update([PLAN], T0_S)
    assert moves(pending, T0_S + 30, in_band) == [("pending", "normal")]


def test_a_missing_reading_neither_begins_nor_ends() -> None:
    unknown = unjudged(PLAN.kind, PLAN.unit, PLAN.port)
    assert moves(AlarmBook(), T0_S, unknown) == []
    book = raised_book()
    assert moves(book, T0_S + 10_000, unknown) == []
    assert book.alarms()[0].sentence.endswith(HELD_NOTE)
    assert book.alarms()[0].state is AlarmState.RAISED


def test_of_a_silent_unit_only_the_silence_is_an_alarm() -> None:
    book = raised_book()
    later_s = T0_S + 5_000
    assert moves(book, later_s, STALE) == [("normal", "pending")]
    other = replace(PLAN, port="2")
    changes = book.update([STALE, other], later_s + 600)
    assert [change.alarm.kind for change in changes] == [AlarmKind.READING_STALE]
    held = {alarm.kind: alarm for alarm in book.alarms()}
    assert held[PLAN.kind].state is AlarmState.RAISED
    assert held[PLAN.kind].sentence.endswith(HELD_NOTE)
    # heard again, and the condition is gone: now it may return
    assert ("raised", "returning") in moves(book, later_s + 630)


def test_a_feeders_fresh_reading_speaks_for_a_silent_unit() -> None:
    book = AlarmBook()
    assert moves(book, T0_S, STALE, replace(AC, witness="core")) == [("normal", "raised"), ("normal", "pending")]
    blind_feeder = replace(STALE, unit="core")
    assert moves(AlarmBook(), T0_S, blind_feeder, replace(AC, witness="core")) == [("normal", "pending")]


def test_a_returned_alarm_that_comes_again_is_a_new_one() -> None:
    book = raised_book()
    book.update([], T0_S + 300)
    book.update([], T0_S + 300 + OFF_S)
    again_s = T0_S + 5_000
    assert moves(book, again_s, PLAN) == [("returned", "pending")]
    assert moves(book, again_s + ON_S, PLAN) == [("pending", "raised")]
    alarm = book.alarms()[0]
    assert (alarm.began_s, alarm.raised_s, alarm.ended_s) == (again_s, again_s + ON_S, None)


def test_shelf_with_owner_reason_and_expiry() -> None:
    book = raised_book()
    until_s = T0_S + 3_600
    assert book.shelve(KEY, "Anna", "heater is ordered", until_s, T0_S + 200) is not None
    assert moves(book, T0_S + 300, PLAN) == []
    assert moves(book, until_s - 1) == []
    hold = book.hold_of(KEY)
    assert hold is not None
    assert (hold.owner, hold.reason, hold.until_s) == ("Anna", "heater is ordered", until_s)
    assert moves(book, until_s, PLAN) == [("shelved", "raised")]
    assert book.hold_of(KEY) is None


def test_off_the_shelf_with_the_condition_gone_is_over() -> None:
    book = raised_book()
    book.shelve(KEY, "Anna", "heater is ordered", T0_S + 3_600, T0_S + 200)
    (change,) = book.update([], T0_S + 3_600)
    assert (change.from_state, change.to_state) == (AlarmState.SHELVED, AlarmState.NORMAL)
    assert change.is_over


def test_planned_work_and_taking_back() -> None:
    book = raised_book()
    assert book.suppress(KEY, "Anna", "pier work", T0_S + 3_600, T0_S + 200) is not None
    assert moves(book, T0_S + 230, PLAN) == []
    back = book.take_back(KEY, T0_S + 240)
    assert back is not None
    assert back.to_state is AlarmState.PENDING
    assert moves(book, T0_S + 260, PLAN) == [("pending", "raised")]


@pytest.mark.parametrize(
    ("owner", "reason", "until_s"),
    [("", "why", T0_S + 60), ("Anna", " ", T0_S + 60), ("Anna", "why", T0_S), ("Anna", "why", T0_S + 31 * 86_400)],
)
def test_nothing_is_set_aside_without_owner_reason_and_a_near_end(owner: str, reason: str, until_s: float) -> None:
    with pytest.raises(ValueError, match="an alarm can be set aside"):
        raised_book().shelve(KEY, owner, reason, until_s, T0_S)


def test_a_hand_on_what_is_not_there() -> None:
    book = AlarmBook()
    assert book.acknowledge(KEY, T0_S) is None
    assert book.shelve(KEY, "Anna", "why", T0_S + 60, T0_S) is None
    assert book.take_back(KEY, T0_S) is None


def test_a_restart_raises_nothing_twice() -> None:
    book = raised_book()
    stored = json.loads(json.dumps(book.dump()))
    again = AlarmBook()
    again.restore(stored)
    assert again.alarms() == book.alarms()
    assert moves(again, T0_S + 500, PLAN) == []
    assert again.alarms()[0].began_s == T0_S
    assert again.alarms()[0].raised_s == T0_S + ON_S


def test_a_restart_keeps_shelf_and_acknowledgement() -> None:
    book = raised_book()
    book.acknowledge(KEY, T0_S + 130)
    book.shelve(KEY, "Anna", "why", T0_S + 3_600, T0_S + 200)
    again = AlarmBook()
    again.restore(json.loads(json.dumps(book.dump())))
    assert again.hold_of(KEY) == book.hold_of(KEY)
    # off the shelf it comes up anew, and stays up until somebody sees it
    assert moves(again, T0_S + 3_600, PLAN) == [("shelved", "raised")]
    assert moves(again, T0_S + 3_630, PLAN) == []


@pytest.mark.parametrize("junk", [{}, {"format": 2, "alarms": []}, {"format": 1, "alarms": [{"alarm": 3}]}])
def test_a_dump_that_is_none_is_one_sentence_and_changes_nothing(junk: dict[str, object]) -> None:
    book = raised_book()
    before = book.alarms()
    with pytest.raises(ValueError, match="the stored alarms can't be used"):
        book.restore(junk)
    assert book.alarms() == before


def test_the_most_urgent_stands_first_and_what_is_over_last() -> None:
    book = raised_book()
    book.update([PLAN, replace(AC, severity=Severity.URGENT)], T0_S + 200)
    assert [alarm.kind for alarm in book.alarms()] == [AlarmKind.LOCAL_AC_LOST, AlarmKind.PORT_ABOVE_PLAN]
    book.update([PLAN], T0_S + 210)
    book.update([PLAN], T0_S + 300)
    assert [alarm.state for alarm in book.alarms()] == [AlarmState.RAISED, AlarmState.RETURNED]


def test_every_kind_has_consequence_action_and_reason() -> None:
    assert set(ALARM_RULES) == set(AlarmKind)
    for rule in ALARM_RULES.values():
        assert rule.consequence.endswith(".")
        assert rule.action.endswith(".")
        assert rule.why_severity
        assert min(rule.on_delay_s, rule.off_delay_s, rule.dead_band_percent) >= 0
    assert "do not re-close a tripped breaker" in ALARM_RULES[AlarmKind.LOCAL_AC_LOST].action
    assert "Test before touch" in ALARM_RULES[AlarmKind.LOCAL_AC_LOST].action


def test_a_return_that_was_not_seen_says_when_it_was_last_seen_and_next_read() -> None:
    """Lost at 14:06, last read so at 14:07, nothing told until 14:48: it came back at some time in between."""
    book = AlarmBook()
    book.update([AC], T0_S)
    book.update([replace(AC, read_s=T0_S + 60)], T0_S + 80)
    for minute in range(2, 42):
        book.update([unjudged(AC.kind, AC.unit)], T0_S + 60 * minute)
    book.update([], T0_S + 42 * 60)
    (waits,) = book.alarms()
    assert "No longer so when next read at 14:48 (last seen so at 14:07); it is over when" in waits.sentence
    (over,) = book.update([], T0_S + 44 * 60)
    assert (over.alarm.last_seen_s, over.alarm.ended_s) == (T0_S + 60, T0_S + 42 * 60)
    assert not over.alarm.ended_seen
    assert over.alarm.sentence == (
        "Over when next read at 14:48 (last seen so at 14:07): north-pier lost local AC at 14:06."
    )


def test_a_return_that_was_seen_is_said_as_before() -> None:
    book = AlarmBook(gap_s=120)
    book.update([AC], T0_S)
    book.update([], T0_S + 60)
    (over,) = book.update([], T0_S + 120)
    assert over.alarm.ended_seen
    assert over.alarm.sentence.startswith("Over since 14:07: ")


def test_what_ended_while_nothing_was_judged_was_not_seen_to_end_not_even_over_a_restart() -> None:
    book = AlarmBook(gap_s=120)
    book.update([AC], T0_S)
    after = AlarmBook(gap_s=120)
    after.restore(json.loads(json.dumps(book.dump())))
    after.update([], T0_S + 2_460)
    (over,) = after.update([], T0_S + 2_520)
    assert (over.alarm.last_seen_s, over.alarm.ended_seen) == (T0_S, False)


@pytest.mark.parametrize("acknowledged", [False, True])
def test_what_comes_back_begins_after_its_last_end_however_old_its_cause(acknowledged: bool) -> None:
    """A rule may say "since" by what it last read; two alarms of one key never overlap."""
    old = replace(STALE, since_s=T0_S - 600)
    book = AlarmBook()
    book.update([old], T0_S)
    book.update([old], T0_S + 60)
    book.update([], T0_S + 90)
    (over,) = book.update([], T0_S + 120)
    assert (over.alarm.began_s, over.alarm.ended_s) == (T0_S - 600, T0_S + 90)
    if acknowledged:
        assert book.acknowledge(STALE.key, T0_S + 130) is not None
        kept = AlarmBook()
        kept.restore(json.loads(json.dumps(book.dump())))
        book = kept
    book.update([old], T0_S + 150)
    (again,) = book.alarms()
    assert again.began_s == T0_S + 90


def test_a_unit_whose_reading_cant_be_judged_begins_and_ends_nothing_else() -> None:
    """Refusing us by turns with silence, say: its silence is not judged, and so nothing of it is."""
    book = raised_book()
    assert moves(book, T0_S + 300, unjudged(AlarmKind.READING_STALE, PLAN.unit)) == []
