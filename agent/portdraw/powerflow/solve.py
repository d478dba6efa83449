"""One state of the site under one load, solved: who is powered from where, what flows, who is shed, who is dark.

From the sources down: legs and grants (`standing`). From the leaves up: watts, and what each unit sheds
(`demand`). From the sources down again: who is dark. A failure is solved as an overlay: only units that it
touches are worked out anew, everything else is read from the solution before it.

Where a port that a unit lives from is shed and the unit has another leg, it changes over, and the state is solved
once more with that port off; shed ports never come back, so this ends.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable

from portdraw.powerflow.coupled import Sweep
from portdraw.powerflow.demand import NO_PORTS, Demand
from portdraw.powerflow.load import DARK, MAY, SURE, Load
from portdraw.powerflow.network import Network
from portdraw.powerflow.standing import Standing, standing_of
from portdraw.powerflow.state import Outage
from portdraw.powerflow.unit_flow import CarriedBy


class Solution:
    """A solved state. Units are numbers of the network; `power` is DARK, MAY or SURE.

    `bounds` True: everything lies between a least and a most. False: the likely figures, with all that is not
    declared on the worse side. `touched` are units that differ from the base, all of them without one.
    """

    __slots__ = (
        "_base",
        "_demands",
        "_powers",
        "_standings",
        "bounds",
        "kept",
        "load",
        "network",
        "outage",
        "shed",
        "touched",
    )

    def __init__(self, network: Network, load: Load, outage: Outage, base: Solution | None, *, bounds: bool) -> None:
        self.network, self.load, self.outage, self.bounds = network, load, outage, bounds
        self._base = base
        self._standings: dict[int, Standing] = {}
        self._demands: dict[int, Demand] = {}
        self._powers: dict[int, int] = {}
        self.shed: dict[int, frozenset[int]] = {}
        self.kept: dict[int, tuple[tuple[float, float], ...]] = {}
        self.touched: tuple[int, ...] = ()

    def where_worked_out(self, at: int) -> Solution:
        """The solution in which a unit was last worked out: this one, or the base that it stands on."""
        own = at in self._standings or at in self._demands or at in self._powers
        return self if own or self._base is None else self._base.where_worked_out(at)

    def stand_alone(self) -> None:
        """Take everything over from the base and let it go."""
        base = self._base
        if base is None:
            return
        touched = set(self.touched)
        self.kept = {**{at: kept for at, kept in base.kept.items() if at not in touched}, **self.kept}
        self._standings = {**base._standings, **self._standings}
        self._demands = {**base._demands, **self._demands}
        self._powers = {**base._powers, **self._powers}
        self._base = None

    def standing(self, at: int) -> Standing:
        """Leg, feeds, grants and limit of a unit."""
        own = self._standings.get(at)
        if own is None:
            assert self._base is not None, "every unit of a whole solution stands in it"
            return self._base.standing(at)
        return own

    def demand(self, at: int) -> Demand:
        """Watts of a unit's ports and of its feeds, and what it sheds."""
        own = self._demands.get(at)
        if own is None:
            assert self._base is not None, "every unit of a whole solution stands in it"
            return self._base.demand(at)
        return own

    def power(self, at: int) -> int:
        """Whether a unit has power."""
        own = self._powers.get(at)
        if own is None:
            assert self._base is not None, "every unit of a whole solution stands in it"
            return self._base.power(at)
        return own

    def shed_before(self, at: int) -> frozenset[int]:
        """Ports of a unit that were shed on the way to this state."""
        own = self.shed.get(at)
        if own is None:
            return NO_PORTS if self._base is None else self._base.shed_before(at)
        return own

    def port_state(self, at: int, port: int) -> int:
        """Whether a port of a unit has power, as far as its unit decides: DARK, MAY or SURE."""
        unit = self.network.units[at]
        standing, demand = self.standing(at), self.demand(at)
        if not standing.gives or unit.ports[port].off or port in standing.grant.refused:
            return DARK
        if port in self.outage.off_ports.get(at, NO_PORTS) or port in demand.cut or port in demand.dropped:
            return DARK
        return MAY if port in demand.may_cut or port in demand.may_drop else SURE

    def ports_gone(self, at: int) -> tuple[frozenset[int], frozenset[int]]:
        """Ports of a unit that are off, shed, refused or without enough volts: surely, and those that may be."""
        demand, refused = self.demand(at), self.standing(at).grant.refused
        surely = demand.cut | demand.dropped | refused | self.outage.off_ports.get(at, NO_PORTS)
        return surely, demand.may_cut | demand.may_drop

    def device_state(self, at: int, port: int) -> int:
        """Whether a device has power: DARK, MAY or SURE."""
        return min(self.power(at), self.load.units[at].status[port], self.port_state(at, port))


def solve(network: Network, load: Load, outage: Outage, *, bounds: bool = False) -> Solution:
    """Solve a state from nothing."""
    return _settled(network, load, outage, None, None, bounds)


def solve_after(base: Solution, more: Outage, hit: Iterable[int], *, whole: bool = False) -> Solution:
    """Solve the state after `more` goes out on top of a solved one; `hit` are the units that it strikes.

    `whole` works every unit out anew; the result is the same.
    """
    before = set(range(len(base.network.units))) if whole else set(hit)
    return _settled(base.network, base.load, base.outage.plus(more), base, before, base.bounds)


def solve_next(base: Solution, load: Load, outage: Outage, hit: Iterable[int]) -> Solution:
    """Solve the next moment from the one before, with another load and other things out.

    `hit` are all units whose load or whose part of `outage` is not what it was. The result stands on its own: a long
    course of moments keeps no more than the last. `shed` is what was shed in this moment only.
    """
    base.shed = {}
    found = _settled(base.network, load, outage, base, set(hit), base.bounds)
    found.stand_alone()
    return found


def _settled(
    network: Network, load: Load, outage: Outage, base: Solution | None, hit: set[int] | None, bounds: bool
) -> Solution:
    shed: dict[int, frozenset[int]] = {}
    while True:
        found = Solution(network, load, outage, base, bounds=bounds)
        found.shed = shed
        _Work(found, base, hit).run()
        over = _changes_over(found)
        if over is None:
            return found
        outage, struck, newly = over
        for at, ports in newly.items():
            shed[at] = found.shed_before(at) | ports
        if hit is not None:
            hit = hit | struck


def _changes_over(found: Solution) -> tuple[Outage, set[int], dict[int, frozenset[int]]] | None:
    """What is lost besides, where a unit has to leave the leg that it stood on for another."""
    network = found.network
    lost: set[tuple[int, int]] = set()
    unsure: set[tuple[int, int]] = set()
    below = {port.child for at in found.touched for port in network.units[at].feed_ports}
    for at in sorted(below.union(found.touched)):
        standing = found.standing(at)
        place = standing.first
        if standing.leg not in (CarriedBy.FEED, CarriedBy.EITHER) or place < 0:
            continue
        if not any(standing.supplies) and sum(state > 0 for state in standing.feeds) < 2:
            continue
        feed = network.units[at].feeds[place]
        state = min(
            found.power(feed.feeder), found.port_state(feed.feeder, feed.at), found.demand(at).feeds[place].can
        )
        if state == DARK:
            lost.add((at, place))
        elif state == MAY and standing.feeds[place] == SURE:
            unsure.add((at, place))
    if not lost and not unsure:
        return None
    cut = {at: found.demand(at).cut for at in _with_all_above(network, lost) if found.demand(at).cut}
    more = Outage(feeds=frozenset(lost), unsure_feeds=frozenset(unsure), off_ports=cut)
    struck = {at for at, _ in lost | unsure} | set(cut)
    return found.outage.plus(more), struck, cut


def _with_all_above(network: Network, feeds: Iterable[tuple[int, int]]) -> list[int]:
    """Units that lose a feed and all that feed them: only there can less load let a shed port seem to fit again."""
    found = {at for at, _ in feeds}
    waiting = list(found)
    while waiting:
        for feed in network.units[waiting.pop()].feeds:
            if feed.feeder not in found:
                found.add(feed.feeder)
                waiting.append(feed.feeder)
    return sorted(found)


class _Work:
    """The three passes over one solution."""

    def __init__(self, found: Solution, base: Solution | None, hit: set[int] | None) -> None:
        self._found, self._base, self._hit = found, base, hit
        self._network, self._load, self._outage = found.network, found.load, found.outage
        self._units = found.network.units

    def run(self) -> None:
        changed = self._stand()
        asked = self._sweep(changed)
        lit = self._light(changed | asked)
        self._found.touched = tuple(sorted(changed | asked | lit))

    def _stand(self) -> set[int]:
        """Legs and grants, from the sources down."""
        found, base, hit = self._found, self._base, self._hit
        if hit is None or len(hit) == len(self._units):
            for unit in reversed(self._units):
                before = None if base is None else base.standing(unit.index)
                found._standings[unit.index] = self._standing(unit.index, before)
            return set(found._standings)
        assert base is not None
        waiting = [-at for at in hit]
        for at in hit:
            unit = self._units[at]
            for feed in unit.feeds:
                feeder = self._units[feed.feeder]
                if unit.spare_hidden is not False or feeder.admission != "drawn" or at in self._outage.units:
                    waiting.append(-feed.feeder)
        heapq.heapify(waiting)
        changed: set[int] = set()
        last = -1
        while waiting:
            at = -heapq.heappop(waiting)
            if at == last:
                continue
            last = at
            before = base.standing(at)
            now = self._standing(at, before)
            if now == before and at not in hit:
                continue
            found._standings[at] = now
            changed.add(at)
            off = self._outage.off_ports.get(at) != base.outage.off_ports.get(at)
            if off or now.gives != before.gives or now.grant is not before.grant:
                for port in self._units[at].feed_ports:
                    heapq.heappush(waiting, -port.child)
        return changed

    def _standing(self, at: int, before: Standing | None) -> Standing:
        load = self._load
        return standing_of(
            self._network, load.units[at], load.granted_w, self._outage, self._units[at], self._found.standing, before
        )

    def _sweep(self, changed: set[int]) -> set[int]:
        """Watts and shedding, from the leaves up."""
        found, base = self._found, self._base
        sweep = Sweep(
            self._network, self._load, self._outage, found.standing, found.demand, found._demands, found.bounds
        )
        if base is None or len(changed) == len(self._units):
            sweep.whole(range(len(self._units)))
            return set(found._demands)
        cluster = sweep.cluster(changed, base.standing)
        if cluster is not None:
            sweep.whole(cluster)
            return {at for at in cluster if found._demands[at] != base.demand(at)} | changed
        waiting = list(changed)
        heapq.heapify(waiting)
        asked: set[int] = set()
        last = -1
        while waiting:
            at = heapq.heappop(waiting)
            if at == last:
                continue
            last = at
            before = base.demand(at)
            now = sweep.demand_of(at)
            if now == before and at not in changed:
                continue
            found._demands[at] = now
            asked.add(at)
            if now.feeds != before.feeds:
                for feed in self._units[at].feeds:
                    heapq.heappush(waiting, feed.feeder)
        return asked

    def _light(self, changed: set[int]) -> set[int]:
        """Who is dark, from the sources down."""
        found, base = self._found, self._base
        if base is None or len(changed) == len(self._units):
            for unit in reversed(self._units):
                found._powers[unit.index] = self._power(unit.index)
            return set(found._powers)
        waiting = [-at for at in changed]
        heapq.heapify(waiting)
        lit: set[int] = set()
        last = -1
        while waiting:
            at = -heapq.heappop(waiting)
            if at == last:
                continue
            last = at
            before = base.power(at)
            now = self._power(at)
            if now != before or at in changed:
                found._powers[at] = now
                lit.add(at)
            if now != before:
                for port in self._units[at].feed_ports:
                    heapq.heappush(waiting, -port.child)
            elif at in found._demands and self._units[at].feed_ports:
                for child in self._struck_children(at):
                    heapq.heappush(waiting, -child)
        return lit

    def _struck_children(self, at: int) -> list[int]:
        """Units that hang on ports of a unit which are shed now and were not, or the other way round."""
        assert self._base is not None
        now, was = self._found.demand(at), self._base.demand(at)
        if now.cut == was.cut and now.may_cut == was.may_cut:
            return []
        ports = (now.cut ^ was.cut) | (now.may_cut ^ was.may_cut)
        return [port.child for port in self._units[at].feed_ports if port.at in ports]

    def _power(self, at: int) -> int:
        found, unit = self._found, self._units[at]
        standing = found.standing(at)
        if standing.leg is CarriedBy.NONE:
            return DARK
        if any(standing.supplies):
            return SURE
        best = DARK
        for place, state in enumerate(standing.feeds):
            if state == 0 or (place != standing.first and not unit.shared_feeds):
                continue
            feed = unit.feeds[place]
            can = found.demand(at).feeds[place].can
            best = max(best, min(state, can, found.power(feed.feeder), found.port_state(feed.feeder, feed.at)))
        return best
