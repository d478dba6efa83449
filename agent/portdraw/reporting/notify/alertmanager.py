"""Tells an Alertmanager (API v2) which alarms are up: labels that stay the same, sentences as annotations."""

from __future__ import annotations

import json
import ssl
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

from portdraw.judgement.alarm import Alarm, AlarmState, Severity
from portdraw.judgement.assessment import UnitAssessment
from portdraw.reporting.notify.attempt import Attempt
from portdraw.reporting.notify.http_post import post_json
from portdraw.reporting.plain_text import plain
from portdraw.reporting.site_json import Json
from portdraw.reporting.wording import SEVERITY_RANK, running_on

PATH = "/api/v2/alerts"
TRIAL_NAME = "portdraw-trial"
TRIAL_S = 60.0
LONGEST_SENTENCE = 600


@dataclass(frozen=True)
class Alert:
    """One alert as the API takes it. Times are seconds since the epoch, by the machine's clock."""

    labels: Mapping[str, str]
    annotations: Mapping[str, str]
    starts_s: float
    ends_s: float


@dataclass(frozen=True)
class Alertmanager:
    """An Alertmanager at the address under which its API begins; with a token, or user and password, or neither."""

    url: str = field(repr=False)
    token: bytes | None = field(default=None, repr=False)
    user: str | None = field(default=None, repr=False)
    password: bytes | None = field(default=None, repr=False)
    tls: ssl.SSLContext | None = field(default=None, repr=False)

    @property
    def way(self) -> str:
        """How it is reached."""
        return "Alertmanager"

    async def send(self, message: Mapping[str, Json], tried: int, timeout_s: float) -> Attempt:
        """Send a trial message: an alert of low severity that ends by itself after a minute."""
        now_s = datetime.now(UTC).timestamp()
        labels = {"alertname": TRIAL_NAME, "site": _label(message.get("site")), "severity": Severity.NOTICE.value}
        if message.get("emulated"):
            labels["emulated"] = "true"
        trial = Alert(labels, {"summary": plain(str(message.get("text")))}, now_s, now_s + TRIAL_S)
        return await self.post([trial], timeout_s)

    async def post(self, alerts: Iterable[Alert], timeout_s: float) -> Attempt:
        """Post alerts once, within `timeout_s`. Never raises for what the other side does."""
        rows = [
            {
                "labels": dict(alert.labels),
                "annotations": dict(alert.annotations),
                "startsAt": _rfc3339(alert.starts_s),
                "endsAt": _rfc3339(alert.ends_s),
            }
            for alert in alerts
        ]
        headers: dict[str, str] = {}
        if self.token is not None:
            headers["authorization"] = f"Bearer {self.token.decode('latin-1')}"  # RFC 6750, section 2.1
        auth = None
        if self.user is not None and self.password is not None:
            auth = (self.user, self.password.decode("utf-8", "surrogateescape"))
        body = json.dumps(rows, allow_nan=False).encode()
        return await post_json(self.url.rstrip("/") + PATH, body, headers, timeout_s, self.tls, auth)


def labels_of(alarm: Alarm, site: str, emulated: bool, severity: Severity) -> dict[str, str]:
    """Return what makes an alert the same alert: no reading and no time is in it.

    The severity is, as routes go by it; `settled_severity` keeps it from going to and fro.
    """
    labels = {
        "alertname": alarm.kind.value,
        "site": _label(site),
        "unit": _label(alarm.unit),
        "severity": severity.value,
    }
    if alarm.port is not None:
        labels["port"] = _label(alarm.port)
    if emulated:
        labels["emulated"] = "true"
    return labels


def settled_severity(alarm: Alarm, told: str | None) -> Severity:
    """Return the severity to tell: it rises with the alarm, and falls only when the alarm is over."""
    if told is None or told not in {severity.value for severity in Severity}:
        return alarm.severity
    return min(alarm.severity, Severity(told), key=lambda severity: SEVERITY_RANK[severity])


def annotations_of(alarm: Alarm, emulated: bool, unit: UnitAssessment | None) -> dict[str, str]:
    """Return the sentences of an alarm: what, where, on what it runs, why so severe, what then, what to do first."""
    what = plain(alarm.sentence, LONGEST_SENTENCE)
    found = {
        "summary": f"EMULATED: {what}" if emulated else what,
        "place": "" if unit is None else plain(unit.place),
        "running_on": "" if unit is None else plain(running_on(unit)),
        "why_severity": plain(alarm.why_severity, LONGEST_SENTENCE),
        "consequence": plain(alarm.consequence, LONGEST_SENTENCE),
        "action": plain(alarm.action, LONGEST_SENTENCE),
        "acknowledged_by": _owner(alarm),
    }
    return {name: text for name, text in found.items() if text}


def _owner(alarm: Alarm) -> str:
    if alarm.state is not AlarmState.ACKNOWLEDGED:
        return ""
    return plain(alarm.handling.owner) if alarm.handling is not None and alarm.handling.owner else "somebody"


def _label(value: Json) -> str:
    return plain("" if value is None else str(value), 200)


def _rfc3339(time_s: float) -> str:
    return datetime.fromtimestamp(time_s, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
