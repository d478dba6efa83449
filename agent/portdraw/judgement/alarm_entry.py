"""One line of the alarm book: an alarm with what its delays and a restart need."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace

from portdraw.judgement.alarm import Alarm, AlarmKind, AlarmState, Handling, Severity
from portdraw.judgement.alarm_rule import ALARM_RULES
from portdraw.judgement.alarm_states import SET_ASIDE, UP, AlarmEvent, step
from portdraw.judgement.condition import Condition
from portdraw.judgement.wording import clock_text, count_text

_OVER = frozenset({AlarmState.RETURNED, AlarmState.NORMAL})

_LATER = frozenset({"began_seen", "ended_seen", "last_seen_s"})  # not told by the first version

HELD_NOTE = " No fresh reading: this is the last known state."


@dataclass(frozen=True)
class Hold:
    """Who set an alarm aside, why, and until when [s since the epoch]."""

    owner: str
    reason: str
    until_s: float


@dataclass
class AlarmEntry:
    """An alarm in the book.

    `seen_s` is when this occurrence was first seen by the book, from which the on-delay counts; `gone_s` when it was
    first missed, from which the off-delay counts. `acknowledged` outlives a short return, with who did it.
    `held`: no fresh reading.
    """

    alarm: Alarm
    seen_s: float
    gone_s: float | None = None
    acknowledged: bool = False
    held: bool = False
    hold: Hold | None = None
    acknowledged_by: str = ""

    @classmethod
    def begin(
        cls, condition: Condition, time_s: float, timezone: str, not_before_s: float | None = None
    ) -> AlarmEntry:
        """Make the entry of a condition that was not there before; its state is normal until the first event.

        It began after the last one of its kind had ended (`not_before_s`), however far back its rule looks.
        """
        began_s = time_s if condition.since_s is None else min(condition.since_s, time_s)
        if not_before_s is not None:
            began_s = min(max(began_s, not_before_s), time_s)
        blank = Alarm(
            kind=condition.kind,
            unit=condition.unit,
            port=condition.port,
            state=AlarmState.NORMAL,
            severity=Severity.NOTICE,
            sentence="",
            consequence="",
            action="",
            why_severity="",
            began_s=began_s,
            raised_s=None,
            ended_s=None,
            began_seen=condition.began_seen,
        )
        return cls(_told(blank, condition, time_s, timezone), seen_s=time_s)

    def set_back(self, time_s: float) -> None:
        """Where the machine's clock was set back, let both delays count from now, not from a time that is to come."""
        self.seen_s = min(self.seen_s, time_s)
        if self.gone_s is not None:
            self.gone_s = min(self.gone_s, time_s)

    def see(self, condition: Condition, time_s: float, timezone: str) -> None:
        """The condition is there: take over its words and values."""
        if self.alarm.state is AlarmState.RETURNED:
            fresh = AlarmEntry.begin(condition, time_s, timezone, self.alarm.ended_s)
            self.alarm = replace(fresh.alarm, state=self.alarm.state)
            self.seen_s, self.acknowledged = time_s, False
        self.gone_s = None
        seen_s = time_s if condition.read_s is None else min(condition.read_s, time_s)
        seen_s = max(seen_s, self.alarm.began_s, self.alarm.last_seen_s or 0.0)
        self.alarm = replace(self.alarm, last_seen_s=min(seen_s, time_s), ended_seen=True)
        flickered = self.alarm.state is AlarmState.RETURNING
        self.apply(AlarmEvent.SEEN, time_s)
        if flickered and self.acknowledged:
            self.apply(AlarmEvent.ACKNOWLEDGE, time_s)
        self.alarm = _told(self.alarm, condition, time_s, timezone)

    def miss(self, time_s: float, after_a_gap: bool = False) -> None:
        """The condition is not there. `after_a_gap`: readings were missing since it last was."""
        if self.gone_s is None:
            self.gone_s = time_s
            self.alarm = replace(self.alarm, ended_seen=not after_a_gap)
        self.apply(AlarmEvent.GONE, time_s)

    def apply(self, event: AlarmEvent, time_s: float) -> None:
        """Take the alarm to its next state, with the times that go with it."""
        before = self.alarm.state
        after = step(before, event)
        if after is before:
            return
        raised_s, ended_s = self.alarm.raised_s, self.alarm.ended_s
        if after is AlarmState.RAISED and (raised_s is None or event is AlarmEvent.ON_DELAY_OVER):
            raised_s = time_s  # anew, where it comes from the shelf
        if after is AlarmState.ACKNOWLEDGED:
            self.acknowledged = True
        if event is AlarmEvent.ON_DELAY_OVER:
            self.acknowledged = False
        if after is AlarmState.RETURNED or (after is AlarmState.NORMAL and ended_s is None):
            ended_s = time_s if self.gone_s is None else self.gone_s
        self.alarm = replace(self.alarm, state=after, raised_s=raised_s, ended_s=ended_s)

    def shown(self, timezone: str) -> Alarm:
        """Return the alarm as people see it: marked where it is over, in somebody's hand, or not freshly read."""
        if self.alarm.state in _OVER and self.alarm.ended_s is not None:
            ended = clock_text(self.alarm.ended_s, self.alarm.ended_s, timezone)
            over = (
                f"Over since {ended}"
                if self.alarm.ended_seen
                else f"Over when next read at {ended}{self._last_seen(timezone)}"
            )
            return replace(self.alarm, sentence=f"{over}: {self.alarm.summary}")
        shown = self.alarm if self.gone_s is None else self._gone(self.gone_s, timezone)
        if self.hold is not None and self.alarm.state in SET_ASIDE:
            handling = Handling(self.hold.owner, self.hold.reason, self.hold.until_s)
            until = clock_text(self.hold.until_s, self.alarm.began_s, timezone)
            note = f"Set aside until {until} by {self.hold.owner} ({self.hold.reason}): "
            return replace(shown, sentence=note + shown.sentence, handling=handling)
        if self.alarm.state is AlarmState.ACKNOWLEDGED and self.acknowledged_by:
            shown = replace(shown, handling=Handling(self.acknowledged_by))
        if self.held and self.alarm.state in UP | {AlarmState.PENDING}:
            shown = replace(shown, sentence=shown.sentence + HELD_NOTE)
        return shown

    def _last_seen(self, timezone: str) -> str:
        """Return when it was last seen, in brackets; "" where that is not known."""
        seen_s, ended_s = self.alarm.last_seen_s, self.gone_s or self.alarm.ended_s or 0.0
        return "" if seen_s is None else f" (last seen so at {clock_text(seen_s, ended_s, timezone)})"

    def _gone(self, gone_s: float, timezone: str) -> Alarm:
        """Return the alarm without what is no longer so: its condition is gone, though not for long enough yet."""
        gone = clock_text(gone_s, gone_s, timezone)
        gone = f"since {gone}" if self.alarm.ended_seen else f"when next read at {gone}{self._last_seen(timezone)}"
        waits = count_text(round(ALARM_RULES[self.alarm.kind].off_delay_s), "second")
        return replace(
            self.alarm,
            sentence=f"{self.alarm.summary} No longer so {gone}; it is over when that has lasted {waits}.",
            consequence="None, if it stays so.",
        )


def entry_to(entry: AlarmEntry) -> dict[str, object]:
    """Return an entry ready for JSON."""
    return asdict(entry)


def entry_from(row: object) -> AlarmEntry:
    """Return the entry of a row of `entry_to`. Raises ValueError with one sentence when it is none."""
    try:
        if not isinstance(row, Mapping) or not isinstance(row["alarm"], Mapping):
            raise TypeError
        # who has it in hand stands beside the alarm, in the entry
        kept = {field.name for field in fields(Alarm)} - {"handling"}
        told = {name: row["alarm"][name] for name in kept - _LATER}
        told["began_seen"] = bool(row["alarm"].get("began_seen", True))
        told["ended_seen"] = bool(row["alarm"].get("ended_seen", True))
        seen_s = row["alarm"].get("last_seen_s")
        told["last_seen_s"] = None if seen_s is None else float(seen_s)
        told["kind"] = AlarmKind(told["kind"])
        told["state"] = AlarmState(told["state"])
        told["severity"] = Severity(told["severity"])
        hold = row["hold"]
        return AlarmEntry(
            alarm=Alarm(**told),
            seen_s=float(row["seen_s"]),
            gone_s=None if row["gone_s"] is None else float(row["gone_s"]),
            acknowledged=bool(row["acknowledged"]),
            held=bool(row["held"]),
            hold=None if hold is None else Hold(str(hold["owner"]), str(hold["reason"]), float(hold["until_s"])),
            acknowledged_by=str(row.get("acknowledged_by", "")),
        )
    except (KeyError, TypeError, ValueError) as error:
        raise ValueError("the stored alarms can't be used: a row is not an alarm") from error


def _told(alarm: Alarm, condition: Condition, time_s: float, timezone: str) -> Alarm:
    """Return the alarm with the words and values of its condition."""
    rule = ALARM_RULES[condition.kind]
    return replace(
        alarm,
        severity=condition.severity or rule.severity,
        sentence=condition.sentence(alarm.began_s, time_s, timezone),
        summary=condition.summary(alarm.began_s, time_s, timezone),
        consequence=condition.consequence or rule.consequence,
        action=condition.action or rule.action,
        why_severity=condition.why_severity or rule.why_severity,
        value=condition.value,
        limit=condition.limit,
        measure=condition.measure,
    )
