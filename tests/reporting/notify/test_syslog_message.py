"""A line of syslog, held against the grammar of RFC 5424, section 6, written out here once more."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from tests.reporting.samples import HOSTILE, NOW_S, SITE, TIMEZONE, ac_lost, ac_lost_alarm

from portdraw.judgement.alarm import AlarmState, Severity
from portdraw.judgement.alarm_book import AlarmChange
from portdraw.reporting.notify.alarm_message import alarm_message, trial_message
from portdraw.reporting.notify.syslog_message import FACILITIES, syslog_line
from portdraw.reporting.site_json import Json

ALARM = ac_lost_alarm("berth-1")
ALL_VALUES = {
    "id", "alarm_id", "state", "was", "severity", "kind", "site", "unit", "port", "place", "running_on", "action",
    "emulated",
}  # fmt: skip
# RFC 5424, section 6, ABNF: PRI, VERSION, TIMESTAMP, HOSTNAME, APP-NAME, PROCID, MSGID, one SD-ELEMENT, MSG-UTF8
LINE = re.compile(
    rb"<(?P<pri>0|[1-9][0-9]{0,2})>1"
    rb" (?P<time>-|\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{1,6})?(?:Z|[+-]\d\d:\d\d))"
    rb" (?P<host>[!-~]{1,255}) (?P<app>[!-~]{1,48}) (?P<process>[!-~]{1,128}) (?P<kind>[!-~]{1,32})"
    rb" \[(?P<id>[!#-<>-Z\\^-~]{1,32})(?P<values>(?: [!#-<>-Z\\^-~]{1,32}=\"(?:[^\"\\\]]|\\[\"\\\]])*\")*)\]"
    rb" \xef\xbb\xbf(?P<text>.*)",
    re.DOTALL,
)


def message(state: AlarmState = AlarmState.RAISED, **changed: object) -> dict[str, Json]:
    alarm = replace(ALARM, state=state, **changed)  # type: ignore[arg-type]
    return alarm_message(
        AlarmChange(alarm, AlarmState.PENDING, state), SITE, TIMEZONE, True, NOW_S, ac_lost().unit("berth-1")
    )


def parsed(line: bytes) -> tuple[dict[str, str], dict[str, str]]:
    """Return header fields and structured data, with their escapes undone (section 6.3.3)."""
    found = LINE.fullmatch(line)
    assert found is not None, line
    head = {name: part.decode() for name, part in found.groupdict().items()}
    values = re.findall(r' ([^= ]+)="((?:[^"\\\]]|\\.)*)"', head["values"])
    assert all(ord(letter) >= 32 for letter in line.decode())
    return head, {name: re.sub(r'\\(["\\\]])', r"\1", value) for name, value in values}


def test_a_line_in_full() -> None:
    head, values = parsed(syslog_line(message(), FACILITIES["local3"], "watch.example", 4711))
    assert head["pri"] == str(19 * 8 + 1)
    assert (head["time"], head["host"]) == ("2026-03-02T14:06:10.000+00:00", "watch.example")
    assert (head["app"], head["process"], head["kind"]) == ("portdraw", "4711", "local-ac-lost")
    assert head["text"].startswith("EMULATED: Local AC lost at berth-1;")
    assert values["unit"] == "berth-1"
    assert values["place"] == "cabinet at berth 1"
    assert values["emulated"] == "true"
    assert "port" not in values  # what there is not is left out, never said empty


@pytest.mark.parametrize(
    ("severity", "state", "number"),
    # RFC 5424, table 2
    [
        (Severity.URGENT, AlarmState.RAISED, 1),
        (Severity.WARNING, AlarmState.RAISED, 4),
        (Severity.NOTICE, AlarmState.RAISED, 5),
        (Severity.URGENT, AlarmState.RETURNED, 5),
    ],
)
def test_severity(severity: Severity, state: AlarmState, number: int) -> None:
    head, _ = parsed(syslog_line(message(state, severity=severity), FACILITIES["daemon"], "h", 1))
    assert head["pri"] == str(3 * 8 + number)


def test_a_trial_is_informational() -> None:
    head, values = parsed(syslog_line(trial_message(SITE, False, NOW_S, TIMEZONE), 16, "h", 1))
    assert (head["pri"], head["kind"], values["state"]) == (str(16 * 8 + 6), "trial", "trial")
    assert head["time"] == "2026-03-02T14:06:10.000+00:00"


@pytest.mark.parametrize(
    "text", [HOSTILE, '"] [evil@1 a="b', "\\", '\\"]', "a\0b\rc\n<13>1 - - - - - - forged", "日本" * 300, "\ud800"]
)
def test_whatever_the_texts_hold_it_is_one_line(text: str) -> None:
    hostile = message(sentence=text, action=text, unit=text, port=text, why_severity=text)
    head, values = parsed(syslog_line({**hostile, "site": text}, 16, "host name\n", 1))
    assert head["host"] == "hostname"
    assert set(values) <= ALL_VALUES
    assert "\n" not in head["text"]


def test_a_long_one_keeps_its_text_and_its_identity() -> None:
    text = "Ä" * 500
    line = syslog_line(message(sentence=text, action=text, unit="u" * 300, port="p" * 300), 16, "h" * 400, 1)
    assert len(line) <= 2048  # section 6.1
    head, values = parsed(line)
    assert head["text"] == f"EMULATED: {text}"
    assert {"id", "alarm_id", "state", "unit", "port"} <= set(values)
    assert "running_on" not in values


def test_an_unknown_time_is_nil() -> None:
    head, _ = parsed(syslog_line({**message(), "changed_at": None}, 16, "", 1))
    assert (head["time"], head["host"]) == ("-", "-")
