"""An alarm as a card: its order, whom to call, what not to do, in whose hand it is."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from tests.reporting.samples import NOW_S, ac_lost, ac_lost_alarm, silent_unit

from portdraw.judgement.alarm import AlarmKind, AlarmState, Handling
from portdraw.judgement.alarm_rule import ALARM_RULES
from portdraw.reporting.alarm_view import ActionWords, action_words, alarm_view, shelved_view
from portdraw.reporting.overview_view import overview_view

ALARM = ac_lost_alarm("berth-1")


@pytest.mark.parametrize(
    ("action", "parts"),
    [
        (
            "Call the harbour electrician (ext. 204) for circuit pier-7. Find the cause first; do not re-close a "
            "tripped breaker. Test before touch: the unit stays live. Do not restart the feeder.",
            ActionWords(
                call=("the harbour electrician (ext. 204) for circuit pier-7.",),
                do=("Find the cause first.", "Test before touch: the unit stays live."),
                do_not=("Do not re-close a tripped breaker.", "Do not restart the feeder."),
            ),
        ),
        ("Add no device to this unit.", ActionWords((), (), ("Add no device to this unit.",))),
        ("Look at the lane.", ActionWords((), ("Look at the lane.",), ())),
        ("", ActionWords((), (), ())),
    ],
)
def test_an_action_is_taken_apart(action: str, parts: ActionWords) -> None:
    assert action_words(action) == parts


def letters(text: str) -> str:
    """Return the letters of a text in small."""
    return re.sub(r"\W", "", text).lower()


@pytest.mark.parametrize("kind", list(AlarmKind))
def test_no_word_of_an_action_is_lost_and_what_is_forbidden_is_never_told_to_be_done(kind: AlarmKind) -> None:
    action = ALARM_RULES[kind].action
    parts = action_words(action)
    told = [*(f"Call {text}" for text in parts.call), *parts.do, *parts.do_not]
    assert sorted("".join(letters(text) for text in told)) == sorted(letters(action))
    for text in (*parts.call, *parts.do):
        assert not re.search(r"\bdo not\b", text, re.IGNORECASE)


def test_the_card_says_where_on_what_and_what_it_rests_on() -> None:
    view = alarm_view(ac_lost(), ALARM, NOW_S)
    assert view.where == "berth-1, cabinet at berth 1"
    assert view.circuit == "quay-3"
    assert view.running_on == "PoE feed from core port 2, believed"
    assert view.fails_next == "If core port 2 or its cable fails too, berth-1 and its four devices go dark."
    assert view.readings == "berth-1 read 6 s ago; no second, independent sign yet"
    port = next(alarm for alarm in ac_lost().alarms if alarm.port == "4")
    assert (
        alarm_view(ac_lost(), port, NOW_S).readings == "exit-lanes read 6 s ago; port 4 17.0 W measured, read 6 s ago"
    )
    assert alarm_view(ac_lost(), port, NOW_S).fails_next == ""


def test_two_signs_and_old_or_missing_readings_are_told() -> None:
    site = ac_lost()
    unit = site.unit("berth-1")
    assert unit is not None
    sure = replace(unit, legs=(replace(unit.legs[0], sure=True), unit.legs[1]))
    others = tuple(sure if old is unit else old for old in site.units)
    assert alarm_view(replace(site, units=others), ALARM, NOW_S).readings.endswith("two independent signs agree")
    silent = silent_unit()
    assert alarm_view(silent, silent.alarms[0], NOW_S).readings == "exit-lanes stale: read 13:57:04, 9 min ago"
    of_port = replace(silent.alarms[0], port="1")
    assert alarm_view(silent, of_port, NOW_S).readings.endswith("port 1: the unit has not answered since 13:57:04")
    nobody = replace(ALARM, unit="nowhere")
    assert alarm_view(site, nobody, NOW_S).readings == "none: the site has no such unit"


@pytest.mark.parametrize(
    ("state", "hand", "words"),
    [
        (AlarmState.RAISED, None, ""),
        (AlarmState.ACKNOWLEDGED, None, ""),
        (AlarmState.ACKNOWLEDGED, Handling("night desk"), "acknowledged by night desk"),
        (
            AlarmState.SHELVED,
            Handling("day desk", "lamp is on order", NOW_S + 3600),
            "shelved by day desk until 15:06:10, for 60 min more: lamp is on order",
        ),
        (
            AlarmState.SUPPRESSED,
            Handling("", "", NOW_S - 1),
            "suppressed by nobody who gave a name until 14:06:09, over now",
        ),
    ],
)
def test_in_whose_hand(state: AlarmState, hand: Handling | None, words: str) -> None:
    alarm = replace(ALARM, state=state, handling=hand)
    assert alarm_view(ac_lost(), alarm, NOW_S).in_hand == words
    assert shelved_view(ac_lost(), alarm, NOW_S).in_hand == words


def test_what_was_set_aside_is_listed_apart_from_what_waits() -> None:
    shelved = replace(
        ALARM, state=AlarmState.SHELVED, summary="berth-1 lost local AC", handling=Handling("a", "b", NOW_S + 60)
    )
    pending = replace(ac_lost_alarm("berth-2"), state=AlarmState.PENDING)
    view = overview_view(replace(ac_lost(), alarms=(shelved, pending)), NOW_S)
    assert view.alarms == ()
    assert [alarm.what for alarm in view.shelved] == ["berth-1 lost local AC"]
    assert [line.partition(",")[0] for line in view.waiting] == ["pending"]
    assert len(view.set_aside) == 2
