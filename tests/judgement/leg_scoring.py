"""Plays incidents through the assessment, cycle by cycle, and counts what is told beside the truth.

A sample is one unit in one cycle. It is *decided by evidence* where truthful signs are stronger than false ones: what
a unit says of itself counts two, its feeder's port two, two and more neighbours that lost AC one beside the port.
There the right state is due; elsewhere the right state or unknown, and nowhere a wrong one, unless not one truthful
sign is there. Samples count from four polls after anything changed on the site: three polls make a reading stale, one
brings the next. What is told before that is counted apart.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from tests.judgement.leg_incidents import AFTER, WARM_UP, Incident, make_incident, site_of
from tests.judgement.leg_world import EVERY_S, FEEDER, Traits, World

from portdraw.judgement.assessment import Availability, Leg, Reach, SiteAssessment
from portdraw.judgement.compare import assess
from portdraw.judgement.legs import LOCAL_AC, POE_FEED
from portdraw.judgement.memory import Memory
from portdraw.judgement.unit_legs import leg_of
from portdraw.observation.record import PortState, PowerSource
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.tree import Tree

GRACE_S = 4 * EVERY_S
FRESH_S = 3 * EVERY_S
EPOCH_S = 1_772_460_000.0
THERE, LOST, UNKNOWN = "there", "lost", "unknown"
JUDGED = (LOCAL_AC, POE_FEED, "reach")


@dataclass
class Score:
    """Counts over many incidents, keyed by (what is judged, truth, told).

    `table` has all samples, `due` those that evidence decides, `early` those too soon after a change. `wrong` and
    `missed` tell of samples; `blind` of wrong ones that had no truthful sign at all. `contradictions` counts samples
    of local AC whose signs are equally strong, `unreasoned` tells which of them did not say so. `polls` is, for each
    change, how many poll intervals passed until it was told rightly for good.
    """

    table: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    due: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    early: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    blind: list[str] = field(default_factory=list)
    contradictions: int = 0
    kinds: Counter[str] = field(default_factory=Counter)
    unreasoned: list[str] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)
    polls: dict[str, list[float]] = field(default_factory=lambda: {judged: [] for judged in JUDGED})

    def states(self, judged: str) -> list[str]:
        """The states of what is judged that came up as truth."""
        return sorted({truth for what, truth, _ in self.table if what == judged})

    def recall(self, judged: str, state: str) -> float:
        """Of the samples of a state that evidence decides, the share that is told so."""
        due = sum(count for (what, truth, _), count in self.due.items() if (what, truth) == (judged, state))
        return self.due[judged, state, state] / due if due else 1.0

    def precision(self, judged: str, state: str) -> float:
        """Of all samples that are told to be in a state, decided by evidence or not, the share that is in it."""
        told = sum(count for (what, _, told), count in self.table.items() if (what, told) == (judged, state))
        return self.table[judged, state, state] / told if told else 1.0


@dataclass
class _Track:
    """Of one unit: when its polls last brought something, and for how long each judgement has been right."""

    got_s: float = -1e9
    alive_s: float = -1e9
    newest_lost: bool = False
    right_since: dict[str, float | None] = field(default_factory=dict)
    changed: dict[str, tuple[str, float]] = field(default_factory=dict)


def score_incidents(seeds: Iterable[int], score: Score | None = None) -> Score:
    """Play an incident for each seed."""
    score = Score() if score is None else score
    for seed in seeds:
        incident = make_incident(seed)
        _play(incident, seed, score)
        score.kinds[incident.kind] += 1
    return score


def _play(incident: Incident, seed: int, score: Score) -> None:
    rng = random.Random(seed + 1_000_003)
    world = World(incident.units, incident.troubles, incident.feeder_off, seed)
    site = site_of(incident.units)
    tree, memory = Tree(site), Memory()
    world.clock_s = EPOCH_S
    names = [FEEDER, *world.units]
    offsets = {name: rng.randint(1, EVERY_S - 2) for name in names}
    tracks = {name: _Track() for name in names}
    newest: dict[str, UnitObservation] = {}
    for cycle in range(WARM_UP + AFTER):
        for second in range(EVERY_S):
            world.step()
            if world.time_s >= incident.clock_step[0]:
                world.clock_s = EPOCH_S + incident.clock_step[1]
            for name in names:
                if offsets[name] == second:
                    newest[name] = world.poll(name, lost=rng.random() < incident.loss)
                    _track(tracks[name], newest[name], world)
        time_s = world.time_s + world.clock_s
        seen, memory = assess(site, tree, newest, time_s, float(EVERY_S), False, memory)
        _count(incident, seed, world, seen, tracks, score, cycle)
    for name in world.units:
        for judged, (truth, changed_s) in tracks[name].changed.items():
            right_s = tracks[name].right_since.get(judged)
            if changed_s > WARM_UP * EVERY_S and right_s is not None and truth:
                score.polls[judged].append((right_s - changed_s) / EVERY_S)


def _track(track: _Track, observation: UnitObservation, world: World) -> None:
    track.newest_lost = observation.outcome is Outcome.SILENT
    if observation.outcome is Outcome.ANSWERED:
        track.got_s = world.time_s
    if observation.outcome is not Outcome.SILENT:
        track.alive_s = world.time_s


def _count(
    incident: Incident,
    seed: int,
    world: World,
    seen: SiteAssessment,
    tracks: dict[str, _Track],
    score: Score,
    cycle: int,
) -> None:
    for name, unit in world.units.items():
        told = seen.unit(name)
        assert told is not None
        track, now = tracks[name], world.now[name]
        weights = _ac_weights(world, unit, tracks)
        verdicts = {
            LOCAL_AC: (THERE if now.ac else LOST, _told(leg_of(told, LOCAL_AC)), _wins(weights, now.ac)),
            POE_FEED: (THERE if now.feed else LOST, _told(leg_of(told, POE_FEED)), _feed_is_due(world, unit, tracks)),
            "reach": (
                _reach(world, unit, track),
                UNKNOWN if told.reach is Reach.SILENT else told.reach.value,
                _reach_is_due(incident, world, unit, tracks),
            ),
        }
        settled = world.time_s - max(now.changed_s, _disturbed_s(incident, world)) >= GRACE_S
        for judged, (truth, said, due) in verdicts.items():
            if track.changed.get(judged, ("", 0.0))[0] != truth:
                at_s = now.changed_s if track.changed.get(judged) else -1e9
                track.changed[judged] = (truth, at_s)
                track.right_since[judged] = None
            if said != truth:
                track.right_since[judged] = None
            elif track.right_since.get(judged) is None:
                track.right_since[judged] = world.time_s
            if not settled:
                score.early[judged, truth, said] += 1
                continue
            score.table[judged, truth, said] += 1
            where = f"seed {seed}, {incident.kind}, {name}, cycle {cycle}: {judged} is {truth}, told {said}"
            if due:
                score.due[judged, truth, said] += 1
                if said != truth:
                    score.missed.append(where)
            if said not in (truth, UNKNOWN):
                blind = judged == LOCAL_AC and weights[truth] == 0
                (score.blind if blind else score.wrong).append(where)
            if judged == LOCAL_AC and weights[THERE] == weights[LOST] > 0:
                score.contradictions += 1
                if not _says_why(leg_of(told, LOCAL_AC)):
                    score.unreasoned.append(where)


def _disturbed_s(incident: Incident, world: World) -> float:
    """When something last changed for all units: the clock, the feeder, or the circuit's other units."""
    times = [incident.clock_step[0], *(at_s for span in incident.feeder_off for at_s in span)]
    times += [now.changed_s for now in world.now.values()]
    return max((at_s for at_s in times if at_s <= world.time_s), default=-1e9)


def _told(leg: Leg | None) -> str:
    assert leg is not None
    if leg.availability is Availability.UNKNOWN:
        return UNKNOWN
    return LOST if leg.availability is Availability.LOST else THERE


def _fresh(track: _Track, world: World) -> bool:
    return world.time_s - track.got_s <= FRESH_S


def _alive(track: _Track, world: World) -> bool:
    return world.time_s - track.alive_s <= FRESH_S


def _says_why(leg: Leg | None) -> bool:
    """Whether a leg is unknown because its signs contradict each other, now or before."""
    assert leg is not None
    words = " ".join(leg.evidence_against)
    return leg.availability is Availability.UNKNOWN and ("contradict" in words)


def _wins(weights: dict[str, int], ac: bool) -> bool:
    truth, other = (THERE, LOST) if ac else (LOST, THERE)
    return weights[truth] > weights[other]


def _ac_weights(world: World, unit: Traits, tracks: dict[str, _Track]) -> dict[str, int]:
    """How strongly the visible signs of local AC speak for each state, with equal weights for unit and port."""
    now, truth = world.now[unit.name], THERE if world.now[unit.name].ac else LOST
    own, feeder = _fresh(tracks[unit.name], world), _fresh(tracks[FEEDER], world)
    said: set[str] = set()
    words = []
    if own and unit.channel in ("both", "own"):
        words.append(world.word(unit))
    if feeder and unit.channel in ("both", "heard"):
        impossible = now.word is PowerSource.PSE and now.port is not PortState.DELIVERING  # nothing runs on it
        words.append(None if impossible else now.word)
    said |= {LOST if word is PowerSource.PSE else THERE for word in words if word is not None}
    if own and unit.supply_object:
        said.add(truth)
    if own and unit.budget_falls and not now.ac:
        said.add(LOST)
    weight = {THERE: 0, LOST: 0}
    if len(said) == 1:
        weight[said.pop()] += 2
    if feeder and now.port is PortState.DELIVERING and unit.frozen_port and unit.spare == "hidden" and unit.declared:
        pass  # standby watts on a feed that has no standby: that says neither
    elif feeder and now.port is PortState.DELIVERING:
        port = THERE if now.ac or unit.frozen_port else LOST
        weight[port] += 2
        others = [one for one in world.units.values() if one.circuit == unit.circuit and one is not unit]
        near = [world.now[one.name].ac for one in others]
        if port == LOST and len(near) >= 2 and not any(near):
            weight[LOST] += 1
    elif feeder and _alive(tracks[unit.name], world):
        weight[THERE] += 2
    return weight


def _feed_is_due(world: World, unit: Traits, tracks: dict[str, _Track]) -> bool:
    """Whether the feeder's port shows how the feed is: a hidden spare shows nothing while AC is there."""
    now = world.now[unit.name]
    if not _fresh(tracks[FEEDER], world):
        return False
    if now.feed:
        return now.port is PortState.DELIVERING
    return now.port is not PortState.SEARCHING or (unit.spare == "held" and unit.declared)


def _reach(world: World, unit: Traits, track: _Track) -> str:
    if not track.newest_lost:
        return (Reach.REFUSES if world.refuses(unit) else Reach.ANSWERS).value
    return (Reach.POWERED if world.now[unit.name].powered else Reach.DARK).value


def _reach_is_due(incident: Incident, world: World, unit: Traits, tracks: dict[str, _Track]) -> bool:
    """Whether anything shows if a silent unit has power: its port, its link, or that AC was known to be lost."""
    now = world.now[unit.name]
    if not tracks[unit.name].newest_lost:
        return True
    if not _fresh(tracks[FEEDER], world):
        return False
    if now.powered:
        return now.port is PortState.DELIVERING or not any(
            begin <= world.time_s < end for begin, end in incident.troubles[unit.name].link_down
        )
    bad = incident.troubles[unit.name]
    return bool(bad.no_ac and bad.feed_off) and bad.feed_off[0][0] - bad.no_ac[0][0] >= 3 * EVERY_S and not unit.lie
