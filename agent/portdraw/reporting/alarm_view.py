"""An alarm as a card: what, where, whom to call; on what it still runs, what fails next, what to do and not to do."""

from __future__ import annotations

import re
from dataclasses import dataclass

from portdraw.judgement.alarm import Alarm, AlarmKind, Handling
from portdraw.judgement.assessment import Leg, PortAssessment, SiteAssessment, UnitAssessment
from portdraw.reporting.budget_bar import reading_words
from portdraw.reporting.plain_text import plain
from portdraw.reporting.wording import age, clock, known, running_on, since, watts

LOST_LEG = {AlarmKind.LOCAL_AC_LOST: "local AC", AlarmKind.POE_FEED_LOST: "PoE feed"}
LOCAL_AC = "local AC"
LONGEST = 600
SENTENCE_END = re.compile(r"(?<=[.?!]) (?=[A-Z])")
TURN = re.compile(r"; (?=do not )")
FORBIDS = re.compile(r"(do not|never|add no|allow no)\b", re.IGNORECASE)
CALL = "Call "


@dataclass(frozen=True)
class ActionWords:
    """An alarm's action taken apart: whom to call, what to do, what not to do; nothing of it is left out."""

    call: tuple[str, ...]
    do: tuple[str, ...]
    do_not: tuple[str, ...]


@dataclass(frozen=True)
class AlarmView:
    """An alarm in the order an operator asks. `first` is the whole action in one text, `action` its parts.

    `fails_next` is there where one leg is left; elsewhere `consequence` says what comes of leaving it alone.
    `in_hand` says who has it in hand, "" where nobody has.
    """

    severity: str
    state: str
    what: str
    unit: str
    where: str
    circuit: str
    running_on: str
    fails_next: str
    since: str
    first: str
    action: ActionWords
    consequence: str
    why: str
    in_hand: str
    readings: str


@dataclass(frozen=True)
class ShelvedView:
    """An alarm that is out of the list: who set it aside, until when, why."""

    severity: str
    state: str
    what: str
    unit: str
    in_hand: str


def alarm_view(site: SiteAssessment, alarm: Alarm, now_s: float) -> AlarmView:
    """Return how an alarm is shown at `now_s` (site clock, seconds since the epoch)."""
    unit = site.unit(alarm.unit)
    where = plain(alarm.unit)
    if alarm.port:
        where += f" port {plain(alarm.port)}"
    if unit is not None and unit.place:
        where += f", {plain(unit.place)}"
    consequence = plain(alarm.consequence, LONGEST)
    return AlarmView(
        severity=alarm.severity.value,
        state=alarm.state.value,
        what=plain(alarm.sentence, LONGEST),
        unit=plain(alarm.unit) if unit is not None else "",
        where=where,
        circuit=_circuit(unit),
        running_on=plain(running_on(unit)),
        fails_next=consequence if alarm.kind in LOST_LEG else "",
        since=since(alarm.began_s, site.timezone, now_s),
        first=plain(alarm.action, LONGEST),
        action=action_words(plain(alarm.action, LONGEST)),
        consequence=consequence,
        why=plain(alarm.why_severity, LONGEST),
        in_hand=_in_hand(alarm, site.timezone, now_s),
        readings=_readings(alarm, unit, site.timezone, now_s),
    )


def shelved_view(site: SiteAssessment, alarm: Alarm, now_s: float) -> ShelvedView:
    """Return how an alarm that was set aside is shown."""
    return ShelvedView(
        severity=alarm.severity.value,
        state=alarm.state.value,
        what=plain(alarm.summary or alarm.sentence, LONGEST),
        unit=plain(alarm.unit) if site.unit(alarm.unit) is not None else "",
        in_hand=_in_hand(alarm, site.timezone, now_s),
    )


def action_words(action: str) -> ActionWords:
    """Take an action apart at its sentences, and at "; do not"."""
    call: list[str] = []
    do: list[str] = []
    do_not: list[str] = []
    for sentence in SENTENCE_END.split(action):
        for part in TURN.split(sentence):
            if not part:
                continue
            words = part[0].upper() + part[1:]
            words += "" if words[-1] in ".?!" else "."
            if words.startswith(CALL):
                call.append(words.removeprefix(CALL))
            else:
                (do_not if FORBIDS.match(words) else do).append(words)
    return ActionWords(tuple(call), tuple(do), tuple(do_not))


def _circuit(unit: UnitAssessment | None) -> str:
    legs = () if unit is None else unit.legs
    return ", ".join(plain(leg.source) for leg in legs if leg.name == LOCAL_AC and leg.source)


def _in_hand(alarm: Alarm, timezone: str, now_s: float) -> str:
    hand = alarm.handling
    if hand is None:
        return ""
    return f"{alarm.state.value} by {_hand_words(hand, timezone, now_s)}"


def _hand_words(hand: Handling, timezone: str, now_s: float) -> str:
    words = plain(hand.owner) or "nobody who gave a name"
    if hand.until_s is not None:
        left_s = hand.until_s - now_s
        over = f"for {age(left_s)} more" if left_s > 0 else "over now"
        words += f" until {clock(hand.until_s, timezone, now_s)}, {over}"
    return f"{words}: {plain(hand.reason)}" if hand.reason else words


def _readings(alarm: Alarm, unit: UnitAssessment | None, timezone: str, now_s: float) -> str:
    """Return on which readings an alarm rests, and how old they are."""
    if unit is None:
        return "none: the site has no such unit"
    words = [f"{plain(unit.unit)} {reading_words(unit.read_s, unit.stale, timezone, now_s)}"]
    port = next((port for port in unit.ports if port.port == alarm.port), None)
    if port is not None:
        words.append(_port_reading(port, now_s))
    leg = next((leg for leg in unit.legs if leg.name == LOST_LEG.get(alarm.kind)), None)
    if leg is not None:
        words.append(_how_sure(leg))
    return "; ".join(words)


def _port_reading(port: PortAssessment, now_s: float) -> str:
    draw_w, read_s = known(port.draw_w), known(port.read_s)
    if draw_w is None:
        return f"port {plain(port.port)}: {plain(port.missing or 'watts were not read')}"
    basis = "" if port.basis is None else f" {port.basis.value}"
    old = "" if read_s is None else f", read {age(now_s - read_s)} ago"
    return f"port {plain(port.port)} {watts(draw_w)}{basis}{old}"


def _how_sure(leg: Leg) -> str:
    if leg.sure:
        return "two independent signs agree"
    return "no second, independent sign yet"
