"""The failure study of a plan under several loads, put together: one row a failure, worst first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import IntEnum

from portdraw.plan.load_case import Case
from portdraw.plan.planned_load import STEADY
from portdraw.plan.site import Site
from portdraw.powerflow.failure import Failure, FailureKind
from portdraw.powerflow.failure_result import FailureResult, Outcome
from portdraw.powerflow.failure_study import FailureStudy, Progress, study_failures
from portdraw.powerflow.limit_state import LimitKind, LimitState, limit_states
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.network import Network, network_of
from portdraw.powerflow.site_mend import SiteMend, site_mends
from portdraw.powerflow.state import NOTHING_OUT, Outage

LOADS: dict[str, tuple[Case, ...]] = {
    "typical": (Case.TYPICAL,),
    "night": (Case.NIGHT,),
    "frost": (Case.FROST_NIGHT,),
    "max": (Case.MAXIMUM,),
    "all": STEADY,
}
"""What `--load` may be, and the cases that it stands for."""

MOST_MENDED = 3  # failures for which a mend is looked for: each is worked out anew for every change


class Grade(IntEnum):
    """How bad a failure is over all loads; the order in which rows are shown."""

    BREAKS = 0
    MAY_BREAK = 1
    OVERLOADS = 2
    USES_MARGIN = 3
    SHEDS = 4
    DARKENS = 5
    FINE = 6


@dataclass(frozen=True)
class FailureRow:
    """One failure under every load that was studied."""

    failure: Failure
    results: tuple[tuple[Case, FailureResult], ...]

    @property
    def what(self) -> str:
        """The failure's name."""
        return self.failure.what

    @property
    def grade(self) -> Grade:
        """The worst that it does under any load."""
        return min(_grade(result) for _, result in self.results)

    @property
    def worst(self) -> tuple[Case, FailureResult]:
        """The load under which it does the worst."""
        return min(self.results, key=lambda pair: (_grade(pair[1]), _badness(pair[1])))

    @property
    def dark_count(self) -> int:
        """The most devices that it darkens, or may, under any load."""
        return max(len(result.dark_ports) + len(result.may_ports) for _, result in self.results)

    @property
    def finding(self) -> bool:
        """Whether the integrator has something to act on: a promise, a limit or a margin that is not kept."""
        return self.grade <= Grade.USES_MARGIN


def _grade(result: FailureResult) -> Grade:
    if result.verdict.outcome is Outcome.NOT_SURVIVED:
        return Grade.BREAKS
    if result.verdict.outcome is Outcome.MAY_NOT_SURVIVE:
        return Grade.MAY_BREAK
    if result.verdict.outcome is Outcome.SURVIVED and overloads(result):
        return Grade.OVERLOADS
    if result.verdict.outcome is Outcome.SURVIVED and result.dark_ports and result.degraded_numbers:
        return Grade.SHEDS
    if result.verdict.outcome is Outcome.SURVIVED and result.margin_used:
        return Grade.USES_MARGIN
    return Grade.DARKENS if result.dark_ports or result.may_ports else Grade.FINE


def overloads(result: FailureResult) -> tuple[LimitState, ...]:
    """Limits that stay over: what a unit sheds relieves its own budget, and nothing relieves a circuit or a UPS."""
    return tuple(found for found in result.over if found.kind is not LimitKind.BUDGET)


def _badness(result: FailureResult) -> tuple[int, int, float]:
    worst = 0.0 if result.worst is None else result.worst.share
    return (-len(result.dark_ports), -len(result.may_ports), -worst)


@dataclass(frozen=True)
class NormalCase:
    """Normal running under one load: every limit, the most used first, and devices that are dark even so."""

    case: Case
    limits: tuple[LimitState, ...]
    dark: tuple[str, ...]
    may_be_dark: tuple[str, ...]


@dataclass(frozen=True)
class SiteStudy:
    """The whole study. `studies` keep what each load was solved from, `rows` are worst first."""

    site: Site
    network: Network
    studies: tuple[tuple[Case, FailureStudy], ...]
    normal: tuple[NormalCase, ...]
    rows: tuple[FailureRow, ...]
    mends: tuple[tuple[FailureRow, tuple[SiteMend, ...]], ...]

    @property
    def cases(self) -> tuple[Case, ...]:
        """The loads that were studied."""
        return tuple(case for case, _ in self.studies)

    @property
    def margin_percent(self) -> float:
        """Share of every limit to be kept free in normal running."""
        return self.site.policy.margin_percent

    @property
    def margin_after_percent(self) -> float:
        """Share of every limit to be kept free after a failure."""
        return self.site.policy.margin_after_failure_percent

    @property
    def normal_findings(self) -> tuple[tuple[Case, LimitState], ...]:
        """Limits that are over, or use the margin, before anything fails."""
        keep = 1 - self.margin_percent / 100
        return tuple(
            (normal.case, limit)
            for normal in self.normal
            for limit in normal.limits
            if limit.over or (limit.share > keep + 1e-9 and limit.kind is not LimitKind.CLASS)
        )

    @property
    def findings(self) -> bool:
        """Whether there is anything to act on."""
        dark = any(normal.dark or normal.may_be_dark for normal in self.normal)
        return dark or bool(self.normal_findings) or any(row.finding for row in self.rows) or self.incomplete

    @property
    def incomplete(self) -> bool:
        """Whether the watts of any unit can't be known."""
        return bool(self.network.uncomputed)

    def assumed(self) -> tuple[str, ...]:
        """Every assumption that the figures rest on, each once."""
        found: dict[str, None] = {}
        for said in self.network.assumed.values():
            found.update(dict.fromkeys(said))
        for _, study in self.studies:
            for unit in study.load.units:
                found.update(dict.fromkeys(unit.assumed))
        return tuple(found)

    def reasons(self) -> tuple[str, ...]:
        """Why devices can't be powered as drawn, or watts can't be known, each once."""
        found: dict[str, None] = dict.fromkeys(self.network.uncomputed.values())
        for _, study in self.studies:
            for unit in study.load.units:
                found.update(dict.fromkeys(unit.reasons.values()))
            solved = study.base.likely
            for at in range(len(self.network.units)):
                found.update(dict.fromkeys(solved.demand(at).reasons))
        return tuple(found)


def study_site(
    site: Site,
    cases: Sequence[Case] = STEADY,
    *,
    pairs: bool = False,
    outage: Outage = NOTHING_OUT,
    mend: bool = True,
    progress: Progress | None = None,
) -> SiteStudy:
    """Study every failure of a plan under each load. `progress` is told how many of how many are done."""
    network = network_of(site)

    def of_all(place: int) -> Progress | None:
        if progress is None:
            return None
        return lambda done, count: progress(place * count + done, len(cases) * count)

    studies = tuple(
        (case, study_failures(network, planned_load(network, case), outage, pairs=pairs, progress=of_all(place)))
        for place, case in enumerate(cases)
    )
    rows = sorted(_rows(studies), key=_order)
    broken = [row for row in rows if row.grade in (Grade.BREAKS, Grade.MAY_BREAK)][:MOST_MENDED] if mend else []
    survived = {
        case: frozenset(one.what for one in study.results if one.verdict.outcome is Outcome.SURVIVED)
        for case, study in studies
    }
    return SiteStudy(
        site=site,
        network=network,
        studies=studies,
        normal=tuple(_normal(case, study) for case, study in studies),
        rows=tuple(rows),
        mends=tuple((row, site_mends(network, row.failure, cases, survived)) for row in broken),
    )


def _rows(studies: Sequence[tuple[Case, FailureStudy]]) -> Iterator[FailureRow]:
    for place, result in enumerate(studies[0][1].results):
        yield FailureRow(result.failure, tuple((case, study.results[place]) for case, study in studies))


def _order(row: FailureRow) -> tuple[int, int, int, tuple[int, int, float]]:
    """Worst first, all that is lost at once before a single thing; what is fine stays in the file's order."""
    if row.grade is Grade.FINE:
        return (row.grade, 0, 0, (0, 0, 0.0))
    all_at_once = 0 if row.failure.kind is FailureKind.ALL_UNBACKED_AC else 1
    return (row.grade, all_at_once if row.finding else 0, -row.dark_count, _badness(row.worst[1]))


def _normal(case: Case, study: FailureStudy) -> NormalCase:
    limits = sorted(limit_states(study.base.likely), key=lambda limit: limit.share, reverse=True)
    once = {(limit.subject, limit.limit): limit for limit in reversed(limits)}
    return NormalCase(case, tuple(reversed(once.values())), study.dark, study.may_be_dark)
