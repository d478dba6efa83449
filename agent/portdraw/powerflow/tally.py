"""What is kept of a course while it runs: watts of each tier, the peak of each limit, and which were exceeded."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from portdraw.powerflow.course import Moment, Peak, TracePoint
from portdraw.powerflow.limit_state import LimitState, source_limits, unit_limits
from portdraw.powerflow.load import DARK
from portdraw.powerflow.network import Network
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.unit_flow import CarriedBy


class Tally:
    """Peaks and moments of one course; `traced`: what was asked of every limit over time as well."""

    def __init__(self, network: Network, *, traced: bool = False) -> None:
        self.traces: dict[str, list[TracePoint]] = {}
        self._traced = traced
        self._there: dict[int, set[str]] = {}
        self.moments: list[Moment] = []
        self.peaks: dict[str, Peak] = {}
        self.over: dict[str, Peak] = {}
        self._network = network
        tiers = [max(1, network.tree.tier(unit.name)) for unit in network.units]
        self._tier_of = [tier - 1 for tier in tiers]
        self._tier_w = [0.0] * max(tiers)
        self._served_w = [0.0] * len(tiers)

    def watch(
        self, solution: Solution, touched: Iterable[int], at_s: float, came_on: Mapping[int, frozenset[int]]
    ) -> None:
        """Hold the touched limits of a solved moment against what was seen before."""
        for limit in self._limits(solution, touched, at_s):
            if self._traced:
                self._trace(limit.limit, at_s, limit.need_w, limit.limit_w)
            seen = self.peaks.get(limit.limit)
            if seen is None or _worse(limit.share, limit.need_w, seen):
                self.peaks[limit.limit] = Peak(limit, at_s)
            if limit.over and limit.limit not in self.over:
                below = units_below(solution, limit.subject)
                ports = tuple((at, port) for at in sorted(below & came_on.keys()) for port in sorted(came_on[at]))
                self.over[limit.limit] = Peak(limit, at_s, ports)

    def _limits(self, solution: Solution, touched: Iterable[int], at_s: float) -> Iterator[LimitState]:
        """The limits of the touched units and of the sources above them; traced on the way."""
        sources: dict[str, None] = {}
        for at in touched:
            unit = self._network.units[at]
            sources.update(dict.fromkeys(unit.sources))
            here = list(unit_limits(solution, unit))
            if self._traced:
                names = {limit.limit for limit in here}
                for gone in self._there.get(at, set()) - names:
                    self._trace(gone, at_s, 0.0, None)
                self._there[at] = names
            yield from here
        yield from source_limits(solution, sources)

    def _trace(self, name: str, at_s: float, watts: float, limit_w: float | None) -> None:
        points = self.traces.setdefault(name, [])
        if points and points[-1].at_s == at_s:
            points[-1] = TracePoint(at_s, max(points[-1].most_w, watts), watts, limit_w or points[-1].limit_w)
        elif not points or points[-1].after_w != watts or points[-1].limit_w != limit_w:
            points.append(TracePoint(at_s, watts, watts, limit_w))

    def note(self, solution: Solution, touched: Iterable[int], moment: Moment) -> None:
        """Keep a moment, once its second is settled; a later one of the same second replaces it."""
        for at in touched:
            served_w = solution.demand(at).served_w if solution.power(at) != DARK else 0.0
            self._tier_w[self._tier_of[at]] += served_w - self._served_w[at]
            self._served_w[at] = served_w
        kept = Moment(
            moment.at_s,
            tuple(max(0.0, watts) for watts in self._tier_w),
            moment.units_up,
            moment.devices_powered,
            moment.devices_in_service,
        )
        if self.moments and self.moments[-1].at_s == kept.at_s:
            self.moments.pop()
        self.moments.append(kept)


def units_below(solution: Solution, subject: str) -> set[int]:
    """Units whose load reaches a limit of `subject`, a unit, circuit or UPS, in a solved state."""
    network = solution.network
    waiting: list[int] = []
    if subject in network.index:
        waiting.append(network.index[subject])
    else:
        waiting.extend(network.on_source.get(subject, ()))
        for ups in network.ups_on.get(subject, ()):
            waiting.extend(network.on_source.get(ups, ()))
    return _fed_from(solution, waiting)


def _fed_from(solution: Solution, start: Iterable[int]) -> set[int]:
    waiting = list(start)
    found = set(waiting)
    while waiting:
        for port in solution.network.units[waiting.pop()].feed_ports:
            carried = solution.standing(port.child).leg is not CarriedBy.AC
            if carried and port.child not in found:
                found.add(port.child)
                waiting.append(port.child)
    return found


def _worse(share: float, need_w: float, seen: Peak) -> bool:
    return (share, need_w) > (seen.limit.share, seen.limit.need_w)
