"""Changes to the site file that would mend a failure, each tried out on the whole site under every load.

Four kinds: what is undeclared, declared at its best; one port's priority, by one step, that keeps the most critical
devices; the priorities of the unit that sheds, put in the order of what hangs below; and watts, as another supply
module or a higher class for the feed. What keeps the promise comes first, then what only helps. Nothing is proposed
that was not worked out with the change made.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.powerflow.failure import Failure, FailureKind, all_unbacked_ac, single_failures
from portdraw.powerflow.failure_result import FailureResult, Outcome
from portdraw.powerflow.failure_study import base_state, solution_after, study_failures, study_one
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.network import Network, network_of
from portdraw.powerflow.shedding_unit import SheddingUnit
from portdraw.powerflow.site_change import FailedState, SiteChange, failed_state, higher_class, more_modules
from portdraw.powerflow.site_declaration import ALL, FED, OTHERS, Score, declaration

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
    """One proposed change, as sentences, and what it does. `unit` is the one that has to shed.

    `notes` say what has to be known or agreed first.
    """

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
    states = {case: failed_state(network, failure, case) for case in cases}
    broken = {case: state for case, state in states.items() if not _holds(state.result)}
    if not broken:
        return ()
    worst = max(broken.values(), key=lambda state: (len(state.result.verdict.broken_by), len(state.result.dark)))
    touched = tuple(dict.fromkeys(at for state in states.values() for at in reversed(state.result.touched_numbers)))
    for groups in (FED, OTHERS, ALL):
        if any(mend.mends for mend in found):
            break
        said = declaration(network, touched, groups, _badness(worst.result), partial(_badness_of, failure, worst))
        mend = None if said is None else _tried(network, failure, states, said, network.index[said.unit], survived)
        if mend is not None and all(mend.changes != one.changes for one in found):
            found.append(mend)
    shedding = dict.fromkeys(at for state in (worst, *broken.values()) for at in state.shedding())
    for at in list(shedding)[:_MOST_UNITS]:
        sheds = SheddingUnit(network, at, states, worst)
        for change in (
            sheds.least_step(),
            sheds.by_criticality(),
            more_modules(network, at, states),
            higher_class(network, at, states, worst),
        ):
            if change is None:
                continue
            mend = _tried(network, failure, states, change, at, survived)
            if mend is not None:
                found.append(mend)
    return tuple(sorted(found, key=lambda mend: not mend.mends))


def _badness_of(failure: Failure, state: FailedState, site: Site) -> Score:
    """How bad the failure is under the same load with another site file."""
    network = network_of(site)
    same = _same_failure(network, failure)
    assert same is not None  # the same things can fail, whatever is declared of them
    return _badness(study_one(base_state(network, planned_load(network, state.case)), same))


def _badness(result: FailureResult) -> Score:
    order = {Outcome.NOT_SURVIVED: 2, Outcome.MAY_NOT_SURVIVE: 1}
    return (order.get(result.verdict.outcome, 0), len(result.dark_ports), len(result.may_ports))


def _holds(result: FailureResult) -> bool:
    return result.verdict.outcome in (Outcome.SURVIVED, Outcome.NOT_JUDGED)


def _tried(
    network: Network,
    failure: Failure,
    states: Mapping[Case, FailedState],
    change: SiteChange,
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


def _weak_points(network: Network, change: SiteChange) -> Iterator[str]:
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
