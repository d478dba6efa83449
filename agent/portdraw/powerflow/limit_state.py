"""Every limit on the way up in a solved state: what flows, what is set aside, and what it has.

Watts where the limit is measured: ports, budgets and supply modules at the PSE output, circuits and UPS at AC.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from enum import StrEnum
from typing import NamedTuple

from portdraw.plan.site import Site
from portdraw.powerflow.load import DARK
from portdraw.powerflow.network import NetUnit
from portdraw.powerflow.port_link import class_pse_w
from portdraw.powerflow.shedding import STEP_W
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.source_load import source_watts
from portdraw.powerflow.unit_flow import CarriedBy

_INFINITE = float("inf")


class LimitKind(StrEnum):
    """What a limit is of."""

    BUDGET = "unit budget"
    CLASS = "class"
    PORT = "port limit"
    UPS = "UPS rating"
    CIRCUIT = "AC circuit"


class LimitState(NamedTuple):
    """One limit. `drawn_w` is asked before anything is shed, `booked_w` set aside; it binds when either is over.

    `limit_w` infinite: the file gives none, and `reason` says so. That counts as the worst.
    """

    subject: str
    limit: str
    drawn_w: float
    booked_w: float
    limit_w: float
    kind: LimitKind
    reason: str = ""

    @property
    def need_w(self) -> float:
        """The larger of both ledgers."""
        return self.drawn_w if self.drawn_w >= self.booked_w else self.booked_w

    @property
    def share(self) -> float:
        """Need against limit; 1.0 is used up."""
        need_w = self.drawn_w if self.drawn_w >= self.booked_w else self.booked_w
        if self.limit_w <= 0:
            return _INFINITE if need_w > STEP_W else 0.0
        return _INFINITE if self.limit_w == _INFINITE and self.reason else need_w / self.limit_w

    @property
    def short_w(self) -> float:
        """Watts that are lacking."""
        return max(0.0, self.need_w - self.limit_w)

    @property
    def over(self) -> bool:
        """Whether the limit binds."""
        return self.need_w > self.limit_w + STEP_W


def limit_states(solution: Solution, units: Iterable[int] | None = None) -> Iterator[LimitState]:
    """All limits of a state, or those of some units and of the sources above them."""
    network = solution.network
    wanted = range(len(network.units)) if units is None else units
    sources: dict[str, None] = {}
    for at in wanted:
        unit = network.units[at]
        yield from unit_limits(solution, unit)
        for source in unit.sources:
            sources[source] = None
    if units is None:
        sources = dict.fromkeys((*network.site.ups, *network.site.circuits))
    yield from source_limits(solution, sources)


def unit_limits(solution: Solution, unit: NetUnit) -> Iterator[LimitState]:
    """The unit's budget, and class and limit of each port that feeds it."""
    standing, demand = solution.standing(unit.index), solution.demand(unit.index)
    if standing.leg is CarriedBy.NONE or (solution.power(unit.index) == DARK and not demand.feeds):
        return
    if unit.ports:
        yield budget_limit(solution, unit)
    for place, ask in enumerate(demand.feeds):
        if standing.feeds[place] == 0 or ask.pd_w == 0:
            continue
        feed = unit.feeds[place]
        feeder = solution.network.units[feed.feeder]
        port = feeder.ports[feed.at]
        grant = solution.standing(feed.feeder).grant
        classes = grant.classes[feed.at]
        said = f"classes {classes[0]} and {classes[1]}" if isinstance(classes, tuple) else f"class {classes}"
        where = f"{feeder.name} port {port.key}"
        booked_w = grant.booked_w[feed.at] if grant.booked_w else ask.most_w
        asked_w = ask.most_w if ask.can else float("inf")
        reason = ask.reason or ""
        yield LimitState(
            feeder.name, f"{said} of {where}", asked_w, asked_w, class_pse_w(classes), LimitKind.CLASS, reason
        )
        limit_w = None if feeder.unit.pse is None else feeder.unit.pse.port_limit_w
        if limit_w is not None:
            yield LimitState(feeder.name, f"{where} limit", asked_w, booked_w, limit_w, LimitKind.PORT, reason)


def budget_limit(solution: Solution, unit: NetUnit) -> LimitState:
    """What all ports of a unit ask together, and what it may give on the leg that it stands on."""
    standing, demand = solution.standing(unit.index), solution.demand(unit.index)
    reason = solution.network.uncomputed.get(unit.index, "")
    name = budget_name(unit, standing.leg)
    return LimitState(unit.name, name, demand.asked_w, demand.booked_w, standing.budget_w, LimitKind.BUDGET, reason)


def source_limits(solution: Solution, sources: Iterable[str]) -> Iterator[LimitState]:
    """The limits of circuits and UPS. They are findings: the study trips nothing."""
    site = solution.network.site
    for name in sources:
        if name in solution.outage.sources:
            continue
        drawn_w, booked_w = source_watts(solution, name)
        if name in site.ups:
            yield source_limit(site, name, drawn_w, booked_w)
            circuit = site.ups[name].input
            if circuit not in solution.outage.sources:
                yield source_limit(site, circuit, *source_watts(solution, circuit))
        elif name in site.circuits:
            yield source_limit(site, name, drawn_w, booked_w)


def source_limit(site: Site, name: str, drawn_w: float, booked_w: float) -> LimitState:
    """The limit of one circuit or UPS, from what it gives [W]."""
    if name in site.ups:
        return LimitState(name, f"{name} rating", drawn_w, booked_w, site.ups[name].rating_w, LimitKind.UPS)
    limit_w = site.circuits[name].limit_w
    return LimitState(name, f"circuit {name}", drawn_w, booked_w, limit_w, LimitKind.CIRCUIT)


def budget_name(unit: NetUnit, leg: CarriedBy) -> str:
    """How a unit's budget is called, by the leg that it holds on."""
    if not unit.sources:
        return f"{unit.name} budget"
    return f"{unit.name} budget" + {CarriedBy.FEED: " on PoE feed", CarriedBy.EITHER: " on the lesser leg"}.get(
        leg, ""
    )
