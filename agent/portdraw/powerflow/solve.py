"""One state of the site under one load, solved: who is powered from where, what flows, who is shed, who is dark.

From the sources down: legs and grants (`standing`). From the leaves up: watts, and what each unit sheds
(`demand`). From the sources down again: who is dark. A failure is solved as an overlay: only units that it
touches are worked out anew, everything else is read from the solution before it.

Where a port that a unit lives from is shed and the unit has another leg, it changes over, and the state is solved
once more with that port off; shed ports never come back, so this ends.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping

from portdraw.powerflow.coupled import Sweep
from portdraw.powerflow.knock_on import making_room, overloading, perhaps_shed, remade, stands_on, with_all_above
from portdraw.powerflow.load import DARK, MAY, SURE, Load
from portdraw.powerflow.network import Network
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.standing import Standing, standing_of
from portdraw.powerflow.state import Outage
from portdraw.powerflow.unit_flow import CarriedBy


def solve(network: Network, load: Load, outage: Outage, *, bounds: bool = False) -> Solution:
    """Solve a state from nothing."""
    return _settled(network, load, outage, None, None, bounds)


def solve_after(
    base: Solution,
    more: Outage,
    hit: Iterable[int],
    *,
    whole: bool = False,
    way: Mapping[int, Standing] | None = None,
    bounds: bool | None = None,
) -> Solution:
    """Solve the state after `more` goes out on top of a solved one; `hit` are the units that it strikes.

    `whole` works every unit out anew; the result is the same. `way` has how units stood in between. `bounds` only
    where they are to differ from the base's.
    """
    before = set(range(len(base.network.units))) if whole else set(hit)
    outage = base.outage.plus(more)
    asked = outage if base.outage is base.asked else base.asked.plus(more)
    wide = base.bounds if bounds is None else bounds
    return _settled(base.network, base.load, outage, base, before, wide, asked, way)


def solve_next(base: Solution, load: Load, outage: Outage, hit: Iterable[int]) -> Solution:
    """Solve the next moment from the one before, with another load and other things out.

    `hit` are all units whose load or whose part of `outage` is not what it was. The result stands on its own: a long
    course of moments keeps no more than the last. `shed` is what was shed in this moment only.
    """
    base.shed = {}
    found = _settled(base.network, load, outage, base, set(hit), base.bounds, patient=False)
    found.stand_alone()
    return found


def _settled(
    network: Network,
    load: Load,
    outage: Outage,
    base: Solution | None,
    hit: set[int] | None,
    bounds: bool,
    asked: Outage | None = None,
    way: Mapping[int, Standing] | None = None,
    *,
    patient: bool = True,
) -> Solution:
    shed: dict[int, frozenset[int]] = {}
    stood = {} if way is None else dict(way)
    given = outage if asked is None else asked
    forgot = given is outage
    while True:
        found = Solution(network, load, outage, base, bounds=bounds)
        found.shed = shed
        found.asked, found.patient = given, patient
        _Work(found, base, hit, stood).run()
        if not forgot:
            forgot = True
            fresh = remade(found, stood)
            if fresh is not None:
                outage, struck = fresh
                hit = hit | struck if hit is not None else None
                continue
        over = _changes_over(found)
        if over is None:
            return found
        outage, struck, newly = over
        for at, place in outage.feeds - found.outage.feeds if patient else ():
            if not found.standing(network.units[at].feeds[place].feeder).restarted:
                stood[at] = found.standing(at)
        for at, ports in newly.items():
            shed[at] = found.shed_before(at) | ports
        if hit is not None:
            hit = hit | struck


def _changes_over(found: Solution) -> tuple[Outage, set[int], dict[int, frozenset[int]]] | None:
    """What is lost besides, where a unit has to leave the leg that it stood on for another."""
    network = found.network
    lost: set[tuple[int, int]] = set()
    unsure: set[tuple[int, int]] = set()
    for at in sorted(_struck(found), reverse=True):
        standing = found.standing(at)
        place = standing.first
        if standing.leg not in (CarriedBy.FEED, CarriedBy.EITHER) or place < 0:
            continue
        if not any(standing.supplies) and sum(state > 0 for state in standing.feeds) < 2:
            continue
        feed = network.units[at].feeds[place]
        state = min(found.port_state(feed.feeder, feed.at), found.demand(at).feeds[place].can)
        if found.patient and state != DARK and stands_on(found, feed.feeder, lost):
            continue  # its feeder goes on from another leg
        state = min(state, found.power(feed.feeder))
        if state == DARK:
            lost.add((at, place))
        elif state == MAY and standing.feeds[place] == SURE:
            unsure.add((at, place))
    moved = {at for at, _ in lost}
    if found.patient:
        lost.update(making_room(found, DARK))
    if found.patient and found.bounds:
        unsure.update(making_room(found, MAY))
    if not lost and not unsure:
        return None
    above = with_all_above(network, lost)
    if found.patient:
        lost.update((at, place) for at in above for place in overloading(found, at))
    # whoever drops all lets them in anew
    again = {at for at in moved if found.patient and network.units[at].sheds_in_time is False}
    cut = {at: found.demand(at).cut for at in above if found.demand(at).cut and at not in again}
    perhaps = perhaps_shed(found, lost | unsure) if found.bounds else {}
    for at, place in lost:  # whether a feeder that restarts carries the unit again before it is shed is not known
        if found.patient and at in moved and found.standing(network.units[at].feeds[place].feeder).restarted:
            cut.pop(at, None)
            perhaps[at] = frozenset(port.at for port in network.units[at].ports)
    more = Outage(feeds=frozenset(lost), unsure_feeds=frozenset(unsure), off_ports=cut, unsure_ports=perhaps)
    struck = {at for at, _ in lost | unsure} | set(cut) | set(perhaps)
    return found.outage.plus(more), struck, cut


def _struck(found: Solution) -> set[int]:
    """Units that were worked out anew and those that hang on a port of theirs that may be off."""
    units = found.network.units
    struck = set(found.touched)
    for at in found.touched:
        ports = units[at].feed_ports
        if not ports:
            continue
        if found.power(at) != SURE:
            struck.update(port.child for port in ports)
            continue
        demand = found.demand(at)
        if demand.cut or demand.may_cut:
            struck.update(port.child for port in ports if port.at in demand.cut or port.at in demand.may_cut)
    return struck


class _Work:
    """The three passes over one solution."""

    def __init__(
        self, found: Solution, base: Solution | None, hit: set[int] | None, stood: Mapping[int, Standing]
    ) -> None:
        self._found, self._base, self._hit, self._stood = found, base, hit, stood
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
            ports = self._units[at].feed_ports
            if ports and (now.restarted or self._gives_else(at, now, base)):
                for port in ports:
                    heapq.heappush(waiting, -port.child)
        return changed

    def _gives_else(self, at: int, standing: Standing, base: Solution) -> bool:
        """Whether a unit lets others in than before, or other ports of it are off or may be."""
        before = base.standing(at)
        if standing.gives != before.gives or standing.grant is not before.grant:
            return True
        now, was = self._outage, base.outage
        if now.off_ports is was.off_ports and now.unsure_ports is was.unsure_ports:
            return False
        return now.off_ports.get(at) != was.off_ports.get(at) or now.unsure_ports.get(at) != was.unsure_ports.get(at)

    def _standing(self, at: int, before: Standing | None) -> Standing:
        """Work a unit out. Where it stood on another leg in between, that is what it comes from."""
        stood = self._stood.get(at) if self._stood else None
        now = self._stands(at, before if stood is None else stood)
        if now.open_leg:
            self._found.open.add(at)
        if stood is None or stood.leg is CarriedBy.NONE:
            return now
        return now._replace(newcomers=now.newcomers | stood.newcomers, restarted=now.restarted or stood.restarted)

    def _stands(self, at: int, before: Standing | None) -> Standing:
        load = self._load
        return standing_of(
            self._network,
            load.units[at],
            load.granted_w,
            self._outage,
            self._units[at],
            self._found.standing,
            before,
            self._restarts,
            self._found.patient,
            self._found.bounds,
        )

    def _restarts(self, at: int) -> bool:
        """Whether a unit goes off and comes back between the base and this state."""
        now = self._found.standing(at)
        return self._found.patient and now.restarted and (self._base is None or now is not self._base.standing(at))

    def _sweep(self, changed: set[int]) -> set[int]:
        """Watts and shedding, from the leaves up."""
        found, base = self._found, self._base
        alike = base is not None and base.load is found.load and base.bounds == found.bounds
        kept = base.answers if base is not None and alike else found.answers
        sweep = Sweep(found, kept)
        if base is None or len(changed) == len(self._units):
            sweep.whole(range(len(self._units)))
            return set(found._demands)
        cluster = sweep.cluster(changed, base.standing) if self._network.volts_shared else None
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
