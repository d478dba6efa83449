"""What one cycle hands to the next: the last answers, since when the legs are as they are, and denied counters."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from portdraw.judgement.ac_evidence import SignMemory
from portdraw.judgement.assessment import Availability, Carrying, Leg
from portdraw.judgement.draw_estimates import UnitDraws
from portdraw.judgement.leg_proof import ProofMemory
from portdraw.judgement.plan_sheet import PlanSheet
from portdraw.judgement.poll_run import USABLE, PollRun, next_run
from portdraw.judgement.unit_proof import UnitProof
from portdraw.judgement.unit_self import UnitSelf, remember_self
from portdraw.observation.unit_observation import Outcome, UnitObservation

STALE_AFTER_POLLS = 3  # common practice: two to three polls that bring nothing

_ALIVE = (Outcome.ANSWERED, Outcome.PARTIAL, Outcome.REFUSED, Outcome.GARBLED)


@dataclass(frozen=True)
class LegMemory:
    """How a leg stood, and since when; None: already so when it was first read.

    `known` is how it stood when that was last known (None: never), `known_since_s` since when: a loss outlasts a time
    without readings. `seen_s` and `again` as in `Leg`.
    """

    availability: Availability
    carrying: Carrying
    since_s: float | None
    known: Availability | None = None
    known_since_s: float | None = None
    seen_s: float | None = None
    again: bool = False


@dataclass(frozen=True)
class DeniedMemory:
    """A port's count of denied requests; when it last rose, and by how much. None: not since it was first read."""

    count: int
    rose_s: float | None = None
    rose_by: int = 0


@dataclass(frozen=True)
class Memory:
    """Of earlier cycles what later ones need. Begin with `Memory()`; take the one that each assessment returns.

    `heard` has each unit's last usable answer, `asked_s` when each unit was first asked, `alive_s` when it last
    answered anything, `runs` how its newest polls went, `legs` and `proofs` are keyed by unit and leg name, `signs`
    by unit, `denied` by unit and printed port. `draws` is what was learned of units that tell only their total,
    `unit_proofs` which of a unit's sources are refused, `selves` by what each unit is known as the same box. `sheet`
    is the plan, worked out once for the site it holds.
    """

    heard: Mapping[str, UnitObservation] = field(default_factory=dict)
    asked_s: Mapping[str, float] = field(default_factory=dict)
    alive_s: Mapping[str, float] = field(default_factory=dict)
    runs: Mapping[str, PollRun] = field(default_factory=dict)
    legs: Mapping[tuple[str, str], LegMemory] = field(default_factory=dict)
    signs: Mapping[str, SignMemory] = field(default_factory=dict)
    proofs: Mapping[tuple[str, str], ProofMemory] = field(default_factory=dict)
    denied: Mapping[tuple[str, str], DeniedMemory] = field(default_factory=dict)
    draws: Mapping[str, UnitDraws] = field(default_factory=dict, repr=False)
    selves: Mapping[str, UnitSelf] = field(default_factory=dict)
    unit_proofs: Mapping[str, UnitProof] = field(default_factory=dict, repr=False)
    sheet: PlanSheet | None = field(default=None, repr=False, compare=False)
    cycle: int = 0


def hear(memory: Memory, observations: Mapping[str, UnitObservation], time_s: float) -> Memory:
    """Return the memory with this cycle's usable answers; an answer that brought nothing leaves the last one."""
    heard = dict(memory.heard)
    asked_s = dict(memory.asked_s)
    alive_s = dict(memory.alive_s)
    runs = dict(memory.runs)
    selves = dict(memory.selves)
    for unit, observation in observations.items():
        asked_s.setdefault(unit, min(observation.began_s, time_s))
        runs[unit] = next_run(runs.get(unit), observation)
        if observation.outcome in USABLE:
            heard[unit] = observation
            known = remember_self(selves.get(unit), observation, time_s)
            if known is not None:
                selves[unit] = known
        if observation.outcome in _ALIVE:
            alive_s[unit] = observation.ended_s
    newer = replace(memory, heard=heard, asked_s=asked_s, alive_s=alive_s, runs=runs, selves=selves)
    return replace(newer, cycle=memory.cycle + 1)


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
    known = None if before is None else before.known
    lost = leg.availability is Availability.LOST
    if before is None:
        since_s = None
    elif before.carrying is leg.carrying and _same(before.availability, leg.availability):
        since_s = _not_later(before.since_s, time_s)
    elif before.availability is Availability.UNKNOWN and (known is None or (lost and known is Availability.LOST)):
        # never known before, or lost all the while as far as anybody knows
        since_s = _not_later(before.known_since_s, time_s)
    else:
        since_s = time_s
    told = leg.availability is not Availability.UNKNOWN
    goes_on = before is not None and (
        not told
        or (lost and known is Availability.LOST)
        or (_is_there(leg.availability) and _is_there(before.availability))
    )
    seen_s = _not_later(before.seen_s, time_s) if before is not None and goes_on else time_s
    again = (
        _is_there(leg.availability)
        and before is not None
        and (before.again if goes_on else known is Availability.LOST)
    )
    kept = LegMemory(
        leg.availability,
        leg.carrying,
        since_s,
        known=leg.availability if told else known,
        known_since_s=since_s if told else (None if before is None else before.known_since_s),
        seen_s=seen_s,
        again=again,
    )
    return replace(leg, since_s=since_s, seen_s=seen_s if told else None, again=again), kept


def _same(one: Availability, other: Availability) -> bool:
    """Say whether two availabilities are the same but for the proof: one more watt ends no standing."""
    return one is other or (_is_there(one) and _is_there(other))


def _is_there(availability: Availability) -> bool:
    return availability in (Availability.PROVEN, Availability.BELIEVED)


def _not_later(since_s: float | None, time_s: float) -> float | None:
    """Return a remembered time, now at the latest: the machine's clock may have been set back since."""
    return None if since_s is None else min(since_s, time_s)


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
