"""Changes to the site file that would mend a failure, each tried out on the whole site under every load.

Three kinds: one port's priority, by one step, that keeps the most critical devices; the priorities of the unit that
sheds, put in the order of what hangs below; and watts, as another supply module or a higher class for the feed. What
keeps the promise comes first, then what only helps. Nothing is proposed that was not worked out with the change made.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from portdraw.plan.load_case import Case
from portdraw.plan.site import Port, Site, Unit
from portdraw.powerflow.failure import Failure, FailureKind, all_unbacked_ac, single_failures
from portdraw.powerflow.failure_result import FailureResult, Outcome, Place
from portdraw.powerflow.failure_study import base_state, solution_after, study_failures, study_one
from portdraw.powerflow.load import DARK, planned_load
from portdraw.powerflow.network import NetUnit, Network, network_of
from portdraw.powerflow.shedding import Ranked, groups_to_cut, shed_groups
from portdraw.powerflow.solution import Solution

Priority = Literal["critical", "high", "low"]

_BY_RANK: tuple[Priority, ...] = ("critical", "high", "low")
_BY_PRIORITY = ("priority-then-highest-port", "lowest-priority-bank")
_ORDINALS = ("", "", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")
_MOST_MODULES = 4
_MOST_UNITS = 3  # of one failure: each change is worked out anew on the whole site


@dataclass(frozen=True, slots=True)
class MendedCase:
    """The failure under one load with the change made; `before` without it.

    `need_w` of `limit_w` [W at the PSE output] is what the unit that had to shed is asked for then.
    """

    case: Case
    before: FailureResult
    after: FailureResult
    need_w: float
    limit_w: float

    @property
    def keeps_promise(self) -> bool:
        """Whether the site's promise holds."""
        return self.after.verdict.outcome is Outcome.SURVIVED

    @property
    def kept(self) -> tuple[str, ...]:
        """Devices that stay and would have gone dark."""
        gone = {*self.after.dark, *self.after.may_go_dark}
        return tuple(name for name in (*self.before.dark, *self.before.may_go_dark) if name not in gone)

    @property
    def newly_dark(self) -> tuple[str, ...]:
        """Devices that go dark instead."""
        gone = {*self.before.dark, *self.before.may_go_dark}
        return tuple(name for name in (*self.after.dark, *self.after.may_go_dark) if name not in gone)


@dataclass(frozen=True, slots=True)
class SiteMend:
    """One proposed change, as sentences, and what it does. `unit` is the one that has to shed. `notes` say what has to be known or agreed first."""

    unit: str
    failure: str
    changes: tuple[str, ...]
    cases: tuple[MendedCase, ...]
    notes: tuple[str, ...] = ()

    @property
    def mends(self) -> bool:
        """Whether the promise holds under every load that was studied."""
        return all(case.keeps_promise for case in self.cases)


def site_mends(
    network: Network, failure: Failure, cases: Sequence[Case], survived: Mapping[Case, Collection[str]]
) -> tuple[SiteMend, ...]:
    """What would mend a failure that breaks the promise under any of some loads; empty where nothing is known to.

    `survived` names the failures that the site survives as it is, under each load: a change that breaks one of them
    is not proposed. Looked at are the units that shed the most, at most a few.
    """
    found: list[SiteMend] = []
    states = {case: _state(network, failure, case) for case in cases}
    broken = {case: state for case, state in states.items() if not _holds(state.result)}
    if not broken:
        return ()
    worst = max(broken.values(), key=lambda state: (len(state.result.verdict.broken_by), len(state.result.dark)))
    shedding = dict.fromkeys(at for state in (worst, *broken.values()) for at in state.shedding())
    for at in list(shedding)[:_MOST_UNITS]:
        sheds = _Shedding(network, at, states, worst)
        for change in (sheds.least_step(), sheds.by_criticality(), _modules(network, at, states), _feed_class(sheds)):
            if change is None:
                continue
            mend = _tried(network, failure, states, change, at, survived)
            if mend is not None:
                found.append(mend)
    return tuple(sorted(found, key=lambda mend: not mend.mends))


def _holds(result: FailureResult) -> bool:
    return result.verdict.outcome in (Outcome.SURVIVED, Outcome.NOT_JUDGED)


@dataclass(frozen=True, slots=True)
class _State:
    """The failure under one load."""

    case: Case
    result: FailureResult
    solution: Solution
    base_dark: frozenset[Place]

    def shedding(self) -> Iterator[int]:
        """Units that cut ports of their own, nearest the source first."""
        for at in reversed(self.result.touched_numbers):
            if self.solution.demand(at).cut and self.solution.power(at) != DARK:
                yield at


@dataclass(frozen=True, slots=True)
class _Change:
    site: Site
    unit: str
    words: tuple[str, ...]
    notes: tuple[str, ...] = ()


def _state(network: Network, failure: Failure, case: Case) -> _State:
    base = base_state(network, planned_load(network, case))
    return _State(case, study_one(base, failure), solution_after(base, failure), base.dark)


def _tried(
    network: Network,
    failure: Failure,
    states: Mapping[Case, _State],
    change: _Change,
    at: int,
    survived: Mapping[Case, Collection[str]],
) -> SiteMend | None:
    """Work the failure out with the change made; None where it keeps nothing or harms another promise."""
    changed = network_of(change.site)
    same = _same_failure(changed, failure)
    if same is None:
        return None
    cases = []
    for case, state in states.items():
        base = base_state(changed, planned_load(changed, case))
        solved = solution_after(base, same)
        demand = solved.demand(at)
        need_w = max(demand.asked_w, demand.booked_w)
        limit_w = solved.standing(at).budget_w
        cases.append(MendedCase(case, state.result, study_one(base, same), need_w, limit_w))
        if base.dark - state.base_dark:
            return None
    if not any(case.kept for case in cases):
        return None
    if any(_harms(changed, case, names) for case, names in survived.items()):
        return None
    return SiteMend(
        network.units[at].name,
        failure.what,
        change.words,
        tuple(cases),
        (*change.notes, *_weak_points(changed, change)),
    )


def _same_failure(network: Network, failure: Failure) -> Failure | None:
    if failure.kind is FailureKind.ALL_UNBACKED_AC:
        return all_unbacked_ac(network)
    return next((one for one in single_failures(network) if one.what == failure.what), None)


def _harms(after: Network, case: Case, survived: Collection[str]) -> bool:
    """Whether a promise that held is broken with the change made."""
    results = study_failures(after, planned_load(after, case)).results
    return any(result.what in survived and not _holds(result) for result in results)


def _weak_points(network: Network, change: _Change) -> Iterator[str]:
    """Say where one supply module and all unbacked AC together would still darken what is promised."""
    everything = all_unbacked_ac(network)
    if everything is None or "module" not in change.words[0]:
        return
    modules = [one for one in single_failures(network) if one.kind is FailureKind.SUPPLY_MODULE]
    own = [one for one in modules if one.subject == change.unit]
    for case in (Case.FROST_NIGHT, Case.NIGHT, Case.TYPICAL):
        study = study_failures(network, planned_load(network, case), everything.outage, failures=own)
        worst = max(study.results, key=lambda result: len(result.dark), default=None)
        if worst is not None and worst.dark:
            yield (
                f"The weak point then: one module of {change.unit} failing while all local AC is gone; "
                f"{case.value}, {len(worst.dark)} devices would go dark."
            )
            return


class _Shedding:
    """One unit that sheds, and what it would shed with other priorities. What it cuts depends on nothing above it."""

    def __init__(self, network: Network, at: int, states: Mapping[Case, _State], worst: _State) -> None:
        self.network, self.at, self.states = network, at, states
        self.unit: NetUnit = network.units[at]
        self.worst = worst
        self.ranks = tuple(port.rank for port in self.unit.ports)
        self._watts = {case: self._asked(state.solution) for case, state in states.items()}
        self._below = {case: self._hanging(state.solution) for case, state in states.items()}

    def least_step(self) -> _Change | None:
        """One port, one step of priority: the one that keeps the most critical devices under the worst load."""
        if self.unit.rule not in _BY_PRIORITY or self.at not in set(self.worst.shedding()):
            return None
        case = self.worst.case
        best: tuple[tuple[int, ...], int, int] | None = None
        for port in self.unit.ports:
            for rank in (port.rank - 1, port.rank + 1):
                if not 0 <= rank < len(_BY_RANK) or not self._below[case][port.at]:
                    continue
                ranks = tuple(rank if at == port.at else of for at, of in enumerate(self.ranks))
                found = (self._lost(case, ranks), port.at, rank)
                if found[0] < self._lost(case, self.ranks) and (best is None or found < best):
                    best = found
        return None if best is None else self._change({best[1]: best[2]})

    def by_criticality(self) -> _Change | None:
        """Priorities in the order of the most critical device below each port; only the changes that are needed."""
        if self.unit.rule not in _BY_PRIORITY:
            return None
        below = self._below[self.worst.case]
        wanted = {at: min(found) - 1 for at, found in enumerate(below) if found and min(found) - 1 != self.ranks[at]}
        if not wanted or not self._keeps(wanted):
            return None
        for at in sorted(wanted, key=lambda at: (len(below[at]), at), reverse=True):
            fewer = {other: rank for other, rank in wanted.items() if other != at}
            if self._keeps(fewer):
                wanted = fewer
        return self._change(wanted) if wanted else None

    def _keeps(self, wanted: Mapping[int, int]) -> bool:
        level = self._level()
        ranks = tuple(wanted.get(at, rank) for at, rank in enumerate(self.ranks))
        return not any(sum(self._lost(case, ranks)[:level]) for case in self.states)

    def _level(self) -> int:
        promise = self.network.site.policy.must_survive
        if self.worst.result.failure.kind is FailureKind.ALL_UNBACKED_AC and promise.all_unbacked_ac is not None:
            return promise.all_unbacked_ac.criticality_up_to
        return promise.any_single if isinstance(promise.any_single, int) else 3

    def _change(self, wanted: Mapping[int, int]) -> _Change:
        ports = {}
        words = []
        under = []
        for at in sorted(wanted):
            port = self.unit.ports[at]
            words.append(
                f"{port.where(self.unit)} ({self._named(at)}): priority from {_BY_RANK[port.rank]} "
                f"to {_BY_RANK[wanted[at]]}"
            )
            ports[port.key] = {"priority": _BY_RANK[wanted[at]]}
            if port.child >= 0 and wanted[at] > port.rank:
                under.append(self.network.units[port.child].name)
        notes: tuple[str, ...] = ()
        if under:
            first = f"{' and '.join(under)} then {'goes' if len(under) == 1 else 'go'} before single devices"
            notes = (f"{first} of {self.unit.name}: agree on it first; plan will name it.",)
        return _Change(_with_ports(self.network.site, self.unit.name, ports), self.unit.name, tuple(words), notes)

    def _named(self, at: int) -> str:
        port = self.unit.ports[at]
        return f"feed of {self.network.units[port.child].name}" if port.child >= 0 else port.device or "spare"

    def _asked(self, solution: Solution) -> tuple[float, ...]:
        """Watts of each port before anything is shed."""
        asked = list(solution.load.units[self.at].likely)
        for port in self.unit.feed_ports:
            asked[port.at] = solution.demand(port.child).feeds[port.place].most_w
        off = solution.outage.off_ports.get(self.at, frozenset())
        refused = solution.standing(self.at).grant.refused
        return tuple(0.0 if at in off or at in refused else watts for at, watts in enumerate(asked))

    def _hanging(self, solution: Solution) -> tuple[tuple[int, ...], ...]:
        """Criticality of every device that each port alone keeps, in this state."""
        return tuple(tuple(_below(solution, self.at, port.at)) for port in self.unit.ports)

    def _lost(self, case: Case, ranks: Sequence[int]) -> tuple[int, ...]:
        """Devices that go dark by criticality, with other priorities."""
        ranked = [Ranked(one.at, ranks[one.at], one.number, one.start_delay_s) for one in self.unit.ranked]
        groups = shed_groups(self.unit.rule, ranked)
        watts = self._watts[case]
        limit_w = self.states[case].solution.standing(self.at).budget_w
        count = groups_to_cut(groups, watts, sum(watts), limit_w)
        lost = [0, 0, 0]
        for at in (at for group in groups[:count] for at in group if watts[at] > 0):
            for criticality in self._below[case][at]:
                lost[criticality - 1] += 1
        return tuple(lost)


def _below(solution: Solution, at: int, port_at: int) -> Iterator[int]:
    port = solution.network.units[at].ports[port_at]
    if port.device is not None:
        if not port.off:
            yield port.criticality
    elif port.child >= 0:
        standing = solution.standing(port.child)
        if any(standing.supplies) or standing.first != port.place:
            return
        for below in solution.network.units[port.child].ports:
            yield from _below(solution, port.child, below.at)


def _modules(network: Network, at: int, states: Mapping[Case, _State]) -> _Change | None:
    """More supply modules like those that are there, until the margin after a failure is kept under every load."""
    unit = network.units[at].unit
    standings = [state.solution.standing(at) for state in states.values()]
    shares = {supply.pse_share_w for supply in unit.supplies}
    share_w = shares.pop() if len(shares) == 1 else None
    if (
        unit.pse is None
        or unit.supply_mode != "combined"
        or not share_w
        or not all(any(s.supplies) for s in standings)
    ):
        return None
    need_w = max(max(demand.asked_w, demand.booked_w) for demand in (s.solution.demand(at) for s in states.values()))
    free = 1 - network.site.policy.margin_after_failure_percent / 100
    live_w = min(sum(standing.supplies) for standing in standings) * share_w
    more = next((count for count in range(1, _MOST_MODULES + 1) if need_w <= (live_w + count * share_w) * free), None)
    if more is None:
        return None
    before = len(unit.supplies)
    which = _ORDINALS[before + 1] if before + 1 < len(_ORDINALS) else f"{before + 1}th"
    first = f"a {which} module" if more == 1 else f"{more} more modules"
    total_w = share_w * (before + more)
    last = unit.supplies[-1]
    changed = unit.model_copy(
        update={
            "supplies": (*unit.supplies, *(last for _ in range(more))),
            "pse": unit.pse.model_copy(update={"budget_w": max(unit.pse.budget_w, total_w)}),
        }
    )
    name = network.units[at].name
    words = f"{name}: {first} of {share_w:g} W, from {last.source} ({total_w:g} W together)"
    return _Change(_with_unit(network.site, name, changed), name, (words,))


def _feed_class(sheds: _Shedding) -> _Change | None:
    """The lowest higher class for the feed that a unit stands on, where its feeder can grant it."""
    network, unit = sheds.network, sheds.unit
    state = sheds.worst
    standing = state.solution.standing(unit.index)
    if any(standing.supplies) or standing.first < 0:
        return None
    feed = unit.feeds[standing.first]
    feeder = network.units[feed.feeder]
    port = feeder.ports[feed.at]
    most = 4 if feeder.unit.pse is None else feeder.unit.pse.class_max
    if not isinstance(port.classes, int):
        return None
    demands = [state.solution.demand(unit.index) for state in sheds.states.values()]
    need_w = max(max(demand.asked_w, demand.booked_w) for demand in demands)
    for kind in range(port.classes + 1, most + 1):
        site = _with_ports(network.site, feeder.name, {port.key: {"device_class": kind}})
        words = (f"{port.where(feeder)} (feed of {unit.name}): class from {port.classes} to {kind}",)
        change = _Change(
            site, feeder.name, words, (f"{unit.name} has to ask for class {kind}: check its data sheet.",)
        )
        solved = base_state(network_of(site), planned_load(network_of(site), state.case))
        after = solution_after(solved, state.result.failure)
        if after.standing(unit.index).budget_w >= need_w:
            return change
    return None


def _with_ports(site: Site, unit: str, updates: Mapping[str, Mapping[str, object]]) -> Site:
    ports: dict[str, Port] = dict(site.units[unit].ports)
    for key, update in updates.items():
        ports[key] = ports[key].model_copy(update=dict(update))
    return _with_unit(site, unit, site.units[unit].model_copy(update={"ports": ports}))


def _with_unit(site: Site, name: str, unit: Unit) -> Site:
    return site.model_copy(update={"units": {**site.units, name: unit}})
