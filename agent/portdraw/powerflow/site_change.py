"""Changes to a site file: ports, supply modules, classes; and the state after a failure, which asks for them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from portdraw.plan.load_case import Case
from portdraw.plan.site import Port, Site, Unit
from portdraw.powerflow.failure import Failure
from portdraw.powerflow.failure_result import FailureResult, Place
from portdraw.powerflow.failure_study import base_state, solution_after, study_one
from portdraw.powerflow.load import DARK, planned_load
from portdraw.powerflow.network import Network, network_of
from portdraw.powerflow.solution import Solution

_ORDINALS = ("", "", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")
_MOST_MODULES = 4


@dataclass(frozen=True, slots=True)
class FailedState:
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
class SiteChange:
    site: Site
    unit: str
    words: tuple[str, ...]
    notes: tuple[str, ...] = ()


def failed_state(network: Network, failure: Failure, case: Case) -> FailedState:
    base = base_state(network, planned_load(network, case))
    return FailedState(case, study_one(base, failure), solution_after(base, failure), base.dark)


def more_modules(network: Network, at: int, states: Mapping[Case, FailedState]) -> SiteChange | None:
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
    return SiteChange(with_unit(network.site, name, changed), name, (words,))


def higher_class(
    network: Network, at: int, states: Mapping[Case, FailedState], worst: FailedState
) -> SiteChange | None:
    """The lowest higher class for the feed that a unit stands on, where its feeder can grant it."""
    unit = network.units[at]
    standing = worst.solution.standing(unit.index)
    if any(standing.supplies) or standing.first < 0:
        return None
    feed = unit.feeds[standing.first]
    feeder = network.units[feed.feeder]
    port = feeder.ports[feed.at]
    most = 4 if feeder.unit.pse is None else feeder.unit.pse.class_max
    if not isinstance(port.classes, int):
        return None
    demands = [state.solution.demand(unit.index) for state in states.values()]
    need_w = max(max(demand.asked_w, demand.booked_w) for demand in demands)
    for kind in range(port.classes + 1, most + 1):
        site = with_ports(network.site, feeder.name, {port.key: {"device_class": kind}})
        words = (f"{port.where(feeder)} (feed of {unit.name}): class from {port.classes} to {kind}",)
        change = SiteChange(
            site, feeder.name, words, (f"{unit.name} has to ask for class {kind}: check its data sheet.",)
        )
        solved = base_state(network_of(site), planned_load(network_of(site), worst.case))
        after = solution_after(solved, worst.result.failure)
        if after.standing(unit.index).budget_w >= need_w:
            return change
    return None


def with_ports(site: Site, unit: str, updates: Mapping[str, Mapping[str, object]]) -> Site:
    ports: dict[str, Port] = dict(site.units[unit].ports)
    for key, update in updates.items():
        ports[key] = ports[key].model_copy(update=dict(update))
    return with_unit(site, unit, site.units[unit].model_copy(update={"ports": ports}))


def with_unit(site: Site, name: str, unit: Unit) -> Site:
    return site.model_copy(update={"units": {**site.units, name: unit}})
