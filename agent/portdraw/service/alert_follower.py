"""Keeps an Alertmanager at the state of our alarms: what is up is repeated, what is over is ended, once for certain.

An Alertmanager keeps states, not messages, so nothing is queued: what it was told to be up is kept in the history,
and each round tells it the difference to what is up now. That holds over a restart of either side.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Mapping
from dataclasses import dataclass

from portdraw.history.store import History
from portdraw.judgement.alarm_states import UP
from portdraw.judgement.assessment import SiteAssessment
from portdraw.reporting.current import ReceiverHealth
from portdraw.reporting.notify.alertmanager import Alert, Alertmanager, annotations_of, labels_of, settled_severity
from portdraw.service.clock import Clock

log = logging.getLogger("portdraw.delivery")
# An alert that is not repeated for this long ends by itself. Long enough for a restart of the machine: it stays up
# although nobody is looking, and ends only where we are gone for good. Our choice, no source.
ENDS_AFTER_S = 900.0
REPEAT_EVERY_S = 60.0  # wall time
STATE_KEY = "alertmanager-told:"

Told = dict[str, dict[str, str]]  # the labels that were told to be up, by the alarm's key


@dataclass
class _Round:
    """What one round has to say: alerts, what is then told, and whether anything is new."""

    alerts: list[Alert]
    told: Told
    is_new: bool


class AlertFollower:
    """Follows the alarms for one Alertmanager. Raises HistoryError where the history can't be used."""

    def __init__(self, name: str, receiver: Alertmanager, history: History, clock: Clock) -> None:
        self._name = name
        self._receiver = receiver
        self._history = history
        self._clock = clock
        self._told: Told | None = None
        self._next_wall_s = 0.0
        self._failures = 0

    async def round(self, assessment: SiteAssessment, timeout_s: float, backoff_s: float) -> ReceiverHealth | None:
        """Tell what is new at once, and all that is up each minute; None where there was nothing to say.

        Alarms that are shelved or set aside for planned work count as not up: they are ended there, and told anew
        when they come back. After a failed attempt the next is after `backoff_s` wall seconds.
        """
        if self._told is None:
            self._told = _read(self._history.get_state(STATE_KEY + self._name))
        now_s = time.monotonic()
        work = self._work(assessment, self._told)
        wait = now_s < self._next_wall_s
        if (wait and (self._failures or not work.is_new)) or not (work.alerts or work.is_new):
            return None
        result = await self._receiver.post(work.alerts, timeout_s)
        if not result.ok:
            self._failures += 1
            self._next_wall_s = now_s + min(backoff_s, REPEAT_EVERY_S)
            if self._failures == 1:
                log.warning("receiver %s: %s; alarms are told again until it takes them", self._name, result.error)
            return ReceiverHealth(self._name, False, result.error)
        self._failures = 0
        self._next_wall_s = now_s + REPEAT_EVERY_S
        if work.told != self._told:
            self._history.put_state(STATE_KEY + self._name, work.told)
            self._told = work.told
        return ReceiverHealth(self._name, True, "")

    @property
    def failures(self) -> int:
        """How many attempts have failed since the last good one."""
        return self._failures

    def _work(self, assessment: SiteAssessment, told: Told) -> _Round:
        now_wall_s, now_s = time.time(), self._clock.now_s()
        units = {unit.unit: unit for unit in assessment.units}
        alerts: list[Alert] = []
        up: Told = {}
        for alarm in assessment.alarms:
            if alarm.state not in UP:
                continue
            key = "\0".join(alarm.key)
            severity = settled_severity(alarm, told.get(key, {}).get("severity"))
            up[key] = labels_of(alarm, assessment.site, assessment.emulated, severity)
            since_s = alarm.began_s if alarm.raised_s is None else alarm.raised_s
            # the site's clock may run faster than the machine's, by which an Alertmanager counts
            starts_s = now_wall_s - max(0.0, self._clock.wall_s(now_s - since_s))
            words = annotations_of(alarm, assessment.emulated, units.get(alarm.unit))
            alerts.append(Alert(up[key], words, starts_s, now_wall_s + ENDS_AFTER_S))
        for key, labels in told.items():
            if up.get(key) != labels:
                alerts.append(Alert(labels, {}, now_wall_s - 1.0, now_wall_s))
        return _Round(alerts, up, up != told)


def _read(stored: object) -> Told:
    """Return what was told before a restart; what is not of that form counts as nothing told."""
    if not isinstance(stored, Mapping):
        return {}
    return {
        str(key): {str(name): str(value) for name, value in labels.items()}
        for key, labels in stored.items()
        if isinstance(labels, Mapping)
    }
