"""Every limit of a plan in three states: normal running, all local AC lost, all PoE feeds lost; under each load.

A limit is held against the margin of normal running in the first state, and against the margin after a failure in
the other two. Classes of ports have no margin: what a class allows may be used up.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from portdraw.plan.load_case import Case
from portdraw.plan.planned_load import STEADY
from portdraw.plan.ports import sort_key
from portdraw.plan.site import Site
from portdraw.powerflow.failure import all_unbacked_ac
from portdraw.powerflow.limit_state import LimitKind, LimitState, limit_states
from portdraw.powerflow.load import DARK, planned_load
from portdraw.powerflow.network import Network, network_of
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.solve import solve
from portdraw.powerflow.state import NOTHING_OUT, Outage

_STEP = 1e-9
_LEG = re.compile(r" (on PoE feed|on the lesser leg)$")
_PORT = re.compile(r" port ([0-9/]+)(?: limit)?$")
_CLASS = re.compile(r"^class(?:es)? [0-9 and]+ of ")


class PowerState(StrEnum):
    """Which legs are there."""

    NORMAL = "normal"
    AC_LOST = "AC lost"
    FEED_LOST = "feed lost"


class Mark(StrEnum):
    """How a limit stands: kept, margin used, over, unknown, or not in play as nothing is on it."""

    KEPT = " "
    MARGIN = "*"
    OVER = "!"
    UNKNOWN = "?"
    NONE = "-"


@dataclass(frozen=True)
class MarginCell:
    """One limit in one state under one load. `found` None: nothing is on it; `dark`: as its unit has no power."""

    state: PowerState
    case: Case
    found: LimitState | None
    mark: Mark
    dark: bool = False


@dataclass(frozen=True)
class MarginRow:
    """One limit. `is_class`: it is what a class allows, which has no margin."""

    subject: str
    limit: str
    cells: tuple[MarginCell, ...]

    @property
    def is_class(self) -> bool:
        """Whether the limit is what a class allows."""
        return self.limit.startswith("class of ")

    def broken(self) -> Iterator[MarginCell]:
        """Yield where the limit or its margin is not kept."""
        yield from (cell for cell in self.cells if cell.mark in (Mark.MARGIN, Mark.OVER, Mark.UNKNOWN))


def limit_margins(site: Site, cases: Sequence[Case] = STEADY) -> tuple[MarginRow, ...]:
    """Work out every limit of a plan in each state, in the order of the file: units, then UPS and circuits."""
    network = network_of(site)
    states = _states(network)
    found: dict[tuple[str, str], dict[tuple[PowerState, Case], LimitState]] = {}
    solved: dict[tuple[PowerState, Case], Solution] = {}
    loads = {case: planned_load(network, case) for case in cases}
    for state, outage in states.items():
        for case, load in loads.items():
            solved[state, case] = solution = solve(network, load, outage)
            for limit in limit_states(solution):
                found.setdefault((limit.subject, _name(limit)), {})[state, case] = limit
    order = {name: place for place, name in enumerate((*site.units, *site.ups, *site.circuits))}
    return tuple(
        MarginRow(subject, limit, tuple(_cells(site, network, subject, limit, figures, solved)))
        for (subject, limit), figures in sorted(found.items(), key=lambda one: _order(order, *one[0]))
    )


def _order(order: Mapping[str, int], subject: str, limit: str) -> tuple[int, int, tuple[int, ...], bool]:
    """By the file; of a unit its budget first, then its ports as people count them, class before limit."""
    number = _PORT.search(limit)
    key = () if number is None else sort_key(number.group(1))
    return (order.get(subject, len(order)), 0 if number is None else 1, key, limit.endswith(" limit"))


def _states(network: Network) -> dict[PowerState, Outage]:
    everything = all_unbacked_ac(network)
    feeds = frozenset((unit.index, place) for unit in network.units for place in range(len(unit.feeds)))
    states = {PowerState.NORMAL: NOTHING_OUT}
    if everything is not None:
        states[PowerState.AC_LOST] = everything.outage
    if feeds:
        states[PowerState.FEED_LOST] = Outage(feeds=feeds)
    return states


def _name(limit: LimitState) -> str:
    """A limit's name without the leg or the class that holds in one state only."""
    if limit.kind is LimitKind.BUDGET:
        return _LEG.sub("", limit.limit)
    return _CLASS.sub("class of ", limit.limit)


def _cells(
    site: Site,
    network: Network,
    subject: str,
    limit: str,
    figures: dict[tuple[PowerState, Case], LimitState],
    solved: dict[tuple[PowerState, Case], Solution],
) -> Iterator[MarginCell]:
    for (state, case), solution in solved.items():
        found = figures.get((state, case))
        dark = subject in network.index and solution.power(network.index[subject]) == DARK
        percent = (
            site.policy.margin_percent if state is PowerState.NORMAL else site.policy.margin_after_failure_percent
        )
        is_class = limit.startswith("class of ")
        yield MarginCell(state, case, found, _mark(found, 0.0 if is_class else percent), dark)


def _mark(found: LimitState | None, margin_percent: float) -> Mark:
    if found is None:
        return Mark.NONE
    if found.reason and found.share == float("inf"):
        return Mark.UNKNOWN
    if found.over:
        return Mark.OVER
    return Mark.MARGIN if found.share > 1 - margin_percent / 100 + _STEP else Mark.KEPT
