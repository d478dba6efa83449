"""One cycle: newest answers in, judged; history, alarms and messages out.

What fails outside (a full disk, say) is told in the agent's health and never stops reading and judging.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping
from dataclasses import replace

from portdraw.history.store import History, HistoryError
from portdraw.judgement.alarm_book import AlarmBook, AlarmChange
from portdraw.judgement.assessment import SiteAssessment
from portdraw.judgement.compare import assess
from portdraw.judgement.condition import Condition
from portdraw.judgement.memory import Memory
from portdraw.judgement.rules import site_conditions
from portdraw.observation.unit_observation import UnitObservation
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.reporting.alarm_message import alarm_message

log = logging.getLogger("portdraw.cycle")
_ALARMS_KEY = "alarm-book"


class Cycle:
    """Holds what lasts from one cycle to the next. Not thread-safe: the event loop calls it."""

    def __init__(
        self,
        site: Site,
        every_s: float,
        history: History | None,
        receivers: tuple[str, ...],
        emulated: bool,
    ) -> None:
        self._site = site
        self._tree = Tree(site)
        self._every_s = every_s
        self._history = history
        self._receivers = receivers
        self._emulated = emulated
        self._memory = Memory()
        self._book = AlarmBook(site.site.timezone)
        self._fresh: dict[str, UnitObservation] = {}
        self._newest: dict[str, UnitObservation] = {}
        self._unwritten: list[UnitObservation] = []
        self._unqueued: list[tuple[AlarmChange, float]] = []
        self.drift: tuple[Condition, ...] = ()
        self.current: SiteAssessment | None = None
        self.history_error = ""
        self._restore()

    def take(self, observation: UnitObservation) -> None:
        """Keep a unit's newest observation for the next cycle."""
        self._newest[observation.unit] = observation
        self._unwritten.append(observation)
        del self._unwritten[: -20 * max(1, len(self._site.units))]  # a full disk must not fill the memory

    @property
    def heard_units(self) -> int:
        """How many units have been asked so far."""
        return len(self._newest)

    def run(self, time_s: float) -> list[AlarmChange]:
        """Judge the site at `time_s` (site clock) and keep what came of it; return the alarms that changed."""
        assessment, self._memory = assess(
            self._site, self._tree, self._newest, time_s, self._every_s, self._emulated, self._memory
        )
        conditions = site_conditions(self._site, self._tree, assessment, self._memory, self._every_s)
        changes = self._book.update([*conditions, *self.drift], time_s)
        self.current = replace(assessment, alarms=self._book.alarms(), cycle=self._memory.cycle)
        self._unqueued += [(change, time_s) for change in changes]
        self._keep(time_s)
        for change in changes:
            log.info("%s -> %s: %s", change.from_state, change.to_state, change.alarm.sentence)
        return changes

    def _keep(self, time_s: float) -> None:
        """Write readings, events, alarms and messages; what can't be written stays for the next cycle."""
        if self._history is None:
            self._unwritten.clear()
            self._unqueued.clear()
            return
        try:
            if self._unwritten:
                self._history.record_cycle(self._unwritten, self._every_s)
                self._unwritten.clear()
            if self._unqueued:
                # the book goes last: after a crash in between an alarm is told again, under the same key, never lost
                for change, changed_s in self._unqueued:
                    self._tell(change, changed_s)
                self._history.put_state(_ALARMS_KEY, self._book.dump())
                self._unqueued.clear()
            self.history_error = ""
        except HistoryError as error:
            if str(error) != self.history_error:
                log.error("%s; reading and alarming go on", error)
            self.history_error = str(error)

    def _tell(self, change: AlarmChange, time_s: float) -> None:
        assert self._history is not None
        if not change.came_up and not change.is_over:
            return
        alarm = change.alarm
        kind = "alarm-raised" if change.came_up else "alarm-returned"
        data: Mapping[str, object] = {
            "kind": alarm.kind.value,
            "sentence": alarm.sentence,
            "port": alarm.port,
            "began_s": alarm.began_s,
            "raised_s": alarm.raised_s,
            "ended_s": alarm.ended_s,
            "value": alarm.value,
            "limit": alarm.limit,
            "measure": alarm.measure,
            "severity": alarm.severity.value,
        }
        self._history.add_event(time_s, kind, alarm.unit, alarm.port, alarm.sentence, data)
        for receiver in self._receivers:
            unit = None if self.current is None else self.current.unit(alarm.unit)
            message = alarm_message(
                change, self._site.site.name, self._site.site.timezone, self._emulated, time_s, unit
            )
            self._history.outbox.add(receiver, str(message["id"]), message, time_s)

    def _restore(self) -> None:
        if self._history is None:
            return
        try:
            dumped = self._history.get_state(_ALARMS_KEY)
            if dumped is not None:
                self._book.restore(dumped)
        except (HistoryError, ValueError) as error:
            log.error("the alarms of before the restart can't be taken up: %s", error)
