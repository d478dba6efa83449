"""One cycle: newest answers in, judged; history, alarms and messages out.

What fails outside (a full disk, say) is told in the agent's health and never stops reading and judging.
"""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace

from portdraw.history.store import History, HistoryError
from portdraw.judgement.alarm import AlarmKind
from portdraw.judgement.alarm_book import AlarmBook, AlarmChange, Key
from portdraw.judgement.assessment import SiteAssessment
from portdraw.judgement.compare import assess
from portdraw.judgement.condition import Condition, unjudged
from portdraw.judgement.foresight import foreseen
from portdraw.judgement.leg_store import dump_legs, is_news, restore_legs
from portdraw.judgement.look_ahead import LARGE_UNITS, Ahead, AheadMemory, NightDraws, look_ahead
from portdraw.judgement.rules import site_conditions
from portdraw.observation.unit_observation import UnitObservation
from portdraw.plan.load_case import case_now
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.reporting.notify.alarm_message import alarm_message
from portdraw.reporting.plain_text import plain
from portdraw.reporting.site_json import Json
from portdraw.service.draw_keeper import DrawKeeper

log = logging.getLogger("portdraw.cycle")
_ALARMS_KEY = "alarm-book"
_LEG_KINDS = (AlarmKind.LOCAL_AC_LOST, AlarmKind.POE_FEED_LOST)
_LEGS_KEY = "legs"
# What waits while the history can't be written; a full disk must not fill the memory too. About 60 MB of
# 8-port units, and as many polls of each as two hours of a site of ten units have.
MOST_UNWRITTEN = 2400

MISSED_POLLS = 4  # a condition that was not seen for longer may have ended at any time since: common practice

Drift = tuple[Condition, ...]
Study = tuple[Ahead, AheadMemory]


@dataclass(frozen=True)
class Hand:
    """Who takes an alarm in hand, why, and until when [s since the epoch]; `by` names the token it came with."""

    owner: str
    by: str
    reason: str = ""
    until_s: float | None = None


@dataclass(frozen=True)
class _News:
    """An alarm that came up, is over or was taken in hand, with the message about it as it was at that time.

    `kind` is that of the event; `hand` is there where a person did it.
    """

    time_s: float
    change: AlarmChange
    message: dict[str, Json]
    kind: str
    hand: Hand | None = None


class Cycle:
    """Holds what lasts from one cycle to the next. Not thread-safe: the event loop calls it.

    `drift` is what the newest daily trends say, None while they were not worked out since the start; `tonight` the
    load of tonight from the history, None while it has none. Without `studies` nothing is said of the next failure.
    """

    def __init__(
        self,
        site: Site,
        every_s: float,
        history: History | None,
        receivers: tuple[str, ...],
        emulated: bool,
        studies: bool = True,
    ) -> None:
        self._site = site
        self._tree = Tree(site)
        self._every_s = every_s
        self._history = history
        self._receivers = receivers
        self._emulated = emulated
        self._studies = studies
        self._ahead = AheadMemory()
        self._draw_keeper = DrawKeeper(history)
        self._memory = self._draw_keeper.first_memory(site, self._tree)
        self._book = AlarmBook(site.site.timezone, MISSED_POLLS * every_s)
        self._newest: dict[str, UnitObservation] = {}
        self._unwritten: deque[UnitObservation] = deque()
        self._untold: deque[_News] = deque()
        self._book_changed = False
        self._legs_changed = False
        self._most_unwritten = max(MOST_UNWRITTEN, 2 * len(site.units))
        self._dropped = 0
        self.drift: Drift | None = None
        self.tonight: NightDraws | None = None
        self.current: SiteAssessment | None = None
        self.history_error = ""
        self._restore()

    def take(self, observation: UnitObservation, extra: bool = False) -> None:
        """Keep the newest observation of a unit or a UPS for the next cycle; the history has units only.

        One out of turn (`extra`) is judged by, but not kept in history: there a reading stands for a whole interval.
        """
        self._newest[observation.unit] = observation
        if extra or observation.unit in self._site.ups:
            return
        self._unwritten.append(observation)
        while len(self._unwritten) > self._most_unwritten:
            self._unwritten.popleft()
            self._dropped += 1

    @property
    def history_words(self) -> str:
        """Say why the history can't be written and what is not kept; "" where all is well."""
        if not self.history_error:
            return ""
        lost = f", {self._dropped} are lost" if self._dropped else ""
        return f"{self.history_error} ({len(self._unwritten)} polls of units wait in memory{lost})"

    @property
    def heard_units(self) -> int:
        """How many units have been asked so far."""
        return len(self._newest.keys() - self._site.ups.keys())

    def run(self, time_s: float, trends: Callable[[SiteAssessment], Drift | None] | None = None) -> list[AlarmChange]:
        """Do a whole cycle at `time_s` (site clock); return the alarms that changed."""
        assessment = self.look(time_s, trends)
        return self.conclude(assessment, self.study(assessment) if self._studies else None)

    @property
    def study_is_long(self) -> bool:
        """Say whether the study of failures is too long for the event loop and belongs into a thread."""
        return len(self._site.units) > LARGE_UNITS

    def look(self, time_s: float, trends: Callable[[SiteAssessment], Drift | None] | None = None) -> SiteAssessment:
        """Begin a cycle: say what is true of the site now.

        `trends`, where given, works the drift out anew before alarms are judged; None from it keeps what was known.
        """
        before = self._memory
        assessment, self._memory = assess(
            self._site, self._tree, self._newest, time_s, self._every_s, self._emulated, before
        )
        self._legs_changed = self._legs_changed or is_news(before, self._memory)
        if trends is not None:
            fresh = trends(assessment)
            self.drift = self.drift if fresh is None else fresh
        return assessment

    def study(self, assessment: SiteAssessment) -> Study:
        """Work out what fails next. It changes nothing here and takes long on a large site: a thread may do it."""
        case = case_now(self._site, assessment.time_s)
        return look_ahead(self._site, self._tree, assessment.units, case, self.tonight, self._ahead)

    def conclude(self, assessment: SiteAssessment, study: Study | None) -> list[AlarmChange]:
        """End a cycle: judge alarms, tell and keep; return the alarms that changed."""
        time_s = assessment.time_s
        if study is not None:
            ahead, self._ahead = study
            assessment = foreseen(assessment, ahead)
        conditions = site_conditions(self._site, self._tree, assessment, self._memory, self._every_s)
        changes = self._book.update([*conditions, *self._drift()], time_s)
        self.current = replace(assessment, alarms=self._book.alarms(), cycle=self._memory.cycle)
        self._note(changes, time_s)
        self._keep()
        for change in changes:
            log.info("%s -> %s: %s", change.from_state, change.to_state, plain(change.alarm.sentence, 600))
        return changes

    def knows(self, key: Key) -> bool:
        """Say whether there is such an alarm."""
        return self.current is not None and any(alarm.key == key for alarm in self.current.alarms)

    def acknowledge(self, key: Key, hand: Hand, time_s: float) -> AlarmChange | None:
        """Acknowledge an alarm at `time_s`; None where there is nothing to acknowledge."""
        return self._handled(self._book.acknowledge(key, time_s, hand.owner), "alarm-acknowledged", hand, time_s)

    def shelve(self, key: Key, hand: Hand, time_s: float) -> AlarmChange | None:
        """Set an alarm aside; None where there is nothing to set aside. Raises ValueError with one sentence."""
        until_s = time_s if hand.until_s is None else hand.until_s
        change = self._book.shelve(key, hand.owner, hand.reason, until_s, time_s)
        return self._handled(change, "alarm-shelved", hand, time_s)

    def take_back(self, key: Key, hand: Hand, time_s: float) -> AlarmChange | None:
        """Take an alarm off the shelf before its time; None where it is not on it."""
        return self._handled(self._book.take_back(key, time_s), "alarm-unshelved", hand, time_s)

    def _handled(self, change: AlarmChange | None, kind: str, hand: Hand, time_s: float) -> AlarmChange | None:
        """Show, tell and keep what a person did, as what a cycle finds is; readings wait for their cycle."""
        if change is not None and self.current is not None:
            self.current = replace(self.current, alarms=self._book.alarms())
            self._add_news(change, time_s, kind, hand)
            self._keep(with_readings=False)
            log.info("%s by %s (%s): %s", kind, plain(hand.owner), hand.by, plain(change.alarm.sentence, 600))
        return change

    def _drift(self) -> Drift:
        """Return the drift conditions; before trends are known an alarm of before the restart stays as it was."""
        if self.drift is not None:
            return self.drift
        alarms = self._book.alarms()
        return tuple(unjudged(a.kind, a.unit, a.port) for a in alarms if a.kind is AlarmKind.DRIFT)

    def _note(self, changes: list[AlarmChange], time_s: float) -> None:
        """Put what people are to be told of into words now, while place and leg are as they were."""
        for change in changes:
            self._book_changed = True
            if change.came_up or change.is_over:
                self._add_news(change, time_s, "alarm-raised" if change.came_up else "alarm-returned")
            elif change.passed and change.alarm.kind in _LEG_KINDS:
                self._add_news(change, time_s, "alarm-passed")  # nobody is told, but an audit lists it

    def _add_news(self, change: AlarmChange, time_s: float, kind: str, hand: Hand | None = None) -> None:
        assert self.current is not None
        self._book_changed = True
        unit = self.current.unit(change.alarm.unit)
        head = self._site.site
        by_hand = hand is not None
        message = alarm_message(change, head.name, head.timezone, self._emulated, time_s, unit, by_hand)
        self._untold.append(_News(time_s, change, message, kind, hand))

    def _keep(self, with_readings: bool = True) -> None:
        """Write readings, messages, events and alarms; what can't be written stays for the next cycle."""
        if self._history is None:
            self._unwritten.clear()
            self._untold.clear()
            return
        try:
            if self._unwritten and with_readings:
                self._history.record_cycle(tuple(self._unwritten), self._every_s)
                self._unwritten.clear()
                self._draw_keeper.keep(self._memory.draws)
            while self._untold:
                self._tell(self._history, self._untold[0])
                self._untold.popleft()
            if self._book_changed:
                # the book goes last: after a crash in between an alarm is told again, never lost
                self._history.put_state(_ALARMS_KEY, self._book.dump())
                self._book_changed = False
            if self._legs_changed:
                self._history.put_state(_LEGS_KEY, dump_legs(self._memory))
                self._legs_changed = False
        except HistoryError as error:
            if str(error) != self.history_error:
                log.error("%s; reading and alarming go on", error)
            self.history_error = str(error)
            self._book_changed = self._legs_changed = True  # the file that can be written again may be another one
            return
        self.history_error = ""
        if self._dropped:
            log.error("%d readings were lost while the history could not be written", self._dropped)
            self._dropped = 0

    def _tell(self, history: History, news: _News) -> None:
        """Queue a message for each receiver, then write the event: a second try queues nothing twice."""
        for receiver in () if news.change.passed else self._receivers:
            history.outbox.add(receiver, str(news.message["id"]), news.message, news.time_s)
        alarm = news.change.alarm
        data: Mapping[str, object] = {
            "kind": alarm.kind.value,
            "sentence": alarm.sentence,
            "port": alarm.port,
            "began_s": alarm.began_s,
            "raised_s": alarm.raised_s,
            "ended_s": alarm.ended_s,
            "began_seen": alarm.began_seen,
            "last_seen_s": alarm.last_seen_s,
            "ended_seen": alarm.ended_seen,
            "value": alarm.value,
            "limit": alarm.limit,
            "measure": alarm.measure,
            "severity": alarm.severity.value,
            **({} if news.hand is None else asdict(news.hand)),
        }
        history.add_event(news.time_s, news.kind, alarm.unit, alarm.port, alarm.sentence, data)

    def _restore(self) -> None:
        if self._history is None:
            return
        try:
            dumped = self._history.get_state(_ALARMS_KEY)
            if dumped is not None:
                self._book.restore(dumped)
        except (HistoryError, ValueError) as error:
            log.error("the alarms of before the restart can't be taken up: %s", error)
        try:
            dumped = self._history.get_state(_LEGS_KEY)
            if dumped is not None:
                self._memory = restore_legs(self._memory, dumped)
        except (HistoryError, ValueError) as error:
            log.error("what was known of legs before the restart can't be taken up: %s", error)
