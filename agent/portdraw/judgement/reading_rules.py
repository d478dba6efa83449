"""Conditions of the reading itself: a unit is not heard, or refuses our credentials. Stale is never fine."""

from __future__ import annotations

from dataclasses import replace

from portdraw.judgement.alarm import AlarmKind, Severity
from portdraw.judgement.assessment import Reach, SiteAssessment, UnitAssessment
from portdraw.judgement.condition import Condition, Presence, unjudged
from portdraw.judgement.memory import Memory
from portdraw.judgement.poll_run import USABLE, PollRun
from portdraw.judgement.wording import capital, place_text
from portdraw.observation.unit_observation import Outcome

_AGAIN = "It has answered once since; this is over when it goes on answering."


def reading_conditions(assessment: SiteAssessment, unit: UnitAssessment, memory: Memory) -> list[Condition]:
    """Return whether a unit is heard. Equipment that is not readable by design is never stale.

    Three kinds are about one thing, that nothing is known of the unit, so they follow each other: while it is not
    heard its watts are not judged; while it refuses us, its silence is told only when it lasts; and only answers
    that can be used, two in a row, end any of them.
    """
    if unit.outcome is Outcome.NOT_READABLE:
        return []
    asked_s, run = memory.asked_s.get(unit.unit), memory.runs.get(unit.unit)
    if asked_s is None or run is None:
        return [unjudged(AlarmKind.READING_STALE, unit.unit)]
    who = place_text(unit.unit, unit.place)
    if unit.stale or unit.outcome not in USABLE:
        if not run.refuses or run.is_lost or unit.outcome in USABLE:
            refused = [unjudged(AlarmKind.CREDENTIALS_REFUSED, unit.unit)]
            return [_stale(assessment, unit, who, asked_s), *refused]
        if unit.outcome is Outcome.REFUSED:
            refused = [_refused(unit, who, run, asked_s)]
        else:
            refused = [unjudged(AlarmKind.CREDENTIALS_REFUSED, unit.unit)]
        return [*refused, _was_stale(unit, who, "It refused us when it last answered")]
    if run.settled:
        return _untold(unit, who)
    again = replace(_refused(unit, who, run, asked_s), presence=Presence.DEAD_BAND, tail=f". {_AGAIN}")
    heard = [_was_stale(unit, who, _AGAIN.removesuffix("."))]
    return [*heard, *([again] if run.refuses else []), unjudged(AlarmKind.WATTS_UNTOLD, unit.unit)]


def _stale(assessment: SiteAssessment, unit: UnitAssessment, who: str, asked_s: float) -> Condition:
    """Return that a unit is not heard, or tells nothing that can be used."""
    since_s = asked_s if unit.read_s is None else unit.read_s
    never = unit.read_s is None
    heard = "has never answered: first asked" if never else "has not been heard"
    if unit.outcome is Outcome.GARBLED:
        heard = "has answered nothing that can be used"
    elif unit.outcome is Outcome.REFUSED:
        heard = "has told nothing"
    says_when = unit.outcome in (Outcome.GARBLED, Outcome.REFUSED)
    why = f" {_as_sentence(unit.reason)}" if unit.reason else ""
    return Condition(
        AlarmKind.READING_STALE,
        unit.unit,
        None,
        head=f"{who} {heard}",
        when="at" if never and not says_when else "since",
        tail=f".{why}{_power_words(unit)}",
        severity=Severity.URGENT if unit.reach is Reach.DARK else None,
        why_severity="nothing is left that could power it" if unit.reach is Reach.DARK else "",
        since_s=since_s,
        value=assessment.time_s - since_s,
        measure="s",
    )


def _was_stale(unit: UnitAssessment, who: str, now: str) -> Condition:
    """Return what keeps up the alarm of a unit that was not heard, and begins none."""
    head, tail = f"{who} was not heard, or told nothing that can be used,", f". {now}."
    return Condition(
        AlarmKind.READING_STALE, unit.unit, None, head=head, tail=tail, presence=Presence.DEAD_BAND, measure="s"
    )


def _refused(unit: UnitAssessment, who: str, run: PollRun, asked_s: float) -> Condition:
    """Return that a unit refuses our credentials; hedged alike while it is so and when it is over."""
    busy = "busy" in run.why
    head = f"{who} has refused us, or is too busy to answer," if busy else f"{who} has refused our credentials"
    why = f" {_as_sentence(run.why)}" if run.why else ""
    since_s = asked_s if unit.read_s is None else unit.read_s
    return Condition(AlarmKind.CREDENTIALS_REFUSED, unit.unit, None, head=head, tail=f".{why}", since_s=since_s)


def _untold(unit: UnitAssessment, who: str) -> list[Condition]:
    """Return whether a unit answers and yet tells no watts, though something is planned on its ports."""
    if unit.draw_w is not None or not any(port.planned for port in unit.ports):
        return []
    head, tail = f"{who} answers but has told no watts", ": neither its ports nor its total."
    return [Condition(AlarmKind.WATTS_UNTOLD, unit.unit, None, head=head, tail=tail)]


def _power_words(unit: UnitAssessment) -> str:
    """Return what shows that a unit that is not heard has power or not: no answer is not the same as dark."""
    if unit.reach is Reach.POWERED:
        return f" {_begin(unit.reach_why)}: unreachable, but powered."
    if unit.reach is Reach.DARK:
        return f" {_begin(unit.reach_why)}: it is probably dark."
    return f" {_begin(unit.reach_why)}." if unit.reach_why else ""


def _begin(words: str) -> str:
    """Return words as the beginning of a sentence; a name at their beginning stays as it is."""
    return capital(words) if words.startswith(("its ", "the ", "circuit ", "whether ")) else words


def _as_sentence(reason: str) -> str:
    text = capital(reason.strip())
    return text if text.endswith((".", "!", "?")) else f"{text}."
