"""A message of an alarm as one syslog line (RFC 5424), with structured data that can't be broken out of."""

from __future__ import annotations

import re
from collections.abc import Mapping

from portdraw.judgement.alarm import Severity
from portdraw.reporting.plain_text import plain
from portdraw.reporting.site_json import Json

# RFC 5424, section 6.2.1, table 1
FACILITIES = {
    "user": 1, "daemon": 3, "local0": 16, "local1": 17, "local2": 18, "local3": 19,
    "local4": 20, "local5": 21, "local6": 22, "local7": 23,
}  # fmt: skip
# RFC 5424, section 6.2.1, table 2: "alert: action must be taken immediately", "warning conditions", "notice: normal
# but significant condition", "informational". A return is a notice, as a cleared alarm is in RFC 5674 (from memory).
SEVERITIES = {Severity.URGENT.value: 1, Severity.WARNING.value: 4, Severity.NOTICE.value: 5}
RETURNED_SEVERITY = 5
TRIAL_SEVERITY = 6
# An element of one's own needs an enterprise number (section 6.3.2). This project has none; 32473 is set aside for
# examples (RFC 5612), so that it is no maker's.
SD_ID = "portdraw@32473"
# "any transport receiver SHOULD be able to accept messages of up to and including 2048 octets" (section 6.1)
MOST_OCTETS = 2048
LONGEST_VALUE = 200
APP_NAME = "portdraw"
NIL = "-"
BOM = b"\xef\xbb\xbf"  # section 6.4: a text in UTF-8 must begin with it

# dropped in this order where a line would be too long: what the text says too, first
_CAN_GO = ("running_on", "action", "measure", "limit", "value", "place", "was", "site")


def syslog_line(message: Mapping[str, Json], facility: int, hostname: str, process_id: int) -> bytes:
    """Return the line of an alarm message or trial message, at most 2048 octets.

    Whatever the texts hold, it is one header, one element of structured data and one text without control
    characters.
    """
    state, severity = _text(message.get("state")), _text(message.get("severity"))
    if state == "trial":
        number = TRIAL_SEVERITY
    elif state in ("returned", "normal"):
        number = RETURNED_SEVERITY
    else:
        number = SEVERITIES.get(severity, SEVERITIES[Severity.WARNING.value])
    header = " ".join(
        (
            f"<{facility * 8 + number}>1",
            _timestamp(message.get("changed_at") or message.get("sent_at")),
            _word(hostname, 255),
            APP_NAME,
            str(process_id),
            _word(_text(message.get("kind")) or state, 32),
        )
    )
    values = _values(message)
    text = BOM + plain(_text(message.get("text")), 700).encode("utf-8", "replace")
    for name in (*_CAN_GO, ""):
        line = f"{header} [{SD_ID}{''.join(values.values())}] ".encode() + text
        if len(line) <= MOST_OCTETS or not name:
            break
        values.pop(name, None)
    return line[:MOST_OCTETS].decode("utf-8", "ignore").encode()


def _values(message: Mapping[str, Json]) -> dict[str, str]:
    """Return what goes into the structured data, each ready to be put there."""
    where = message.get("where")
    place: Mapping[str, Json] = where if isinstance(where, Mapping) else {}
    names = ("id", "alarm_id", "state", "was", "severity", "kind")
    found: dict[str, Json] = {name: message.get(name) for name in names}
    found["site"] = message.get("site")
    found |= {name: place.get(name) for name in ("unit", "port", "place")}
    found |= {name: message.get(name) for name in ("value", "limit", "measure", "running_on", "action")}
    found["emulated"] = "true" if message.get("emulated") else None
    return {name: f' {name}="{_escaped(_text(value))}"' for name, value in found.items() if _text(value)}


def _text(value: Json) -> str:
    if value is None:
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)


def _escaped(text: str) -> str:
    """Escape the three characters that end a value or begin an escape (section 6.3.3)."""
    return re.sub(r'(["\\\]])', r"\\\1", plain(text, LONGEST_VALUE))


def _word(text: str, longest: int) -> str:
    """Return a header field: printable ASCII without blanks, "-" where nothing is left (section 6)."""
    return "".join(letter for letter in text if "!" <= letter <= "~")[:longest] or NIL


def _timestamp(value: Json) -> str:
    """Return a time of ours, which is RFC 3339 with milliseconds; "-" where it is unknown (section 6.2.3)."""
    pattern = r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?(Z|[+-]\d\d:\d\d)"
    return value if isinstance(value, str) and re.fullmatch(pattern, value) else NIL
