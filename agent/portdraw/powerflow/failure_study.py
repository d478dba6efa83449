"""What fails next: from a state of the site, every failure, and what each does under a load.

The state is solved once; each failure is an overlay over it that works out only the units that it touches.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from portdraw.powerflow.demand import NO_PORTS
from portdraw.powerflow.failure import Failure, all_unbacked_ac, circuit_pairs, single_failures
from portdraw.powerflow.failure_result import FailureResult, Place
from portdraw.powerflow.limit_state import LimitState, source_limits, unit_limits
from portdraw.powerflow.load import DARK, MAY, SURE, Load
from portdraw.powerflow.network import Network
from portdraw.powerflow.solve import Solution, solve, solve_after
from portdraw.powerflow.source_load import battery_minutes, on_battery
from portdraw.powerflow.state import NOTHING_OUT, Outage
from portdraw.powerflow.unit_flow import CarriedBy
from portdraw.powerflow.verdict import judged


@dataclass(frozen=True, slots=True)
class Base:
    """The state before anything more fails: the likely figures, and the bounds. The same where all is exact."""

    likely: Solution
    bounds: Solution
    dark: frozenset[Place]
    may: frozenset[Place]


@dataclass(frozen=True, slots=True)
class FailureStudy:
    """All results under one load, singles first, then all unbacked AC, then pairs.

    `dark` and `may_go_dark` are devices that are so already, before anything more fails.
    """

    load: Load
    base: Base
    results: tuple[FailureResult, ...]

    @property
    def dark(self) -> tuple[str, ...]:
        """Devices that are dark already."""
        return _names(self.base.likely.network, self.base.dark)

    @property
    def may_be_dark(self) -> tuple[str, ...]:
        """Devices that may be dark already."""
        return _names(self.base.likely.network, self.base.may)

    def of(self, what: str) -> FailureResult:
        """The result of a failure by its name. Raises KeyError where the study has none of that name."""
        for result in self.results:
            if result.failure.what == what:
                return result
        raise KeyError(what)


def base_state(network: Network, load: Load, outage: Outage = NOTHING_OUT) -> Base:
    """Solve the state that everything else is compared with."""
    likely = solve(network, load, outage)
    bounds = likely if load.exact and not outage.unsure_feeds else solve(network, load, outage, bounds=True)
    dark: list[Place] = []
    may: list[Place] = []
    for unit in network.units:
        for port in unit.ports:
            if port.device is None or port.off:
                continue
            state = bounds.device_state(unit.index, port.at)
            if state == DARK:
                dark.append((unit.index, port.at))
            elif state == MAY:
                may.append((unit.index, port.at))
    return Base(likely, bounds, frozenset(dark), frozenset(may))


def study_failures(
    network: Network,
    load: Load,
    outage: Outage = NOTHING_OUT,
    *,
    pairs: bool = False,
    failures: Iterable[Failure] | None = None,
) -> FailureStudy:
    """Every single failure, then all unbacked AC, then with `pairs` every two circuits; or the `failures` given."""
    base = base_state(network, load, outage)
    wanted = _all(network, outage, pairs) if failures is None else failures
    return FailureStudy(load, base, tuple(study_one(base, failure) for failure in wanted))


def study_one(base: Base, failure: Failure, *, whole: bool = False) -> FailureResult:
    """One failure. `whole` works every unit out anew instead of the touched ones; the result is the same."""
    likely = _after(base.likely, failure, whole)
    bounds = likely if base.bounds is base.likely else _after(base.bounds, failure, whole)
    return _Reader(base, failure, likely, bounds).result()


def _all(network: Network, outage: Outage, pairs: bool) -> Iterator[Failure]:
    yield from single_failures(network, outage)
    everything = all_unbacked_ac(network, outage)
    if everything is not None:
        yield everything
    if pairs:
        yield from circuit_pairs(network, outage)


def _after(base: Solution, failure: Failure, whole: bool) -> Solution:
    gap = solve_after(base, failure.outage, failure.hit, whole=whole)
    if failure.after is None:
        return gap
    # a generator has taken over by now: what was shed while it started stays off, as long as its unit stayed on
    off = {at: gap.demand(at).cut | gap.shed_before(at) for at in gap.touched if gap.power(at) != DARK}
    shed = {at: ports for at, ports in off.items() if ports}
    more = failure.after.plus(Outage(off_ports=shed))
    found = solve_after(base, more, failure.hit | set(shed), whole=whole)
    for at, ports in shed.items():
        found.shed[at] = found.shed_before(at) | ports
    return found


def _names(network: Network, places: Iterable[Place]) -> tuple[str, ...]:
    return tuple(network.units[at].ports[port].device or "" for at, port in sorted(places))


class _Reader:
    """Reads the result of one failure out of its solution."""

    def __init__(self, base: Base, failure: Failure, likely: Solution, bounds: Solution) -> None:
        self._base, self._failure, self._likely, self._bounds = base, failure, likely, bounds
        self._network = likely.network
        self._touched = likely.touched if bounds is likely else tuple(sorted({*likely.touched, *bounds.touched}))

    def result(self) -> FailureResult:
        dark, may = self._devices()
        limits = list(self._limits())
        worst = max(limits, key=lambda limit: (limit.share, limit.short_w), default=None)
        keep = self._network.site.policy.margin_after_failure_percent
        minutes, battery = self._battery()
        dark_units = tuple(at for at in self._touched if self._went_dark(at))
        restarts, may_restart = self._restarts()
        return FailureResult(
            network=self._network,
            failure=self._failure,
            dark_ports=dark,
            may_ports=may,
            dark_at_base=self._base.dark,
            dark_unit_numbers=dark_units,
            unreachable_numbers=self._unreachable(dark_units),
            degraded_numbers=tuple(at for at in self._touched if self._degraded(at)),
            moved_numbers=tuple(at for at in self._touched if self._moved(at)),
            one_leg_numbers=self._on_one_leg(),
            restart_numbers=restarts,
            may_restart_numbers=may_restart,
            touched_numbers=self._touched,
            worst=worst,
            over=tuple(limit for limit in limits if limit.over),
            margin_used=worst is not None and worst.share > 1 - keep / 100 + 1e-9,
            minutes=minutes,
            battery=battery,
            reasons=tuple(line for at in self._touched for line in self._new_reasons(at)),
            verdict=judged(self._network, self._failure, self._bounds, dark, may, minutes, battery),
        )

    def _devices(self) -> tuple[tuple[Place, ...], tuple[Place, ...]]:
        now, before = self._bounds, self._base.bounds
        dark: list[Place] = []
        may: list[Place] = []
        for at in self._bounds.touched:
            if now.power(at) == before.power(at) and self._same_ports(at):
                continue
            for port in self._network.units[at].ports:
                if port.device is None or port.off:
                    continue
                state = now.device_state(at, port.at)
                if state == SURE:
                    continue
                was = before.device_state(at, port.at)
                if state < was:
                    (dark if state == DARK else may).append((at, port.at))
        return tuple(dark), tuple(may)

    def _same_ports(self, at: int) -> bool:
        now, before = self._bounds.demand(at), self._base.bounds.demand(at)
        stands, stood = self._bounds.standing(at), self._base.bounds.standing(at)
        return (
            now.cut == before.cut
            and now.may_cut == before.may_cut
            and now.may_drop == before.may_drop
            and now.dropped == before.dropped
            and stands.gives == stood.gives
            and stands.grant.refused == stood.grant.refused
            and self._bounds.outage.off_ports.get(at) == self._base.bounds.outage.off_ports.get(at)
        )

    def _limits(self) -> Iterator[LimitState]:
        """Limits that the failure loads more, lowers, or brings into play, and all of units that move."""
        solution, before = self._likely, self._base.likely
        sources: dict[str, None] = {}
        for at in self._likely.touched:
            unit = self._network.units[at]
            demand, was = solution.demand(at), before.demand(at)
            standing, stood = solution.standing(at), before.standing(at)
            more = demand.asked_w > was.asked_w + 1e-6 or demand.booked_w > was.booked_w + 1e-6
            if more or standing.budget_w < stood.budget_w - 1e-6 or standing.leg is not stood.leg:
                yield from unit_limits(solution, unit)
            if demand is not was or standing is not stood:
                for source in unit.sources:
                    sources[source] = None
        sources.update((name, None) for name in self._network.site.ups if self._new_on_battery(name))
        yield from source_limits(solution, sources)

    def _new_on_battery(self, name: str) -> bool:
        inputs = self._likely.outage.inputs
        return inputs is not self._base.likely.outage.inputs and on_battery(self._likely, name)

    def _battery(self) -> tuple[float | None, str]:
        """The UPS that gives out first, at the most that it may have to give."""
        if not self._failure.outage.inputs and not self._base.likely.outage.inputs:
            return None, ""
        found = [
            (battery_minutes(self._bounds, name), name)
            for name in self._network.site.ups
            if on_battery(self._bounds, name)
        ]
        return min(found, default=(None, ""))

    def _went_dark(self, at: int) -> bool:
        return self._bounds.power(at) == DARK and self._base.bounds.power(at) != DARK

    def _moved(self, at: int) -> bool:
        leg = self._likely.standing(at).leg
        return leg is not CarriedBy.NONE and leg is not self._base.likely.standing(at).leg

    def _degraded(self, at: int) -> bool:
        if self._likely.power(at) == DARK:
            return False
        now, before = self._likely.demand(at), self._base.likely.demand(at)
        off = self._likely.outage.off_ports.get(at, NO_PORTS) - self._base.likely.outage.off_ports.get(at, NO_PORTS)
        refused = self._likely.standing(at).grant.refused - self._base.likely.standing(at).grant.refused
        return bool(now.cut - before.cut or now.may_drop - before.may_drop or off or refused)

    def _on_one_leg(self) -> tuple[int, ...]:
        wanted = set(self._touched)
        for at in self._likely.touched:
            for port in self._likely.demand(at).cut:
                child = self._network.units[at].ports[port].child
                if child >= 0:
                    wanted.add(child)
        return tuple(
            at for at in sorted(wanted) if self._legs(self._base.likely, at) > 1 and self._legs(self._likely, at) == 1
        )

    def _legs(self, solution: Solution, at: int) -> int:
        unit, standing = self._network.units[at], solution.standing(at)
        count = int(any(standing.supplies))
        for place, state in enumerate(standing.feeds):
            feed = unit.feeds[place]
            if state and solution.port_state(feed.feeder, feed.at) and solution.power(feed.feeder):
                count += 1
        return count

    def _unreachable(self, dark: tuple[int, ...]) -> tuple[int, ...]:
        waiting = [child for at in dark for child in self._network.data_children[at]]
        waiting.extend(self._failure.data_cut)
        found: set[int] = set()
        seen: set[int] = set()
        while waiting:
            at = waiting.pop()
            if at in seen:
                continue
            seen.add(at)
            if self._likely.power(at) != DARK:
                found.add(at)
            waiting.extend(self._network.data_children[at])
        return tuple(sorted(found))

    def _restarts(self) -> tuple[tuple[int, ...], tuple[int, ...]]:
        surely: list[int] = []
        perhaps: list[int] = []
        for at in self._likely.touched:
            standing = self._likely.standing(at)
            if standing.restarted:
                surely.append(at)
            elif self._moved(at) and self._network.units[at].sheds_in_time is None:
                perhaps.append(at)
        return tuple(surely), tuple(perhaps)

    def _new_reasons(self, at: int) -> Iterator[str]:
        now, before = self._likely.demand(at), self._base.likely.demand(at)
        if now is before:
            return
        for line in now.reasons:
            if line not in before.reasons:
                yield line
        for ask in now.feeds:
            if ask.reason is not None and ask.carries:
                yield ask.reason
