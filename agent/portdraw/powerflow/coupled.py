"""From the leaves up: what every unit asks of its feeds. Units whose ports follow their input are swept.

A unit with regulated outputs asks the same whatever its input volts are; one pass is enough. The ports of any
other unit have the volts of its input, which depend on what its ports ask: the sweep goes up with watts and down
with volts, from full volts and least watts, until the volts stand still. What then can't be powered is off for
good, and the sweep begins anew without it; so it ends. Volts that never settle mean no operating point.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable

from portdraw.electrical.cable import Refusal
from portdraw.powerflow.demand import (
    NO_DROPS,
    NO_PORTS,
    Demand,
    Drops,
    FeedAsk,
    Volts,
    all_open,
    held_to_limit,
    summed_ports,
)
from portdraw.powerflow.line import Line
from portdraw.powerflow.load import DARK, MAY, SURE
from portdraw.powerflow.network import NetUnit
from portdraw.powerflow.port_link import class_pse_w
from portdraw.powerflow.solution import Kept, Solution
from portdraw.powerflow.standing import Standing
from portdraw.powerflow.unit_flow import CarriedBy

_ANSWERS = 4  # kept for a unit: on AC, on its feed, on what is left of its supplies
_ROUNDS = 200
_SETTLED_V = 1e-8
_GONE = FeedAsk(0.0, 0.0, DARK, False, 0.0, None, None, 0.0, None)


class Sweep:
    """Works the demands of some units out into `found`; all others are read through `demand`."""

    def __init__(self, solution: Solution, kept: Kept) -> None:
        self._solution, self._kept = solution, kept
        self._network, self._load, self._outage = solution.network, solution.load, solution.outage
        self._bounds, self._standing, self._found = solution.bounds, solution.standing, solution.found_demands
        self._volts: dict[int, Volts] = {}
        self._drops: dict[int, Drops] = {}
        self._failed: dict[tuple[int, int], str] = {}
        self._following: frozenset[int] = frozenset()

    def follows(self, at: int, standing: Callable[[int], Standing] | None = None) -> bool:
        """Whether a unit's ports have the volts of its input in this state, or as it stood in another."""
        unit = self._network.units[at]
        if unit.boosted or not unit.feeds or not unit.ports:
            return False
        return (standing or self._standing)(at).leg in (CarriedBy.FEED, CarriedBy.EITHER)

    def cluster(self, changed: Collection[int], before: Callable[[int], Standing]) -> list[int] | None:
        """All units that hang together with `changed` through volts, leaves first; None where no volts are shared.

        Volts that were shared `before` count too: what hangs on a unit that no longer follows has other volts now.
        """
        units = self._network.units
        inside = self._up(changed)
        if not any(self.follows(at) or self.follows(at, before) for at in inside):
            return None
        while True:
            below = {
                port.child
                for at in inside
                if self.follows(at) or self.follows(at, before)
                for port in units[at].feed_ports
            } - inside
            if not below:
                return sorted(inside)
            inside |= self._up(below)

    def _up(self, start: Collection[int]) -> set[int]:
        inside = set(start)
        waiting = list(start)
        while waiting:
            for feed in self._network.units[waiting.pop()].feeds:
                if feed.feeder not in inside:
                    inside.add(feed.feeder)
                    waiting.append(feed.feeder)
        return inside

    def whole(self, units: Iterable[int]) -> None:
        """Work all of `units` (leaves first) out, with as many rounds as their volts need."""
        order = list(units)
        self._following = frozenset(at for at in order if self.follows(at))
        while True:
            self._volts.clear()
            unsettled = self._settle(order)
            if not self._following or not self._fail(unsettled):
                return

    def _settle(self, order: list[int]) -> list[int]:
        moving: list[int] = []
        for _ in range(_ROUNDS):
            for at in order:
                self._found[at] = self.demand_of(at)
            moving = [at for at in self._following if self._moves(at)]
            if not moving:
                return []
        return moving

    def _moves(self, at: int) -> bool:
        place = self._standing(at).first
        ask = self._found[at].feeds[place]
        least_v = ask.pd_v
        most_v = ask.pd_most_v
        if least_v is None:
            feed = self._network.units[at].feeds[place]
            line = self._network.units[feed.feeder].ports[feed.at].line
            above = self._volts.get(feed.feeder, (None, None))[0]
            least_v = (line.link.source_v if above is None else above) / 2
        if self._bounds and self._network.units[at].boosted is None:
            most_v = None
        elif most_v is None:
            most_v = least_v
        was = self._volts.get(at, (None, None))
        self._volts[at] = (least_v, most_v)
        return not (_near(was[0], least_v) and _near(was[1], most_v))

    def _fail(self, unsettled: list[int]) -> bool:
        """Note what can't be powered at the volts that were found; False where nothing new is found."""
        new = False
        said = Refusal.NO_OPERATING_POINT.value
        for at in unsettled:
            key = (at, self._standing(at).first)
            if key not in self._failed:
                self._failed[key] = f"{self._network.units[at].name}: {said}, its volts do not settle"
                new = True
        for at in self._found if not unsettled else ():
            if not self._held(at):
                continue
            for place, ask in enumerate(self._found[at].feeds):
                if ask.can == DARK and ask.reason is not None and (at, place) not in self._failed:
                    self._failed[(at, place)] = ask.reason
                    new = True
            if at in self._following and self._drop(at):
                new = True
        return new

    def _held(self, at: int) -> bool:
        return at in self._following or any(feed.feeder in self._following for feed in self._network.units[at].feeds)

    def _drop(self, at: int) -> bool:
        """Devices of a unit that do not work at the volts of its input."""
        unit, load, volts = self._network.units[at], self._load.units[at], self._volts[at]
        was = self._drops.get(at, NO_DROPS)
        surely, perhaps, reasons = set(was.surely), set(was.perhaps), list(was.reasons)
        off = self._outage.off_ports.get(at, NO_PORTS)
        watts = load.most if self._bounds else load.likely
        for port in unit.ports:
            if port.child >= 0 or watts[port.at] == 0.0 or port.at in off or port.at in surely:
                continue
            pd_most = (load.pd_most if self._bounds else load.pd_likely)[port.at]
            worse = port.line.carry(pd_most, volts[0])
            if worse.reason is None:
                continue
            better = worse
            if self._bounds:
                better = port.kinder.carry(load.pd_least[port.at], volts[1])
            if better.reason is not None:
                surely.add(port.at)
            elif port.at in perhaps:
                continue
            else:
                perhaps.add(port.at)
            reasons.append(port.where(unit) + worse.reason.removeprefix(port.line.link.name))
        if len(surely) == len(was.surely) and len(perhaps) == len(was.perhaps):
            return False
        self._drops[at] = Drops(frozenset(surely), frozenset(perhaps | surely), tuple(reasons))
        return True

    def demand_of(self, at: int) -> Demand:
        """One unit's ports and feeds, with the children's as they stand now.

        What a unit without units below it asks depends on how it stands alone: such answers are kept.
        """
        return self.answer(self._network.units[at], self._standing(at))

    def answer(self, unit: NetUnit, standing: Standing) -> Demand:
        """The same for a unit that stands so."""
        if standing.leg is CarriedBy.NONE:
            return _dead(len(unit.feeds))
        if unit.feed_ports or self._following or self._outage.off_ports or self._outage.unsure_ports:
            return self._worked_out(unit, standing)
        if self._solution.cut_at_base(unit.index):
            return self._worked_out(unit, standing)  # what it does depends on what it shed before
        answers = self._kept.setdefault(unit.index, [])
        classes = tuple(self._standing(feed.feeder).grant.classes[feed.at] for feed in unit.feeds)
        for stood, granted, answer in answers:
            if stood == standing and granted == classes:
                return answer
        found = self._worked_out(unit, standing)
        if len(answers) < _ANSWERS:
            answers.append((standing, classes, found))
        return found

    def _worked_out(self, unit: NetUnit, standing: Standing) -> Demand:
        at = unit.index
        off = self._outage.off_ports.get(at, NO_PORTS)
        if not standing.gives:
            found = _dead(0)
        else:
            refused = standing.grant.refused
            children = self._solution.demands_by_child(unit)
            if off or refused:
                children = [(port, ask) for port, ask in children if port not in off and port not in refused]
            asks = dict(children)
            volts = self._volts.get(at)
            drops = self._drops.get(at, NO_DROPS)
            unsure = self._outage.unsure_ports.get(at)
            if unsure:
                drops = drops._replace(perhaps=drops.perhaps | unsure)
            load = self._load.units[at]
            ports = summed_ports(unit, load, standing, asks, off, volts, drops, bounds=self._bounds)
            found = held_to_limit(unit, standing, ports, asks, bounds=self._bounds)
            found = self._held_before(at, standing, found)
            if standing.open_leg and self._bounds:
                found = all_open(found, load, asks)
        return self.with_asks(unit, standing, found) if unit.feeds else found

    def with_asks(self, unit: NetUnit, standing: Standing, found: Demand) -> Demand:
        """The same with what the unit asks of its feeders."""
        asked = [self._ask(unit, standing, found, place) for place in range(len(unit.feeds))]
        return found._replace(feeds=tuple(asked))

    def _held_before(self, at: int, standing: Standing, found: Demand) -> Demand:
        """What was shed before anything failed may be off still, so that nothing more has to go."""
        before = self._solution.cut_at_base(at)
        if not before or standing.restarted or found.cut <= before or not self._solution.patient:
            return found
        self._solution.open.add(at)
        if not self._bounds:
            return found
        served_w = max(found.served_w, min(found.asked_w, standing.budget_most_w))
        return found._replace(cut=found.cut & before, served_w=served_w)

    def _ask(self, unit: NetUnit, standing: Standing, demand: Demand, place: int) -> FeedAsk:
        state = standing.feeds[place]
        if state == 0:
            return _GONE
        feed = unit.feeds[place]
        on_feed = standing.leg is not CarriedBy.AC
        carries = on_feed and (place == standing.first or unit.shared_feeds)
        if carries:
            most_pd = unit.own_w + demand.served_w / unit.fed_efficiency
            least_pd = most_pd
            if self._bounds:
                least_pd = unit.own_least_w + demand.served_least_w / unit.fed_efficiency
                split = unit.shared_feeds and sum(one > 0 for one in standing.feeds) > 1
                if standing.leg is CarriedBy.EITHER or split:
                    least_pd = min(least_pd, feed.standby_w[0])
        elif unit.spare_hidden:
            return FeedAsk(0.0, 0.0, SURE, False, 0.0, None, None, 0.0, None)
        else:
            most_pd = feed.standby_w[1]
            least_pd = feed.standby_w[0] if self._bounds else most_pd
        found = self._carried(unit, place, most_pd, least_pd, carries)
        if state == MAY and found.can != DARK:
            return found._replace(least_w=0.0, can=MAY)
        return found

    def _carried(self, unit: NetUnit, place: int, most_pd: float, least_pd: float, carries: bool) -> FeedAsk:
        feed = unit.feeds[place]
        port = self._network.units[feed.feeder].ports[feed.at]
        volts = self._volts.get(feed.feeder, (None, None))
        worse_line, kinder = self._lines(feed.feeder, feed.at)
        worse = worse_line.carry(most_pd, volts[0])
        better = kinder.carry(least_pd, volts[1]) if self._bounds else worse
        failed = self._failed.get((unit.index, place))
        if failed is not None:
            return FeedAsk(0.0, 0.0, DARK, carries, most_pd, worse.pd_v, better.pd_v, 0.0, failed)
        most_w = worse_line.most_w(volts[0])
        pulled_w = most_w if worse.pse_w is None else min(worse.pse_w, most_w)
        loss_w = worse.loss_w or 0.0
        if worse.reason is None and better.reason is None:
            assert worse.pse_w is not None
            assert better.pse_w is not None
            return FeedAsk(better.pse_w, worse.pse_w, SURE, carries, most_pd, worse.pd_v, better.pd_v, loss_w, None)
        above = self._network.units[feed.feeder]
        reason = port.where(above) + (worse.reason or better.reason or "").removeprefix(port.line.link.name)
        if better.reason is None:
            return FeedAsk(0.0, pulled_w, MAY, carries, most_pd, worse.pd_v, better.pd_v, loss_w, reason)
        if unit.index in self._following or feed.feeder in self._following:
            return FeedAsk(pulled_w, pulled_w, DARK, carries, most_pd, worse.pd_v, better.pd_v, loss_w, reason)
        return FeedAsk(0.0, 0.0, DARK, carries, most_pd, worse.pd_v, better.pd_v, 0.0, reason)

    def _lines(self, feeder: int, at: int) -> tuple[Line, Line]:
        """The run of a feeder's port, with the class that it was granted where that is not what it asked."""
        unit = self._network.units[feeder]
        port = unit.ports[at]
        classes = self._standing(feeder).grant.classes[at]
        if classes == port.classes:
            return port.line, port.kinder
        key = ("line", at, classes)
        found = unit.memo.get(key)
        if found is None:
            found = (port.line.with_class(class_pse_w(classes)), port.kinder.with_class(class_pse_w(classes)))
            unit.memo[key] = found
        assert isinstance(found, tuple)
        return found


def _near(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is other
    return abs(one - other) < _SETTLED_V


def _dead(feeds: int) -> Demand:
    return Demand(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, NO_PORTS, NO_PORTS, NO_PORTS, NO_PORTS, (), (_GONE,) * feeds)
