"""The message of an alarm."""

from __future__ import annotations

import json
from dataclasses import replace

from tests.reporting.samples import HOSTILE, NOW_S, SITE, TIMEZONE, ac_lost, ac_lost_alarm

from portdraw.judgement.alarm import AlarmState
from portdraw.judgement.alarm_book import AlarmChange
from portdraw.reporting.notify.alarm_message import alarm_message, message_body, trial_message

RAISED = AlarmChange(ac_lost_alarm("berth-1"), AlarmState.NORMAL, AlarmState.RAISED)


def test_a_message_in_full() -> None:
    message = alarm_message(RAISED, SITE, TIMEZONE, True, NOW_S, ac_lost().unit("berth-1"))
    assert len(str(message["id"])) == 32
    assert {name: value for name, value in message.items() if name not in ("id", "alarm_id")} == {
        "format": 1,
        "site": "Skarholm ferry terminal",
        "emulated": True,
        "text": "EMULATED: Local AC lost at berth-1; it runs on its PoE feed from core port 2 since 14:02:31.",
        "state": "raised",
        "was": "normal",
        "changed_at": "2026-03-02T14:06:10.000+00:00",
        "severity": "urgent",
        "why_severity": "one leg left, and a device of criticality 1 hangs on it",
        "kind": "local-ac-lost",
        "what": "Local AC lost at berth-1; it runs on its PoE feed from core port 2 since 14:02:31.",
        "where": {"unit": "berth-1", "port": None, "place": "cabinet at berth 1"},
        "running_on": "PoE feed from core port 2, believed",
        "value": None,
        "limit": None,
        "measure": "",
        "began_at": "2026-03-02T14:02:31.000+00:00",
        "raised_at": "2026-03-02T14:02:33.000+00:00",
        "ended_at": None,
        "consequence": "If core port 2 or its cable fails too, berth-1 and its four devices go dark.",
        "action": RAISED.alarm.action,
        "handling": None,
    }


def test_sent_twice_it_has_the_same_id_and_a_change_has_another() -> None:
    again = alarm_message(RAISED, SITE, TIMEZONE, True, NOW_S + 60)
    first = alarm_message(RAISED, SITE, TIMEZONE, True, NOW_S)
    over = replace(RAISED.alarm, state=AlarmState.RETURNED, ended_s=NOW_S)
    returned = alarm_message(
        AlarmChange(over, AlarmState.RETURNING, AlarmState.RETURNED), SITE, TIMEZONE, True, NOW_S
    )
    anew = replace(RAISED.alarm, raised_s=NOW_S)
    raised_anew = alarm_message(
        AlarmChange(anew, AlarmState.RETURNED, AlarmState.RAISED), SITE, TIMEZONE, True, NOW_S
    )
    elsewhere = alarm_message(RAISED, "Another site", TIMEZONE, True, NOW_S)
    assert first["id"] == again["id"]
    assert len({str(message["id"]) for message in (first, returned, raised_anew, elsewhere)}) == 4
    assert first["alarm_id"] == returned["alarm_id"]


def test_a_real_site_is_not_called_emulated_and_a_trial_is_no_alarm() -> None:
    assert str(alarm_message(RAISED, SITE, TIMEZONE, False, NOW_S)["text"]).startswith("Local AC lost")
    trial = trial_message(SITE, False, NOW_S, TIMEZONE)
    assert (trial["state"], trial["text"]) == (
        "trial",
        "Trial message of Skarholm ferry terminal: nothing has happened.",
    )


def test_body_is_json_and_hidden_characters_are_gone() -> None:
    alarm = replace(RAISED.alarm, sentence=HOSTILE, unit="\ud800x")
    body = message_body(alarm_message(replace(RAISED, alarm=alarm), SITE, TIMEZONE, True, NOW_S))
    assert body == message_body(alarm_message(replace(RAISED, alarm=alarm), SITE, TIMEZONE, True, NOW_S))
    assert b"\\u001b" not in body
    assert json.loads(body)["where"]["unit"] == "\N{REPLACEMENT CHARACTER}x"
