"""The maintenance sheet: what is on one leg while something is switched off, and what must not go meanwhile."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from dataclasses import dataclass

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.powerflow.failure import Failure, FailureKind, single_failures
from portdraw.powerflow.failure_result import FailureResult
from portdraw.powerflow.failure_study import study_failures, study_one
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.network import NetUnit, Network, network_of
from portdraw.reporting.plain_text import plain
from portdraw.reporting.studies.site_study import FailureRow

_ACTION = re.compile(
    r"^(?:(?:switch(?:ing)?|turn(?:ing)?|tak(?:e|ing))\s+(?:off|out)|(?:open|isolat|unplug|restart|reboot|updat|replac)\w*)\s+",
    re.IGNORECASE,
)
_RESTARTS = re.compile(r"^(?:restart|reboot|updat)", re.IGNORECASE)
_KINDS = {
    "unit": FailureKind.UNIT,
    "circuit": FailureKind.CIRCUIT,
    "panel": FailureKind.PANEL,
    "incomer": FailureKind.INCOMER,
    "ups": FailureKind.UPS_FLAT,
    "input of": FailureKind.UPS_INPUT,
    "supply of": FailureKind.SUPPLY_MODULE,
    "feed of": FailureKind.FEEDER_PORT,
    "feed cable of": FailureKind.FEED_CABLE,
    "controller of": FailureKind.CONTROLLER_RESTART,
}
_SUGGESTED = 3


class ActionError(Exception):
    """An action that can't be understood; the text is one sentence."""


@dataclass(frozen=True)
class Danger:
    """A failure that darkens more while the work goes on than it would otherwise, under each load."""

    failure: Failure
    cases: tuple[tuple[Case, FailureResult, tuple[str, ...]], ...]

    @property
    def more(self) -> tuple[str, ...]:
        """Devices that it darkens, or may, only because of the work, under any load."""
        return tuple(dict.fromkeys(name for _, _, names in self.cases for name in names))


@dataclass(frozen=True)
class MaintenanceSheet:
    """One planned piece of work. `row` is what it does by itself, `dangers` what must not fail meanwhile.

    `dead_when` lists the legs that all have to be off before the thing is dead.
    """

    site: Site
    network: Network
    action: str
    row: FailureRow
    dangers: tuple[Danger, ...]
    dead_when: tuple[str, ...]

    @property
    def cases(self) -> tuple[Case, ...]:
        """The loads that were worked out."""
        return tuple(case for case, _ in self.row.results)

    @property
    def findings(self) -> bool:
        """Whether the work darkens anything, or leaves something that would go dark at the next failure."""
        return bool(self.dangers) or bool(self.row.dark_count)


def maintenance_sheet(site: Site, action: str, cases: Sequence[Case]) -> MaintenanceSheet:
    """Work out a planned piece of work. Raises ActionError where its words name nothing that can be switched off."""
    network = network_of(site)
    failure = failure_of(network, action)
    rows: list[tuple[Case, FailureResult]] = []
    found: dict[str, tuple[Failure, list[tuple[Case, FailureResult, tuple[str, ...]]]]] = {}
    for case in cases:
        load = planned_load(network, case)
        usual = study_failures(network, load)
        rows.append((case, study_one(usual.base, failure)))
        before = {result.what: {*result.dark, *result.may_go_dark} for result in usual.results}
        meanwhile = study_failures(network, load, failure.outage)
        gone = {*meanwhile.dark, *meanwhile.may_be_dark}
        for result in meanwhile.results:
            if result.failure.kind is FailureKind.PAIR:
                continue
            now = (*result.dark, *result.may_go_dark)
            more = tuple(name for name in now if name not in gone and name not in before.get(result.what, set()))
            if more:
                found.setdefault(result.what, (result.failure, []))[1].append((case, result, more))
    dangers = [Danger(failure, tuple(told)) for failure, told in found.values()]
    dangers.sort(key=lambda danger: -len(danger.more))
    return MaintenanceSheet(
        site=site,
        network=network,
        action=plain(action),
        row=FailureRow(failure, tuple(rows)),
        dangers=tuple(dangers),
        dead_when=tuple(_dead_when(network, failure)),
    )


def failure_of(network: Network, action: str) -> Failure:
    """Return what an action switches off: "switch off north-pier", "switch off circuit pier-7", "feed of berth-1"."""
    said = " ".join(action.split())
    wanted = _ACTION.sub("", said).strip()
    restarts = bool(_RESTARTS.match(said))
    singles = single_failures(network)
    for failure in singles:
        if wanted in (failure.what, f"the {failure.what}"):
            return failure
    word, kind = _kind_of(wanted)
    name = wanted[len(word) :].strip() if word else wanted
    for failure in singles:
        if wanted and _port_of(failure) == wanted:
            return failure
        same_kind = kind is None or failure.kind is kind
        if failure.subject == name and same_kind and (kind is not None or failure.kind in _PLAIN):
            return failure
    names = list(dict.fromkeys(failure.subject for failure in singles))
    near = difflib.get_close_matches(name, names, _SUGGESTED, 0.5)
    what = "restart" if restarts else "switch off"
    hint = f"; did you mean {' or '.join(near)}?" if near else ""
    raise ActionError(
        f"--before {plain(said)!r} is not understood: the site has no unit, circuit, panel, incomer or UPS called "
        f'{plain(name)!r}{hint}. Write "{what} NAME", "switch off circuit NAME", "switch off feed of UNIT" or '
        '"switch off UNIT port 3".'
    )


_PLAIN = (FailureKind.UNIT, FailureKind.CIRCUIT, FailureKind.PANEL, FailureKind.INCOMER, FailureKind.UPS_FLAT)


def _kind_of(wanted: str) -> tuple[str, FailureKind | None]:
    for word in sorted(_KINDS, key=len, reverse=True):
        if wanted.lower().startswith(f"{word} "):
            return wanted[: len(word)], _KINDS[word]
    return "", None


def _port_of(failure: Failure) -> str:
    return failure.what.partition(",")[0] if failure.kind is FailureKind.FEEDER_PORT else ""


def _dead_when(network: Network, failure: Failure) -> list[str]:
    """What has to be off before the thing that is worked on is dead: every leg of every unit that it takes."""
    if failure.kind not in (FailureKind.UNIT, FailureKind.CONTROLLER_RESTART):
        return []
    return legs_of(network, network.units[network.index[failure.subject]])


def legs_of(network: Network, unit: NetUnit) -> list[str]:
    """Return each leg of a unit in words: where it is switched off, and by whom."""
    found: list[str] = []
    for source in dict.fromkeys(unit.sources):
        circuit = network.site.circuits.get(source)
        if circuit is None:
            found.append(f"AC from UPS {source}: it stays live when its own input is off")
            continue
        keeper = f"; keeper: {circuit.keeper}" if circuit.keeper else ""
        call = f", {circuit.keeper_call}" if circuit.keeper_call else ""
        others = [network.units[at].name for at in network.on_source.get(source, ()) if at != unit.index]
        beside = f"; also on it: {', '.join(others)}, so use the unit's own plug or switch" if others else ""
        where = f"circuit {source}, panel {circuit.panel}, breaker {circuit.breaker}"
        found.append(f"local AC: {where}{keeper}{call}{beside}")
    for feed in unit.feeds:
        feeder = network.units[feed.feeder]
        found.append(
            f"PoE feed: {feeder.name} port {feeder.ports[feed.at].key}, turned off in that switch's management"
        )
    return found
