"""Whether a unit is still the same box: its serial number and object id, held against those it told before."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from portdraw.judgement.alarm import AlarmKind
from portdraw.judgement.assessment import UnitAssessment
from portdraw.judgement.condition import Condition
from portdraw.judgement.wording import place_text
from portdraw.observation.record import Quantity
from portdraw.observation.unit_observation import UnitObservation

SHOWN_FOR_S = 86_400.0  # each shift hears of another box once: common practice
_WORDS = {Quantity.UNIT_SERIAL: "serial number", Quantity.SYSTEM_OBJECT_ID: "object id"}


@dataclass(frozen=True)
class UnitSelf:
    """By what a unit is known: the text it told of each quantity. `said` says what changed, at `changed_s` [s since
    the epoch]; empty where it has been the same since it was first read.
    """

    told: Mapping[str, str]
    said: str = ""
    changed_s: float | None = None


def remember_self(before: UnitSelf | None, answer: UnitObservation, time_s: float) -> UnitSelf | None:
    """Return what a unit is known by after an answer; what this answer does not tell stays as it was.

    A serial number that tells of the same and of further modules is the same unit, grown.
    """
    now = {quantity.value: text for quantity in _WORDS if (text := answer.text(None, quantity))}
    if before is None:
        return UnitSelf(now) if now else None
    if all(before.told.get(name) == text for name, text in now.items()):
        return before
    changes = [
        f"{words} {before.told[quantity.value]} before, {now[quantity.value]} now"
        for quantity, words in _WORDS.items()
        if quantity.value in before.told and quantity.value in now
        if not _is_part(before.told[quantity.value], now[quantity.value])
    ]
    told = {**before.told, **now}
    return UnitSelf(told, "; ".join(changes), time_s) if changes else replace(before, told=told)


def self_conditions(unit: UnitAssessment, known: UnitSelf | None, time_s: float) -> list[Condition]:
    """Return whether another box stands where the unit stood, for a day after it was seen."""
    if known is None or known.changed_s is None or not 0 <= time_s - known.changed_s <= SHOWN_FOR_S:
        return []
    head = f"{place_text(unit.unit, unit.place)} has answered as another switch"
    tail = f": {known.said}."
    return [Condition(AlarmKind.UNIT_REPLACED, unit.unit, None, head=head, tail=tail, since_s=known.changed_s)]


def _is_part(before: str, now: str) -> bool:
    """Say whether all that was told is still told, or the other way round: a stack that grew or lost a member."""
    then, since = set(before.split(", ")), set(now.split(", "))
    return then <= since or since <= then
