"""What is kept of a course while it runs: watts of each tier, the peak of each limit, and which were exceeded."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from portdraw.powerflow.course import Moment, Peak
from portdraw.powerflow.limit_state import limit_states
from portdraw.powerflow.load import DARK
from portdraw.powerflow.network import Network
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.unit_flow import CarriedBy


class Tally:
    """Peaks and moments of one course."""

    def __init__(self, network: Network) -> None:
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
        for limit in limit_states(solution, touched):
            seen = self.peaks.get(limit.limit)
            if seen is None or _worse(limit.share, limit.need_w, seen):
                self.peaks[limit.limit] = Peak(limit, at_s)
            if limit.over and limit.limit not in self.over:
                below = units_below(solution, limit.subject)
                ports = tuple((at, port) for at in sorted(below & came_on.keys()) for port in sorted(came_on[at]))
                self.over[limit.limit] = Peak(limit, at_s, ports)

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
