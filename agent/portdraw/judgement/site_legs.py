"""The legs of all units of a site in one cycle: each by its own signs, then by its neighbours', then by its proof."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from portdraw.judgement.ac_evidence import SignMemory
from portdraw.judgement.assessment import Availability, Leg, Reach
from portdraw.judgement.circuit_inference import CircuitView, circuit_views, neighbours_of, stands_on
from portdraw.judgement.leg_facts import LegSigns
from portdraw.judgement.leg_proof import ProofMemory, carries_alone, proven, remember_carrying
from portdraw.judgement.leg_signs import Readings, leg_signs
from portdraw.judgement.legs import LOCAL_AC, judge_legs
from portdraw.judgement.memory import STALE_AFTER_POLLS, LegMemory, Memory, remember_leg
from portdraw.judgement.poll_run import USABLE
from portdraw.judgement.proof_conditions import proof_conditions
from portdraw.judgement.reach import ReachSigns, reach_of
from portdraw.judgement.unit_draw import UnitDraw
from portdraw.observation.record import PowerSource
from portdraw.observation.unit_observation import Outcome, UnitObservation


@dataclass(frozen=True)
class SiteLegs:
    """Legs and reach of every unit, the circuits as their units show them, and the memory with all that."""

    legs: Mapping[str, tuple[Leg, ...]]
    reach: Mapping[str, tuple[Reach, str]]
    circuits: Mapping[str, CircuitView]
    memory: Memory


def site_legs(
    readings: Readings, draws: Mapping[str, UnitDraw], observations: Mapping[str, UnitObservation]
) -> SiteLegs:
    """Return the legs of a site. `draws` has what each unit gives [W], `observations` the newest poll of each."""
    site, tree, past = readings.site, readings.tree, readings.memory
    whole_w = {name: draws[name].draw_w if draws[name].complete else None for name in site.units}
    signs = {name: leg_signs(readings, name, whole_w[name]) for name in site.units}
    by_itself = {name: judge_legs(signs[name], past.signs.get(name, SignMemory())) for name in site.units}
    views = circuit_views(site, tree, _local_ac({name: judged.legs for name, judged in by_itself.items()}))
    legs: dict[str, tuple[Leg, ...]] = {}
    kept: dict[tuple[str, str], LegMemory] = {}
    proofs: dict[tuple[str, str], ProofMemory] = {}
    for name in site.units:
        judged = by_itself[name].legs
        near = neighbours_of(site, tree, name, views)
        if near.lost:
            judged = judge_legs(signs[name], past.signs.get(name, SignMemory()), near).legs
        told: list[Leg] = []
        for leg in judged:
            others = tuple(other for other in judged if other is not leg)
            proof = _proof(readings, leg, others, signs[name], whole_w[name], past.proofs.get((name, leg.name)), name)
            proofs[name, leg.name] = proof
            leg = proven(
                leg,
                proof,
                whole_w[name] if leg.name == LOCAL_AC else signs[name].full_w,
                readings.time_s,
                site.policy.proof_valid_days,
                site.site.timezone,
            )
            leg, kept[name, leg.name] = remember_leg(past, name, leg, readings.time_s)
            told.append(leg)
        legs[name] = tuple(told)
    views = circuit_views(site, tree, _local_ac(legs))
    memory = replace(
        past, legs=kept, proofs=proofs, signs={name: judged.memory for name, judged in by_itself.items()}
    )
    reach = {name: _reach(readings, name, signs, legs, kept, views, observations.get(name)) for name in site.units}
    return SiteLegs(legs, reach, views, memory)


def _local_ac(legs: Mapping[str, tuple[Leg, ...]]) -> dict[str, Leg]:
    return {name: leg for name, all_ in legs.items() for leg in all_ if leg.name == LOCAL_AC}


def _proof(
    readings: Readings,
    leg: Leg,
    others: tuple[Leg, ...],
    signs: LegSigns,
    outputs_w: float | None,
    before: ProofMemory | None,
    unit: str,
) -> ProofMemory:
    """Return the proof of a leg after this cycle; what it carries is at its feeder's port, or on the unit's ports."""
    carried_w = None
    if carries_alone(leg, others):
        carried_w = outputs_w if leg.name == LOCAL_AC else signs.port_w
    conditions = proof_conditions(readings, unit, leg)
    longest_gap_s = STALE_AFTER_POLLS * readings.every_s
    return remember_carrying(
        before or ProofMemory(),
        carried_w,
        conditions,
        readings.time_s,
        longest_gap_s,
        readings.site.policy.proof_valid_days,
        need_w=None if leg.name == LOCAL_AC else signs.full_w,
    )


def _reach(
    readings: Readings,
    name: str,
    signs: Mapping[str, LegSigns],
    legs: Mapping[str, tuple[Leg, ...]],
    kept: Mapping[tuple[str, str], LegMemory],
    views: Mapping[str, CircuitView],
    newest: UnitObservation | None,
) -> tuple[Reach, str]:
    site, tree = readings.site, readings.tree
    circuits = tree.circuits_of(name)
    one = circuits[0] if len(circuits) == 1 and stands_on(site, circuits[0], name) else None
    last = kept.get((name, LOCAL_AC))
    return reach_of(
        ReachSigns(
            readable=site.units[name].readable,
            fresh=readings.heard(name) is not None and newest is not None and newest.outcome in USABLE,
            outcome=Outcome.SILENT if newest is None else newest.outcome,
            has_ac=bool(site.units[name].supplies),
            feeds=signs[name].feeds,
            circuit=None if one is None else views[one],
            last_ac=None if last is None else last.known,
            fed_below=tuple(below for below in tree.children(name) if _lives_on(name, signs[below], legs[below])),
        )
    )


def _lives_on(feeder: str, signs: LegSigns, legs: tuple[Leg, ...]) -> bool:
    """Say whether a unit answers and says itself that it runs on its one feed, which comes from this feeder."""
    if not signs.heard or len(signs.feeds) != 1 or not signs.feed_source.startswith(f"{feeder} port "):
        return False
    no_ac = any(leg.name == LOCAL_AC and leg.availability is Availability.LOST for leg in legs)
    return signs.own_word is PowerSource.PSE or not signs.has_ac or no_ac
