"""The states of a site without a new device, under one load, and which of them can decide whether it fits.

A device moves only limits of its unit and of what is above it. Of all states in which these stand alike, the ones
that ask most decide: where the device keeps every limit there, it keeps it in those that ask less, and nobody is
shed. So each failure is solved without the device once, and with it only where that can tell something new.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from portdraw.powerflow.failure import Failure, FailureKind
from portdraw.powerflow.failure_study import state_after
from portdraw.powerflow.limit_state import limit_states
from portdraw.powerflow.load import Load
from portdraw.powerflow.network import Network
from portdraw.powerflow.shedding import STEP_W
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.solve import solve, solve_after
from portdraw.powerflow.state import Outage

NORMAL = "normal running"

Limits = dict[str, tuple[float, float, float]]  # by name: what is drawn, what is booked, and the limit [W]


@dataclass(frozen=True, slots=True)
class SiteState:
    """Normal running, or what a failure leaves. `carried`: a generator has taken over since."""

    number: int
    failure: Failure | None
    carried: bool
    solution: Solution

    @property
    def name(self) -> str:
        """The state in words."""
        if self.failure is None:
            return NORMAL
        return f"{self.failure.what} lost" + (", generator running" if self.carried else "")

    def again(self, base: Solution) -> Solution:
        """The same state, over another normal running."""
        return _after(base, self.failure, carried=self.carried)


class SiteStates:
    """Normal running, with `outage` on top, and every failure under one load."""

    def __init__(
        self, network: Network, load: Load, failures: Iterable[Failure], outage: Outage, *, bounds: bool = False
    ) -> None:
        self._network = network
        self._keys: dict[tuple[int, tuple[int, ...]], tuple[object, ...]] = {}
        self._limits: dict[tuple[int, tuple[int, ...]], Limits] = {}
        self._sources: dict[tuple[int, ...], frozenset[int]] = {}
        self._deciding: dict[tuple[int, ...], tuple[SiteState, ...]] = {}
        self.normal = SiteState(0, None, carried=False, solution=solve(network, load, outage, bounds=bounds))
        self.all: list[SiteState] = [self.normal]
        last: Failure | None = None
        for failure in failures:
            if last is None or last.outage is not failure.outage:  # a feeder port takes what its cable takes
                self._add(failure)
            last = failure

    def _add(self, failure: Failure) -> None:
        for carried in (False, True) if failure.after is not None else (False,):
            solution = _after(self.normal.solution, failure, carried=carried)
            self.all.append(SiteState(len(self.all), failure, carried, solution))

    def limits(self, state: SiteState, path: tuple[int, ...]) -> Limits:
        """What is asked of the limits of a path and of the sources above it, by their names."""
        if state.failure is not None and self._apart(state, path):
            state = self.normal
        key = (state.number, path)
        found = self._limits.get(key)
        if found is None:
            found = {limit.limit: limit[2:5] for limit in limit_states(state.solution, path)}
            self._limits[key] = found
        return found

    def _apart(self, state: SiteState, path: tuple[int, ...]) -> bool:
        """Whether a failure leaves everything as it is that a path has to do with."""
        assert state.failure is not None
        if state.failure.outage.inputs or state.failure.outage.sources:
            return False
        return not self._near(path) & set(state.solution.touched)

    def _near(self, path: tuple[int, ...]) -> frozenset[int]:
        """The units of a path and all others on their sources."""
        found = self._sources.get(path)
        if found is None:
            network, near = self._network, set(path)
            sources = {source for at in path for source in network.units[at].sources}
            circuits = {network.site.ups[name].input for name in sources if name in network.site.ups}
            for circuit in circuits | sources:
                near.update(network.on_source.get(circuit, ()))
                for ups in network.ups_on.get(circuit, ()):
                    near.update(network.on_source.get(ups, ()))
            found = self._sources[path] = frozenset(near)
        return found

    def key(self, state: SiteState, path: tuple[int, ...]) -> tuple[object, ...]:
        """How a path stands: states that differ in this are not held against each other."""
        if state.failure is not None and not set(path) & set(state.solution.touched):
            state = self.normal
        key = (state.number, path)
        found = self._keys.get(key)
        if found is None:
            solution = state.solution
            # who books by class, or does not say how it behaves, may answer a new device with less for others
            parts: list[tuple[object, ...]] = [] if self._plain(path) else [(state.number,)]
            for at in path:
                standing = solution.standing(at)
                parts.append((*standing[:5], standing.grant.refused, standing.grant.classes, solution.power(at)))
            found = self._keys[key] = tuple(parts)
        return found

    def _plain(self, path: tuple[int, ...]) -> bool:
        """Whether more watts on a path only ever add up."""
        units = [self._network.units[at] for at in path]
        return all(
            unit.admission == "drawn"
            and (not unit.feeds or (unit.boosted is True and unit.spare_hidden is not None))
            and (not unit.feeds or (unit.prefers in ("ac", "feed") and unit.sheds_in_time is not None))
            for unit in units
        )

    def deciding(self, path: tuple[int, ...]) -> tuple[SiteState, ...]:
        """The states that can tell something of a device on the first unit of a path, normal running first."""
        found = self._deciding.get(path)
        if found is None:
            found = self._deciding[path] = tuple(self._worst(path))
        return found

    def _worst(self, path: tuple[int, ...]) -> Iterator[SiteState]:
        alike: dict[tuple[object, ...], list[SiteState]] = {}
        for state in self.all:
            alike.setdefault(self.key(state, path), []).append(state)
        kept: set[int] = {0}
        for states in alike.values():
            worst: list[tuple[SiteState, Limits]] = []
            for state in states:
                limits = self.limits(state, path)
                if not any(asks_no_more(limits, other) for _, other in worst):
                    worst = [one for one in worst if one[0] is self.normal or not asks_no_more(one[1], limits)]
                    worst.append((state, limits))
            kept.update(state.number for state, _ in worst)
        for state in self.all:
            promised = state.failure is not None and state.failure.kind is FailureKind.ALL_UNBACKED_AC
            if promised or state.number in kept:
                yield state

    def plainest(self, state: SiteState, limit: str, path: tuple[int, ...]) -> str:
        """The name of the first failure that asks as much of a limit as this one: the smaller ones come first."""
        if state.failure is None:
            return state.name
        key, here = self.key(state, path), self.limits(state, path).get(limit)
        for other in self.all[1:]:
            there = self.limits(other, path).get(limit)
            if here is None or there is None or any(abs(a - b) > STEP_W for a, b in zip(here, there, strict=True)):
                continue
            if self.key(other, path) == key:
                return other.name
        return state.name


def asks_no_more(one: Limits, other: Limits) -> bool:
    """Whether every limit of one state stands in the other with as much asked of it or more, and is no higher."""
    if len(one) > len(other):
        return False
    for name, (drawn_w, booked_w, limit_w) in one.items():
        there = other.get(name)
        if (
            there is None
            or drawn_w > there[0] + STEP_W
            or booked_w > there[1] + STEP_W
            or limit_w < there[2] - STEP_W
        ):
            return False
    return True


def _after(base: Solution, failure: Failure | None, *, carried: bool) -> Solution:
    if failure is None:
        return base
    if not carried:
        return solve_after(base, failure.outage, failure.hit)
    return state_after(base, failure)
