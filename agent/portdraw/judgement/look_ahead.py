"""What fails next, studied from the legs as they stand on three loads: now, tonight, and the plan's worst case.

A study is kept while nothing that it rests on changes; the worst case of the plan is worked out once for a state of
the legs.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from portdraw.judgement.assessment import Leg, UnitAssessment
from portdraw.judgement.legs_today import legs_today
from portdraw.judgement.live_load import NOTHING_ELSE, AsSeen, LiveDraws, live_draws, site_as_seen
from portdraw.judgement.next_failure import NextFailure, Outlook, StudiedLoad
from portdraw.judgement.outlook import grade, outlook_of
from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree, reach
from portdraw.powerflow.failure import Failure, FailureKind, all_unbacked_ac, single_failures
from portdraw.powerflow.failure_result import FailureResult
from portdraw.powerflow.failure_study import study_failures
from portdraw.powerflow.load import Load, Reading, live_load, worst_steady_load
from portdraw.powerflow.network import Network, network_of
from portdraw.powerflow.port_link import PortId
from portdraw.powerflow.state import Outage

MOST_FAILURES = 60
"""So many failures are told, the worst first; of a large site the others only by their number."""

LARGE_UNITS = 25
GRAIN_W = 0.1
STILL_W, STILL_PERCENT = 2.0, 2.0
STILL_CYCLES = 20
"""Beyond LARGE_UNITS units a study is kept for STILL_CYCLES cycles, while no leg changes, no unit falls silent and no
unit's draw moves by more than STILL_W or STILL_PERCENT of itself; on smaller sites while no port moves by GRAIN_W.
Chosen for their cost."""


@dataclass(frozen=True)
class NightDraws:
    """The load of tonight from history: readings of device ports, and in words what they are."""

    readings: Mapping[PortId, Reading]
    words: str


@dataclass(frozen=True)
class Ahead:
    """The failures that matter most, worst first, how many more there are, and what tonight's load rests on."""

    failures: tuple[NextFailure, ...]
    more: int
    tonight_rests_on: str


@dataclass(frozen=True)
class _Studied:
    """One load's results, with what they were worked out from."""

    network: Network
    outage: Outage
    draws: object
    cycle: int
    results: Mapping[str, FailureResult]


@dataclass(frozen=True)
class _Glance:
    """What a large site looked like when it was last studied: legs, and the draw of each unit."""

    site: Site
    tonight: NightDraws | None
    cycle: int
    legs: tuple[tuple[Leg, ...], ...]
    told: tuple[tuple[bool, bool], ...]
    draws_w: tuple[float, ...]

    def holds(self, site: Site, units: Sequence[UnitAssessment], tonight: NightDraws | None, cycle: int) -> bool:
        """Say whether the study may be told again: it is young, and rests on what is much the same."""
        if self.site is not site or self.tonight is not tonight or cycle - self.cycle >= STILL_CYCLES:
            return False
        now = _glance(site, units, tonight, cycle)
        if now.told != self.told or not all(map(_same_legs, now.legs, self.legs)):
            return False
        return all(
            abs(now_w - then_w) <= max(STILL_W, then_w * STILL_PERCENT / 100)
            for now_w, then_w in zip(now.draws_w, self.draws_w, strict=True)
        )


def _glance(site: Site, units: Sequence[UnitAssessment], tonight: NightDraws | None, cycle: int) -> _Glance:
    legs = tuple(unit.legs for unit in units)
    told = tuple((unit.stale, unit.draw_complete) for unit in units)
    return _Glance(site, tonight, cycle, legs, told, tuple(unit.draw_w or 0.0 for unit in units))


def _same_legs(now: tuple[Leg, ...], then: tuple[Leg, ...]) -> bool:
    return [(leg.availability, leg.carrying) for leg in now] == [(leg.availability, leg.carrying) for leg in then]


@dataclass(frozen=True)
class AheadMemory:
    """What one study hands to the next. Begin with `AheadMemory()`."""

    plan: Network | None = None
    live: Network | None = None
    seen: AsSeen = NOTHING_ELSE
    failures: tuple[Failure, ...] = field(default=(), repr=False)
    failures_of: tuple[Network, Outage] | None = field(default=None, repr=False)
    studied: Mapping[StudiedLoad, _Studied] = field(default_factory=dict, repr=False)
    stand_ins: tuple[str, ...] = ()
    told: Ahead | None = field(default=None, repr=False)
    cycle: int = 0
    glance: _Glance | None = field(default=None, repr=False)


def look_ahead(
    site: Site,
    tree: Tree,
    units: Sequence[UnitAssessment],
    case: Case,
    tonight: NightDraws | None,
    memory: AheadMemory,
) -> tuple[Ahead, AheadMemory]:
    """Study every failure on three loads; return what to tell, and the memory for the next time.

    `case` is the plan's case of this hour, for what no reading and no plan can tell. `tonight` None: the history has
    nothing, and the plan's night stands in.
    """
    cycle = memory.cycle + 1
    if memory.told is not None and memory.glance is not None and memory.glance.holds(site, units, tonight, cycle):
        return memory.told, replace(memory, cycle=cycle)
    draws = live_draws(site, units)
    plan = memory.plan if memory.plan is not None and memory.plan.site is site else network_of(site, tree)
    live = memory.live
    if live is None or memory.plan is not plan or memory.seen != draws.seen:
        live = plan if draws.seen == NOTHING_ELSE else network_of(site_as_seen(site, draws.seen))
    now_out = legs_today(plan, tree, units, draws.off)
    # what is not known of a feed today says nothing of tonight; a device that is off today may be on by then
    legs = replace(now_out, unsure_feeds=frozenset(), off_ports={})
    failures, failures_of = memory.failures, memory.failures_of
    if failures_of != (plan, legs):
        failures, failures_of = tuple(_failures(plan, legs)), (plan, legs)
    kept = dict(memory.studied)
    before = dict(kept)
    for load, network, outage, rests_on in (
        (StudiedLoad.NOW, live, now_out, draws),
        (StudiedLoad.TONIGHT, live, legs, tonight),
        (StudiedLoad.DESIGN, plan, legs, None),
    ):
        old = kept.get(load)
        if old is not None and old.network is network and old.outage == outage:
            if load is StudiedLoad.NOW and len(units) <= LARGE_UNITS and _still_holds(old, draws):
                continue
            if load is not StudiedLoad.NOW and old.draws is rests_on:
                continue
        study = study_failures(network, _load(load, network, draws, case, tonight), outage, failures=failures)
        kept[load] = _Studied(network, outage, rests_on, cycle, {one.what: one for one in study.results})
    told = memory.told
    if (
        told is None
        or any(kept[load] is not before.get(load) for load in kept)
        or memory.stand_ins != draws.stand_ins
    ):
        told = _told(failures, kept, draws.stand_ins, tree, tonight)
    glance = _glance(site, units, tonight, cycle) if len(units) > LARGE_UNITS else None
    memory = AheadMemory(plan, live, draws.seen, failures, failures_of, kept, draws.stand_ins, told, cycle, glance)
    return told, memory


def _failures(network: Network, outage: Outage) -> Iterable[Failure]:
    yield from single_failures(network, outage)
    everything = all_unbacked_ac(network, outage)
    if everything is not None:
        yield everything


def _load(load: StudiedLoad, network: Network, draws: LiveDraws, case: Case, tonight: NightDraws | None) -> Load:
    if load is StudiedLoad.NOW:
        return live_load(network, load.value, draws.readings, case)
    if load is StudiedLoad.TONIGHT:
        return live_load(network, load.value, {} if tonight is None else tonight.readings, Case.NIGHT)
    return worst_steady_load(network)


def _still_holds(old: _Studied, draws: LiveDraws) -> bool:
    """Say whether a study of now may be told again: it rests on draws that are much the same."""
    was = old.draws
    if not isinstance(was, LiveDraws) or was.readings.keys() != draws.readings.keys():
        return False
    if was.stand_ins != draws.stand_ins:
        return False
    return all(abs(reading.watts - was.readings[at].watts) < GRAIN_W / 2 for at, reading in draws.readings.items())


def _told(
    failures: Sequence[Failure],
    studied: Mapping[StudiedLoad, _Studied],
    stand_ins: Sequence[str],
    tree: Tree,
    tonight: NightDraws | None,
) -> Ahead:
    """Put the worst into words; all local AC at once is always among them."""
    ranked = sorted(
        ((min(grade(one.results[failure.what]) for one in studied.values()), failure) for failure in failures),
        key=lambda pair: (pair[0], pair[1].kind is not FailureKind.ALL_UNBACKED_AC),
    )
    chosen = [failure for _, failure in ranked[:MOST_FAILURES]]
    chosen += [one for _, one in ranked[MOST_FAILURES:] if one.kind is FailureKind.ALL_UNBACKED_AC]
    known_units = set(tree.order())
    found = tuple(
        NextFailure(
            failure.what,
            failure.kind,
            studied[StudiedLoad.NOW].results[failure.what].moved,
            tuple(
                _outlook(load, one.results[failure.what], stand_ins, tree, known_units)
                for load, one in studied.items()
            ),
        )
        for failure in chosen
    )
    words = "the plan's night, as the history has none yet" if tonight is None else tonight.words
    return Ahead(found, len(failures) - len(chosen), words)


def _outlook(
    load: StudiedLoad, result: FailureResult, stand_ins: Sequence[str], tree: Tree, known_units: set[str]
) -> Outlook:
    if load is not StudiedLoad.NOW or not stand_ins:
        return outlook_of(load, result, ())
    subject = "" if result.worst is None else result.worst.subject
    below = {subject} | reach({subject}, tree.children) if subject in known_units else known_units
    return outlook_of(load, result, tuple(name for name in stand_ins if name in below))
