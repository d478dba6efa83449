"""A unit that sheds, and what it would shed with other priorities: worked out without solving the site again."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Literal

from portdraw.plan.load_case import Case
from portdraw.powerflow.failure import FailureKind
from portdraw.powerflow.network import NetUnit, Network
from portdraw.powerflow.shedding import Ranked, groups_to_cut, shed_groups
from portdraw.powerflow.site_change import FailedState, SiteChange, with_ports
from portdraw.powerflow.solution import Solution

Priority = Literal["critical", "high", "low"]
_BY_RANK: tuple[Priority, ...] = ("critical", "high", "low")
_BY_PRIORITY = ("priority-then-highest-port", "lowest-priority-bank")


class SheddingUnit:
    """One unit that sheds, and what it would shed with other priorities. What it cuts depends on nothing above it."""

    def __init__(self, network: Network, at: int, states: Mapping[Case, FailedState], worst: FailedState) -> None:
        self.network, self.at, self.states = network, at, states
        self.unit: NetUnit = network.units[at]
        self.worst = worst
        self.ranks = tuple(port.rank for port in self.unit.ports)
        self._watts = {case: self._asked(state.solution) for case, state in states.items()}
        self._below = {case: self._hanging(state.solution) for case, state in states.items()}

    def least_step(self) -> SiteChange | None:
        """One port, one step of priority: the one that keeps the most critical devices under the worst load."""
        if self.unit.rule not in _BY_PRIORITY or self.at not in set(self.worst.shedding()):
            return None
        case = self.worst.case
        best: tuple[tuple[int, ...], int, int] | None = None
        for port in self.unit.ports:
            for rank in (port.rank - 1, port.rank + 1):
                if not 0 <= rank < len(_BY_RANK) or not self._below[case][port.at]:
                    continue
                ranks = tuple(rank if at == port.at else of for at, of in enumerate(self.ranks))
                found = (self._lost(case, ranks), port.at, rank)
                if found[0] < self._lost(case, self.ranks) and (best is None or found < best):
                    best = found
        return None if best is None else self._change({best[1]: best[2]})

    def by_criticality(self) -> SiteChange | None:
        """Priorities in the order of the most critical device below each port; only the changes that are needed."""
        if self.unit.rule not in _BY_PRIORITY:
            return None
        below = self._below[self.worst.case]
        wanted = {at: min(found) - 1 for at, found in enumerate(below) if found and min(found) - 1 != self.ranks[at]}
        if not wanted or not self._keeps(wanted):
            return None
        for at in sorted(wanted, key=lambda at: (len(below[at]), at), reverse=True):
            fewer = {other: rank for other, rank in wanted.items() if other != at}
            if self._keeps(fewer):
                wanted = fewer
        return self._change(wanted) if wanted else None

    def _keeps(self, wanted: Mapping[int, int]) -> bool:
        level = self._level()
        ranks = tuple(wanted.get(at, rank) for at, rank in enumerate(self.ranks))
        return not any(sum(self._lost(case, ranks)[:level]) for case in self.states)

    def _level(self) -> int:
        promise = self.network.site.policy.must_survive
        if self.worst.result.failure.kind is FailureKind.ALL_UNBACKED_AC and promise.all_unbacked_ac is not None:
            return promise.all_unbacked_ac.criticality_up_to
        return promise.any_single if isinstance(promise.any_single, int) else 3

    def _change(self, wanted: Mapping[int, int]) -> SiteChange:
        ports = {}
        words = []
        under = []
        for at in sorted(wanted):
            port = self.unit.ports[at]
            words.append(
                f"{port.where(self.unit)} ({self._named(at)}): priority from {_BY_RANK[port.rank]} "
                f"to {_BY_RANK[wanted[at]]}"
            )
            ports[port.key] = {"priority": _BY_RANK[wanted[at]]}
            if port.child >= 0 and wanted[at] > port.rank:
                under.append(self.network.units[port.child].name)
        notes: tuple[str, ...] = ()
        if under:
            first = f"{' and '.join(under)} then {'goes' if len(under) == 1 else 'go'} before single devices"
            notes = (f"{first} of {self.unit.name}: agree on it first; plan will name it.",)
        return SiteChange(with_ports(self.network.site, self.unit.name, ports), self.unit.name, tuple(words), notes)

    def _named(self, at: int) -> str:
        port = self.unit.ports[at]
        return f"feed of {self.network.units[port.child].name}" if port.child >= 0 else port.device or "spare"

    def _asked(self, solution: Solution) -> tuple[float, ...]:
        """Watts of each port before anything is shed."""
        asked = list(solution.load.units[self.at].likely)
        for port in self.unit.feed_ports:
            asked[port.at] = solution.demand(port.child).feeds[port.place].most_w
        off = solution.outage.off_ports.get(self.at, frozenset())
        refused = solution.standing(self.at).grant.refused
        return tuple(0.0 if at in off or at in refused else watts for at, watts in enumerate(asked))

    def _hanging(self, solution: Solution) -> tuple[tuple[int, ...], ...]:
        """Criticality of every device that each port alone keeps, in this state."""
        return tuple(tuple(_below(solution, self.at, port.at)) for port in self.unit.ports)

    def _lost(self, case: Case, ranks: Sequence[int]) -> tuple[int, ...]:
        """Devices that go dark by criticality, with other priorities."""
        ranked = [Ranked(one.at, ranks[one.at], one.number, one.asks) for one in self.unit.ranked]
        groups = shed_groups(self.unit.rule, ranked)
        watts = self._watts[case]
        limit_w = self.states[case].solution.standing(self.at).budget_w
        count = groups_to_cut(groups, watts, sum(watts), limit_w)
        lost = [0, 0, 0]
        for at in (at for group in groups[:count] for at in group if watts[at] > 0):
            for criticality in self._below[case][at]:
                lost[criticality - 1] += 1
        return tuple(lost)


def _below(solution: Solution, at: int, port_at: int) -> Iterator[int]:
    port = solution.network.units[at].ports[port_at]
    if port.device is not None:
        if not port.off:
            yield port.criticality
    elif port.child >= 0:
        standing = solution.standing(port.child)
        if any(standing.supplies) or standing.first != port.place:
            return
        for below in solution.network.units[port.child].ports:
            yield from _below(solution, port.child, below.at)
