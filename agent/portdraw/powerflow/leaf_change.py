"""Failures that strike only units with no unit below them, where nothing above has to shed: worked out directly.

Each struck unit is worked out on its own, and what it asks more or less is added up to the top. Anything else (a unit
above that sheds, volts that are shared, ports set aside by class, what is known within bounds only, a leg that is not
known, a unit that sheds more than it did) is left to the whole way; both come to the same.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from portdraw.powerflow.coupled import Sweep
from portdraw.powerflow.demand import Demand, FeedAsk
from portdraw.powerflow.load import DARK, SURE
from portdraw.powerflow.network import NetUnit
from portdraw.powerflow.shedding import STEP_W
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.standing import Standing, standing_of
from portdraw.powerflow.state import Outage
from portdraw.powerflow.unit_flow import CarriedBy

_SETS_ASIDE = ("newest-first", "refuse-newcomers")


class LeafAnswer(NamedTuple):
    """How one unit comes through a failure. `asks` of its feeders: (feeder, before, now) where that differs."""

    standing: Standing
    demand: Demand
    power: int
    asks: tuple[tuple[int, FeedAsk, FeedAsk], ...]


class LeafChange:
    """Solves such failures on top of one solution; what each unit answers to lost supplies is kept."""

    def __init__(self, base: Solution) -> None:
        self._base, self._network, self._load = base, base.network, base.load
        self._sweep = Sweep(base, base.answers)
        self._answers: dict[tuple[int, frozenset[tuple[int, int]]], LeafAnswer | None] = {}
        outage = base.outage
        out_of_reach = outage.off_ports or outage.unsure_feeds or outage.unsure_ports or outage.newly_on
        shed_on_the_way = base.outage is not base.asked
        self.applies = base.load.exact and not base.bounds and not base.open
        self.applies = self.applies and not (self._network.volts_shared or out_of_reach or shed_on_the_way)

    def solve(self, lost: Outage, outage: Outage, hit: Iterable[int]) -> Solution | None:
        """The state after `lost`, `outage` in all; None where it has to be worked out the whole way."""
        if not self.applies or lost.off_ports or lost.unsure_feeds or lost.unsure_ports or lost.newly_on:
            return None
        base = self._base
        found = Solution(self._network, self._load, outage, base, bounds=False)
        by_supplies = not (lost.feeds or lost.units or lost.controllers or lost.sources)
        asks: dict[int, list[tuple[FeedAsk, FeedAsk]]] = {}
        for at in hit:
            answer = self._kept(at, lost, outage) if by_supplies else self._answer(at, outage)
            if answer is None:
                return None
            found.keep(at, answer.standing, answer.demand, answer.power)
            for feeder, was, now in answer.asks:
                asks.setdefault(feeder, []).append((was, now))
        touched = set(hit)
        while asks:
            at = min(asks)
            demand = self._above(self._network.units[at], asks.pop(at))
            if demand is None:
                return None
            found.found_demands[at] = demand
            touched.add(at)
            for place, (was, now) in enumerate(zip(base.demand(at).feeds, demand.feeds, strict=True)):
                if now != was:
                    asks.setdefault(self._network.units[at].feeds[place].feeder, []).append((was, now))
        found.touched = tuple(sorted(touched))
        return found

    def _kept(self, at: int, lost: Outage, outage: Outage) -> LeafAnswer | None:
        supplies = lost.supplies
        if len(supplies) > 1:
            supplies = frozenset([one for one in supplies if one[0] == at])
        key = (at, supplies)
        if key not in self._answers:
            self._answers[key] = self._answer(at, outage)
        return self._answers[key]

    def _answer(self, at: int, outage: Outage) -> LeafAnswer | None:
        base, unit = self._base, self._network.units[at]
        for feed in unit.feeds:
            feeder = self._network.units[feed.feeder]
            if feeder.admission != "drawn" or feeder.rule in _SETS_ASIDE:
                return None
        before, had = base.standing(at), base.demand(at)
        load = self._load
        now = standing_of(
            self._network,
            load.units[at],
            load.granted_w,
            outage,
            unit,
            base.standing,
            before,
            _never,
            base.patient,
            base.bounds,
        )
        if now.open_leg:
            return None
        if unit.feed_ports:
            return LeafAnswer(before, had, base.power(at), ()) if now == before else None
        demand = self._sweep.answer(unit, now)
        if had.cut and not now.restarted and not demand.cut <= had.cut:
            return None
        power = self._power(unit, now, demand)
        if power is None:
            return None
        asks = [
            (unit.feeds[place].feeder, was, ask)
            for place, (was, ask) in enumerate(zip(had.feeds, demand.feeds, strict=True))
            if was != ask
        ]
        return LeafAnswer(now, demand, power, tuple(asks))

    def _power(self, unit: NetUnit, standing: Standing, demand: Demand) -> int | None:
        """Whether the unit has power; None where the feed that it stands on is not sure."""
        if standing.leg is CarriedBy.NONE:
            return DARK
        if standing.leg is CarriedBy.AC:
            return SURE
        for place in range(len(unit.feeds)) if unit.shared_feeds else (standing.first,):
            feed = unit.feeds[place]
            if min(standing.feeds[place], demand.feeds[place].can, self._base.power(feed.feeder)) != SURE:
                return None
            if self._base.port_state(feed.feeder, feed.at) != SURE:
                return None
        return SURE

    def _above(self, unit: NetUnit, asks: list[tuple[FeedAsk, FeedAsk]]) -> Demand | None:
        """What a unit above is asked then; None where it sheds, or did."""
        standing, was = self._base.standing(unit.index), self._base.demand(unit.index)
        grant = standing.grant
        if not standing.gives or grant.booked_w or grant.refused or was.may_cut or was.may_drop:
            return None
        more_w = sum([now.most_w - ask.most_w for ask, now in asks])
        more_least_w = sum([now.least_w - ask.least_w for ask, now in asks])
        asked_w = was.asked_w + more_w
        if asked_w > standing.budget_w + STEP_W:
            return None
        least_w = was.asked_least_w + more_least_w
        demand = was._replace(
            asked_least_w=least_w, asked_w=asked_w, booked_w=asked_w,
            served_least_w=least_w, served_w=asked_w, served_booked_w=asked_w,
        )  # fmt: skip
        if standing.leg is CarriedBy.AC or not unit.feeds:
            return demand
        demand = self._sweep.with_asks(unit, standing, demand)
        return None if self._power(unit, standing, demand) is None else demand


def _never(feeder: int) -> bool:
    """No feeder restarts where only units without units below them are struck."""
    return False
