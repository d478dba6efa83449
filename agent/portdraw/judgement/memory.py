"""What one cycle hands to the next: the last answers, since when the legs are as they are, and denied counters."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from portdraw.judgement.assessment import Availability, Carrying, Leg
from portdraw.judgement.draw_estimates import UnitDraws
from portdraw.judgement.plan_sheet import PlanSheet
from portdraw.observation.unit_observation import Outcome, UnitObservation

STALE_AFTER_POLLS = 3  # common practice: two to three polls that bring nothing

_USABLE = (Outcome.ANSWERED, Outcome.PARTIAL)


@dataclass(frozen=True)
class LegMemory:
    """How a leg stood, and since when; None: already so when it was first read."""

    availability: Availability
    carrying: Carrying
    since_s: float | None


@dataclass(frozen=True)
class DeniedMemory:
    """A port's count of denied requests; when it last rose, and by how much. None: not since it was first read."""

    count: int
    rose_s: float | None = None
    rose_by: int = 0


@dataclass(frozen=True)
class Memory:
    """Of earlier cycles what later ones need. Begin with `Memory()`; take the one that each assessment returns.

    `heard` has each unit's last usable answer, `asked_s` when each unit was first asked, `legs` is keyed by unit and
    leg name, `denied` by unit and printed port. `draws` is what was learned of
    units that tell only their total. `sheet` is the plan, worked out once for the site it holds.
    """

    heard: Mapping[str, UnitObservation] = field(default_factory=dict)
    asked_s: Mapping[str, float] = field(default_factory=dict)
    legs: Mapping[tuple[str, str], LegMemory] = field(default_factory=dict)
    denied: Mapping[tuple[str, str], DeniedMemory] = field(default_factory=dict)
    draws: Mapping[str, UnitDraws] = field(default_factory=dict, repr=False)
    sheet: PlanSheet | None = field(default=None, repr=False, compare=False)
    cycle: int = 0


def hear(memory: Memory, observations: Mapping[str, UnitObservation], time_s: float) -> Memory:
    """Return the memory with this cycle's usable answers; an answer that brought nothing leaves the last one."""
    heard = dict(memory.heard)
    asked_s = dict(memory.asked_s)
    for unit, observation in observations.items():
        asked_s.setdefault(unit, min(observation.began_s, time_s))
        if observation.outcome in _USABLE:
            heard[unit] = observation
    return replace(memory, heard=heard, asked_s=asked_s, cycle=memory.cycle + 1)


def fresh(memory: Memory, unit: str, time_s: float, every_s: float) -> UnitObservation | None:
    """Return a unit's last usable answer while it is fresh: heard within the last 3 poll intervals.

    One from later than now is from before the machine's clock was set back: its age is not known, so it is not fresh.
    """
    observation = memory.heard.get(unit)
    if observation is None or not -every_s <= time_s - observation.ended_s <= STALE_AFTER_POLLS * every_s:
        return None
    return observation


def remember_leg(memory: Memory, unit: str, leg: Leg, time_s: float) -> tuple[Leg, LegMemory]:
    """Return the leg with since when it stands as it does, and what to remember of it."""
    before = memory.legs.get((unit, leg.name))
    if before is None:
        since_s = None
    elif (before.availability, before.carrying) == (leg.availability, leg.carrying):
        since_s = before.since_s
    else:
        since_s = time_s
    return replace(leg, since_s=since_s), LegMemory(leg.availability, leg.carrying, since_s)


def remember_denied(before: DeniedMemory | None, count: int, time_s: float) -> DeniedMemory:
    """Return what to remember of a denied counter; one that is smaller than before has begun anew at zero."""
    if before is None:
        return DeniedMemory(count)
    if count == before.count:
        return before
    rise = count - before.count if count >= before.count else count
    if rise == 0:
        return replace(before, count=count)
    return DeniedMemory(count, time_s, rise)
