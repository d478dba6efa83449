"""Conditions of the reading itself: a unit is not heard, or refuses our credentials. Stale is never fine."""

from __future__ import annotations

from portdraw.judgement.alarm import AlarmKind, Severity
from portdraw.judgement.assessment import Reach, SiteAssessment, UnitAssessment
from portdraw.judgement.condition import Condition, unjudged
from portdraw.judgement.memory import Memory
from portdraw.judgement.wording import capital, place_text
from portdraw.observation.unit_observation import Outcome

_BROUGHT_NOTHING = (Outcome.SILENT, Outcome.GARBLED)


def reading_conditions(assessment: SiteAssessment, unit: UnitAssessment, memory: Memory) -> list[Condition]:
    """Return whether a unit is heard. Equipment that is not readable by design is never stale."""
    if unit.outcome is Outcome.NOT_READABLE:
        return []
    asked_s = memory.asked_s.get(unit.unit)
    if asked_s is None:
        return [unjudged(AlarmKind.READING_STALE, unit.unit)]
    who = place_text(unit.unit, unit.place)
    since_s = asked_s if unit.read_s is None else unit.read_s
    why = f" {_as_sentence(unit.reason)}" if unit.reason else ""
    if unit.outcome is Outcome.REFUSED:
        return [
            Condition(
                AlarmKind.CREDENTIALS_REFUSED,
                unit.unit,
                None,
                head=f"{who} has refused our credentials",
                tail=f".{why}",
                since_s=since_s,
            )
        ]
    if not unit.stale and unit.outcome not in _BROUGHT_NOTHING:
        return _untold(unit, who)
    never = unit.read_s is None
    heard = "has never answered: first asked" if never else "has not been heard"
    if unit.outcome is Outcome.GARBLED:
        heard = "has answered nothing that can be used"
    return [
        Condition(
            AlarmKind.READING_STALE,
            unit.unit,
            None,
            head=f"{who} {heard}",
            when="at" if never and unit.outcome is not Outcome.GARBLED else "since",
            tail=f".{why}{_power_words(unit)}",
            severity=Severity.URGENT if unit.reach is Reach.DARK else None,
            why_severity="nothing is left that could power it" if unit.reach is Reach.DARK else "",
            since_s=since_s,
            value=assessment.time_s - since_s,
            measure="s",
        )
    ]


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
