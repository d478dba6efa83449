"""Proof of a leg: what it has carried alone, how long, when and with what; a change of any of that ends the proof."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from portdraw.judgement.assessment import Availability, Carrying, Leg
from portdraw.judgement.wording import day_text, watts_text

SHORTEST_PROOF_S = 300.0  # common practice: what holds for 5 minutes is past start-ups and overload timers
# Common practice: readings differ by that much from one to the next, with nothing changed.
GRAIN_W = 1.0
GRAIN_PERCENT = 5.0
GROWN = 1.25  # a proof is renewed where it lasted a quarter longer: each minute is no news
DAY_S = 86_400.0


@dataclass(frozen=True)
class Proof:
    """A leg carried at least `watts` [W] alone for `lasted_s` [s], until `until_s` [s since the epoch].

    `need_w` [W] is what the power flow made of the same load: like is held against like when a need is worked out.
    `conditions` has by name what it was done with: feeder port, class, cable, supply, firmware; "" is not known.
    `ended_by` names what has changed since, empty while it stands. Watts are at the feeder's port for a PoE feed, and
    on the unit's own ports for local AC.
    """

    watts: float
    lasted_s: float
    until_s: float
    conditions: Mapping[str, str]
    ended_by: str = ""
    need_w: float = 0.0

    def words(self, timezone: str) -> str:
        """Return "proven to 61.0 W for 12 min on 2026-03-02"."""
        lasted = self.lasted_s
        long = f"{lasted / 3600:.0f} h" if lasted >= 7200 else f"{lasted / 60:.0f} min"
        return f"proven to {watts_text(self.watts)} for {long} on {day_text(self.until_s, timezone)}"


@dataclass(frozen=True)
class Window:
    """From `start_s` [s since the epoch] on the leg has carried at least `low_w` [W] without a break.

    `need_w` [W] is what the power flow made of the least load in that time.
    """

    start_s: float
    low_w: float
    need_w: float


@dataclass(frozen=True)
class ProofMemory:
    """The proof of a leg so far, and the run that goes on: windows of growing watts, last seen at `last_s`."""

    proof: Proof | None = None
    run: tuple[Window, ...] = ()
    last_s: float | None = None
    conditions: Mapping[str, str] = field(default_factory=dict)  # of the run


def remember_carrying(
    before: ProofMemory,
    carried_w: float | None,
    conditions: Mapping[str, str],
    time_s: float,
    longest_gap_s: float,
    valid_days: int,
    need_w: float | None = None,
) -> ProofMemory:
    """Return the memory after one more cycle; `carried_w` [W] is None where the leg does not carry all, or not known.

    `need_w` [W] is what the power flow makes of the same load; None: as measured.

    A proof older than `valid_days` gives way to one of fewer watts. A reading that is missing for longer than
    `longest_gap_s` [s], another condition, and a clock that was set begin the run anew.
    """
    proof = before.proof
    changed = changed_conditions(before.conditions, conditions)
    goes_on = before.last_s is not None and 0 <= time_s - before.last_s <= longest_gap_s
    if before.last_s is not None and (carried_w is None or changed or not goes_on):
        proof = _better(proof, before.run, before.conditions, before.last_s, valid_days, is_over=True)
    if proof is not None and not proof.ended_by:
        other = changed_conditions(proof.conditions, conditions)
        proof = replace(proof, ended_by=other) if other else proof
    if carried_w is None:
        return ProofMemory(proof)
    run = _lengthened(before.run if goes_on and not changed else (), carried_w, need_w or carried_w, time_s)
    proof = _better(proof, run, conditions, time_s, valid_days, is_over=False)
    return ProofMemory(proof, run, time_s, dict(conditions))


def proven(leg: Leg, memory: ProofMemory, need_w: float | None, time_s: float, valid_days: int, timezone: str) -> Leg:
    """Return the leg as proven where its proof covers what is asked of it now [W]; else with what is known of it.

    What is unknown or lost stays so: a proof tells of another day.
    """
    proof = memory.proof
    if proof is None:
        return leg
    words = proof.words(timezone)
    if proof.ended_by:
        return replace(leg, evidence_against=(*leg.evidence_against, f"{words}, with another {proof.ended_by}"))
    if time_s - proof.until_s > valid_days * DAY_S:
        said = f"{words}: older than the {valid_days} days for which a proof counts"
        return replace(leg, evidence_against=(*leg.evidence_against, said))
    if leg.availability is not Availability.BELIEVED:
        return replace(leg, evidence_against=(*leg.evidence_against, f"{words}, but not seen now"))
    leg = replace(leg, proof_w=proof.watts, proof_s=proof.lasted_s, proven_s=proof.until_s)
    if need_w is not None and need_w > proof.need_w + max(GRAIN_W, proof.need_w * GRAIN_PERCENT / 100):
        said = f"{words}; the {watts_text(need_w)} that it would carry now is believed only"
        return replace(leg, evidence_for=(*leg.evidence_for, said))
    if need_w is None:
        return replace(leg, evidence_for=(*leg.evidence_for, f"{words}; what it would carry now is not known"))
    return replace(leg, availability=Availability.PROVEN, evidence_for=(*leg.evidence_for, words))


def changed_conditions(then: Mapping[str, str], now: Mapping[str, str]) -> str:
    """Return the names of what is another now, "" where all is the same; what is not known on a side is no change."""
    names = [name for name, value in then.items() if value and now.get(name) and now[name] != value]
    return " and ".join(names)


def carries_alone(leg: Leg, others: tuple[Leg, ...]) -> bool:
    """Say whether a leg carries the whole unit and no other leg has a part in it."""
    alone = all(other.carrying in (Carrying.NONE, Carrying.UNKNOWN) for other in others)
    return leg.carrying is Carrying.ALL and leg.availability in (Availability.BELIEVED, Availability.PROVEN) and alone


def _lengthened(run: tuple[Window, ...], watts: float, need_w: float, time_s: float) -> tuple[Window, ...]:
    """Return the windows with one more reading: none that asks for more than it, each with its earliest start."""
    near_w = watts - max(GRAIN_W / 2, watts * GRAIN_PERCENT / 200)
    kept = [window for window in run if window.low_w < near_w]
    over = [window for window in run if window.low_w >= near_w]
    start_s = over[0].start_s if over else time_s
    low_w = min([watts, *(window.low_w for window in over)])
    return (*kept, Window(start_s, low_w, min([need_w, *(window.need_w for window in over)])))


def _better(
    proof: Proof | None,
    run: tuple[Window, ...],
    conditions: Mapping[str, str],
    time_s: float,
    valid_days: int,
    *,
    is_over: bool,
) -> Proof | None:
    """Return the proof that says most: the more watts, and of the same watts the longer."""
    ripe = [window for window in run if time_s - window.start_s >= SHORTEST_PROOF_S]
    if not ripe:
        return proof
    window = max(ripe, key=lambda one: one.low_w)
    new = Proof(window.low_w, time_s - window.start_s, time_s, dict(conditions), need_w=window.need_w)
    if proof is None or proof.ended_by or new.watts > proof.watts + GRAIN_W:
        return new
    if time_s - proof.until_s > valid_days * DAY_S:
        return new
    same = abs(new.watts - proof.watts) <= GRAIN_W
    grown = new.lasted_s > proof.lasted_s * (1 if is_over else GROWN)
    return new if same and (grown or time_s - proof.until_s > DAY_S) else proof
