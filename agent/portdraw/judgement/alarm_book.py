"""The alarm book: conditions and time in, alarms and their changes out. It survives a restart by dump and restore."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from portdraw.judgement.alarm import Alarm, AlarmKind, AlarmState, Severity
from portdraw.judgement.alarm_entry import AlarmEntry, Hold, entry_from, entry_to
from portdraw.judgement.alarm_rule import ALARM_RULES
from portdraw.judgement.alarm_states import SET_ASIDE, UP, AlarmEvent, step
from portdraw.judgement.condition import Condition, Presence

Key = tuple[str, str, str]

KEEP_RETURNED_S = 24 * 3600.0  # common practice: a returned alarm stays in view for a day
MOST_SHELVED_S = 30 * 86_400.0  # common practice: nothing is put aside for longer than a month

# What says that a unit is not heard: the book then holds its other alarms as they are.
_BLIND = frozenset({AlarmKind.READING_STALE, AlarmKind.CREDENTIALS_REFUSED})

_SEVERITY_ORDER = {Severity.URGENT: 0, Severity.WARNING: 1, Severity.NOTICE: 2}
_STATE_ORDER = {
    state: place
    for place, state in enumerate(
        (
            AlarmState.RAISED,
            AlarmState.ACKNOWLEDGED,
            AlarmState.RETURNING,
            AlarmState.PENDING,
            AlarmState.SHELVED,
            AlarmState.SUPPRESSED,
            AlarmState.RETURNED,
            AlarmState.NORMAL,
        )
    )
}


@dataclass(frozen=True)
class AlarmChange:
    """An alarm that went from one state to another, as it is now."""

    alarm: Alarm
    from_state: AlarmState
    to_state: AlarmState

    @property
    def came_up(self) -> bool:
        """Say whether the alarm is new to people, not one that was only about to return."""
        return self.to_state is AlarmState.RAISED and self.from_state is not AlarmState.RETURNING

    @property
    def is_over(self) -> bool:
        """Say whether an alarm that people were told of is over."""
        return self.to_state in (AlarmState.RETURNED, AlarmState.NORMAL) and (
            self.alarm.raised_s is not None and self.from_state is not AlarmState.RETURNED
        )

    @property
    def passed(self) -> bool:
        """Say whether the condition went before the on-delay was over, so that people were told of nothing."""
        return self.from_state is AlarmState.PENDING and self.to_state is AlarmState.NORMAL


class AlarmBook:
    """All alarms of a site. Not thread-safe; it reads no clock, every time [s since the epoch] is handed in.

    Where readings were missing before an alarm ended, or none came for `gap_s` [s] (a restart, say), its end was not
    seen.
    """

    def __init__(self, timezone: str = "UTC", gap_s: float = math.inf) -> None:
        self._timezone = timezone
        self._gap_s = gap_s
        self._entries: dict[Key, AlarmEntry] = {}
        self._ended_s: dict[Key, float] = {}  # of alarms that are no longer shown

    def update(self, conditions: Iterable[Condition], time_s: float) -> list[AlarmChange]:
        """Take all conditions that hold at a time and return what changed.

        Every kind must be in every update: what is not there is taken as gone (drift is worked out once a day, but
        handed in each time). Of a unit that is not heard, nothing but that alarm itself begins or ends, except for
        what another unit's fresh readings show.
        """
        by_key = {condition.key: condition for condition in conditions}
        blind = {
            condition.unit
            for condition in by_key.values()
            if condition.kind in _BLIND and condition.presence is not Presence.DEAD_BAND
        }
        changes: list[AlarmChange] = []
        for key in sorted(by_key.keys() | self._entries.keys()):
            condition = by_key.get(key)
            entry = self._entries.get(key)
            before = AlarmState.NORMAL if entry is None else entry.alarm.state
            presence = None if condition is None else condition.presence
            kind, unit = AlarmKind(key[0]), key[1]
            held = kind not in _BLIND and (unit if condition is None else condition.witness or unit) in blind
            if held or presence is Presence.UNKNOWN:
                if entry is not None:
                    entry.held = True
                    self._expire(entry, time_s)
            else:
                entry = self._judge(entry, condition, time_s, self._ended_s.get(key))
            if entry is None:
                continue
            after = entry.alarm.state
            if after is AlarmState.NORMAL:
                self._forget(key, entry)
            else:
                self._entries[key] = entry
            if after is not before:
                changes.append(AlarmChange(entry.shown(self._timezone), before, after))
        return changes

    def alarms(self) -> tuple[Alarm, ...]:
        """Return all alarms, those that are up first, the most urgent and then the newest before the others."""
        shown = [entry.shown(self._timezone) for entry in self._entries.values()]
        return tuple(
            sorted(
                shown,
                key=lambda alarm: (
                    alarm.state not in UP,
                    _SEVERITY_ORDER[alarm.severity] if alarm.state in UP else 0,
                    _STATE_ORDER[alarm.state],
                    -(alarm.raised_s or alarm.began_s),
                    alarm.key,
                ),
            )
        )

    def hold_of(self, key: Key) -> Hold | None:
        """Return who set an alarm aside, why and until when; None where it is not set aside."""
        entry = self._entries.get(key)
        return None if entry is None else entry.hold

    def acknowledge(self, key: Key, time_s: float, owner: str = "") -> AlarmChange | None:
        """Acknowledge an alarm; None where there is no such alarm or nothing to acknowledge."""
        return self._by_hand(key, AlarmEvent.ACKNOWLEDGE, None, time_s, owner)

    def shelve(self, key: Key, owner: str, reason: str, until_s: float, time_s: float) -> AlarmChange | None:
        """Set an alarm aside until a time, with owner and reason; None where there is nothing to shelve.

        Raises ValueError with one sentence where owner or reason is empty, or the expiry is not within 30 days.
        """
        return self._by_hand(key, AlarmEvent.SHELVE, _hold(owner, reason, until_s, time_s), time_s)

    def suppress(self, key: Key, owner: str, reason: str, until_s: float, time_s: float) -> AlarmChange | None:
        """Set an alarm aside for planned work that ends at a time; otherwise as `shelve`."""
        return self._by_hand(key, AlarmEvent.SUPPRESS, _hold(owner, reason, until_s, time_s), time_s)

    def take_back(self, key: Key, time_s: float) -> AlarmChange | None:
        """Take an alarm off the shelf, or end its planned work, before its time."""
        entry = self._entries.get(key)
        if entry is None or entry.alarm.state not in SET_ASIDE:
            return None
        shelved = entry.alarm.state is AlarmState.SHELVED
        return self._by_hand(key, AlarmEvent.SHELF_EXPIRED if shelved else AlarmEvent.RELEASE, None, time_s)

    def dump(self) -> dict[str, object]:
        """Return all that must outlive a restart, ready for JSON."""
        ended = [[*key, ended_s] for key, ended_s in self._ended_s.items()]
        return {"format": 1, "alarms": [entry_to(entry) for entry in self._entries.values()], "ended": ended}

    def restore(self, dumped: Mapping[str, object]) -> None:
        """Take up where `dump` left off, so that a restart raises nothing twice.

        Raises ValueError with one sentence when it is no such dump; the book is then as it was.
        """
        rows = dumped.get("alarms") if dumped.get("format") == 1 else None
        if not isinstance(rows, list):
            raise ValueError("the stored alarms can't be used: not a dump of format 1")
        entries = [entry_from(row) for row in rows]
        self._entries = {entry.alarm.key: entry for entry in entries}
        self._ended_s = _ended(dumped.get("ended"))

    def _judge(
        self, entry: AlarmEntry | None, condition: Condition | None, time_s: float, last_ended_s: float | None
    ) -> AlarmEntry | None:
        """Take one condition, or its absence, to its alarm; the last one of its key ended at `last_ended_s`."""
        after_a_gap = False
        if entry is not None:
            seen_s = entry.alarm.last_seen_s
            after_a_gap = entry.held or (seen_s is not None and time_s - seen_s > self._gap_s)
            entry.held = False
            entry.set_back(time_s)
            self._expire(entry, time_s)
        state = AlarmState.NORMAL if entry is None else entry.alarm.state
        seen = condition is not None and (
            condition.presence is Presence.PRESENT
            # a value within the dead-band keeps up what is up
            or state in (AlarmState.RAISED, AlarmState.ACKNOWLEDGED)
        )
        if entry is None:
            if not seen or condition is None:
                return None
            entry = AlarmEntry.begin(condition, time_s, self._timezone, last_ended_s)
        if seen and condition is not None:
            entry.see(condition, time_s, self._timezone)
            if entry.alarm.state is AlarmState.PENDING:
                rule = ALARM_RULES[condition.kind]
                delay_s = 0.0 if condition.sure else rule.on_delay_s
                if time_s - entry.seen_s >= delay_s:
                    entry.apply(AlarmEvent.ON_DELAY_OVER, time_s)
        else:
            entry.miss(time_s, after_a_gap)
            if entry.alarm.state is AlarmState.RETURNING:
                off_delay_s = ALARM_RULES[entry.alarm.kind].off_delay_s
                if entry.gone_s is not None and time_s - entry.gone_s >= off_delay_s:
                    entry.apply(AlarmEvent.OFF_DELAY_OVER, time_s)
        return entry

    def _expire(self, entry: AlarmEntry, time_s: float) -> None:
        """Let a shelf, planned work or the showing of a returned alarm run out."""
        if entry.hold is not None and time_s >= entry.hold.until_s:
            entry.hold = None
            entry.apply(AlarmEvent.SHELF_EXPIRED, time_s)
            entry.apply(AlarmEvent.RELEASE, time_s)
        if entry.alarm.ended_s is not None and time_s - entry.alarm.ended_s >= KEEP_RETURNED_S:
            entry.apply(AlarmEvent.FORGET, time_s)

    def _forget(self, key: Key, entry: AlarmEntry) -> None:
        """Let go of an alarm; only when it ended is kept, as a new one begins no earlier."""
        self._entries.pop(key, None)
        if entry.alarm.ended_s is not None:
            self._ended_s[key] = entry.alarm.ended_s

    def _by_hand(
        self, key: Key, event: AlarmEvent, hold: Hold | None, time_s: float, owner: str = ""
    ) -> AlarmChange | None:
        entry = self._entries.get(key)
        if entry is None:
            return None
        before = entry.alarm.state
        if step(before, event) is before:
            return None
        entry.apply(event, time_s)
        if entry.gone_s is not None and event in (AlarmEvent.SHELF_EXPIRED, AlarmEvent.RELEASE):
            entry.apply(AlarmEvent.GONE, time_s)  # it went while it was set aside
        entry.hold = hold
        entry.acknowledged_by = owner
        after = entry.alarm.state
        if after is AlarmState.NORMAL:
            self._forget(key, entry)
        return AlarmChange(entry.shown(self._timezone), before, after)


def _ended(rows: object) -> dict[Key, float]:
    """Return when alarms that are no longer shown ended; a row that can't be used is left out."""
    found: dict[Key, float] = {}
    for row in rows if isinstance(rows, list) else ():
        match row:
            case [str(kind), str(unit), str(port), int() | float() as ended_s]:
                found[kind, unit, port] = float(ended_s)
            case _:
                continue
    return found


def _hold(owner: str, reason: str, until_s: float, time_s: float) -> Hold:
    if not owner.strip() or not reason.strip():
        raise ValueError("an alarm can be set aside only with an owner and a reason")
    if not time_s < until_s <= time_s + MOST_SHELVED_S:
        raise ValueError("an alarm can be set aside until a time within the next 30 days")
    return Hold(owner.strip(), reason.strip(), until_s)
