"""What a site does when power comes back, and when it goes: the courses worth looking at, under each load."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.powerflow.changeover import Changeover, study_changeover
from portdraw.powerflow.failure import Failure, FailureKind, all_unbacked_ac, single_failures
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.network import Network, network_of
from portdraw.powerflow.restart import RETRY_S, Restart, study_restart
from portdraw.powerflow.start_up import start_up_of
from portdraw.powerflow.state import NOTHING_OUT

STEADY = (Case.TYPICAL, Case.NIGHT, Case.FROST_NIGHT)
ALL_BACK = "everything was dark, all power comes back"
BACKED_BACK = "everything was dark, local AC without a generator stays out"


class UnknownFailureError(ValueError):
    """No failure of the site has this name; the message says which are alike."""


@dataclass(frozen=True, slots=True)
class RestartRow:
    """One course under one load. `changeover` is the step that the failure forced before, None where none did."""

    what: str
    case: Case
    restart: Restart
    changeover: Changeover | None


@dataclass(frozen=True, slots=True)
class StepRow:
    """The change of legs that one failure forces, under each load."""

    what: str
    cases: tuple[tuple[Case, Changeover], ...]

    @property
    def worst(self) -> tuple[Case, Changeover]:
        """The load under which most devices lose power, else the one that lacks most watts or is most loaded."""
        return max(self.cases, key=lambda one: step_gravity(one[1]))


@dataclass(frozen=True, slots=True)
class SiteRestart:
    """All courses, in the order in which they are told; `steps` are the changes of legs, one for each failure."""

    site: Site
    network: Network
    rows: tuple[RestartRow, ...]
    steps: tuple[StepRow, ...]

    @property
    def findings(self) -> bool:
        """Whether any course exceeds a limit, turns in a loop, or leaves a device out of service."""
        return any(not row.restart.fine for row in self.rows)

    @property
    def worst(self) -> RestartRow:
        """The course to look at: the one that lacks most watts, else the one that takes longest."""
        return max(self.rows, key=row_gravity)

    @property
    def assumed(self) -> tuple[str, ...]:
        """All that the courses rest on undeclared."""
        lines = [line for row in self.rows for line in row.restart.course.assumed]
        lines.extend(line for said in self.network.assumed.values() for line in said)
        return tuple(dict.fromkeys(lines))


def study_restarts(
    site: Site, cases: Sequence[Case] = STEADY, after: str | None = None, retry_s: float | None = RETRY_S
) -> SiteRestart:
    """Follow the site's start after everything was dark and after all unbacked AC was lost; or after one failure.

    The changes of legs before are those of every AC circuit and of all unbacked AC; or of the one failure.
    `after` names a failure as the failure study does. Raises UnknownFailureError for another name.
    """
    network = network_of(site)
    everything = all_unbacked_ac(network)
    steps: dict[str, list[tuple[Case, Changeover]]] = {}
    circuits = [one for one in single_failures(network) if one.kind is FailureKind.CIRCUIT] if after is None else []
    rows: list[RestartRow] = []
    for case in cases:
        start_up = start_up_of(network, planned_load(network, case))
        for circuit in circuits:
            steps.setdefault(circuit.what, []).append((case, study_changeover(network, start_up, circuit)))
        if after is None:
            rows.append(RestartRow(ALL_BACK, case, study_restart(network, start_up, retry_s=retry_s), None))
            if everything is None:
                continue
            failure = everything
            if any(unit.sources for unit in network.units if _on_backed(unit.sources, failure)):
                backed = study_restart(network, start_up, None, failure.outage, retry_s=retry_s)
                rows.append(RestartRow(BACKED_BACK, case, backed, None))
        else:
            failure = failure_named(network, after)
        restart = study_restart(network, start_up, failure, NOTHING_OUT, retry_s=retry_s)
        step = study_changeover(network, start_up, failure)
        steps.setdefault(failure.what, []).append((case, step))
        rows.append(RestartRow(f"{failure.what} comes back", case, restart, step))
    order = list(dict.fromkeys(row.what for row in rows))
    found = tuple(StepRow(what, tuple(cases)) for what, cases in steps.items())
    return SiteRestart(site, network, tuple(sorted(rows, key=lambda row: order.index(row.what))), found)


_PLAIN = (FailureKind.CIRCUIT, FailureKind.PANEL, FailureKind.INCOMER, FailureKind.UPS_INPUT, FailureKind.UNIT)
"""What a plain name may stand for; the names of all these are unique in a site."""


def failure_named(network: Network, name: str) -> Failure:
    """The failure of that name, or of a plain name: the circuit, panel, incomer, UPS or unit that is called so.

    Raises UnknownFailureError where there is none.
    """
    failures = list(single_failures(network))
    everything = all_unbacked_ac(network)
    if everything is not None:
        failures.append(everything)
    wanted = name.strip().casefold()
    for failure in failures:
        if wanted in (failure.what.casefold(), f"{failure.kind.value} {failure.subject}".casefold()):
            return failure
    for kind in _PLAIN:
        for failure in failures:
            if failure.kind is kind and failure.subject.casefold() == wanted:
                return failure
    alike = [failure.what for failure in failures if wanted in failure.what.casefold()]
    some = alike[:8] or [failure.what for failure in failures[:4]]
    raise UnknownFailureError(
        f"no failure is called {name!r}; there are {', '.join(some)} and so on. A circuit, panel, incomer, UPS or "
        "unit may be given by its name alone; else write the failure as `portdraw failures` names it"
    )


def _on_backed(sources: tuple[str, ...], failure: Failure) -> bool:
    return any(source not in failure.outage.sources for source in sources)


def row_gravity(row: RestartRow) -> tuple[bool, float, float]:
    """Sorts courses from fine to worst: not fine, then watts short, then how long they take."""
    course = row.restart.course
    short_w = max((peak.limit.short_w for peak in course.peaks.values()), default=0.0)
    return (not row.restart.fine, short_w, course.full_service_s or course.end_s)


def step_gravity(step: Changeover) -> tuple[int, int, float, float]:
    """Sorts changes of legs from fine to worst: devices dark for good, for a time, watts short, share."""
    limits = [limit for stage in step.stages for limit in stage.limits]
    return (
        sum(one.seconds is None for one in step.dark_for),
        len(step.dark_for),
        max((limit.short_w for limit in limits), default=0.0),
        max((limit.share for limit in limits), default=0.0),
    )
