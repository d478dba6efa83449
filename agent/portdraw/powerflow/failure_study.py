"""What fails next: from a state of the site, every failure, and what each does under a load.

The state is solved once; each failure is an overlay over it that works out only the units that it touches.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from portdraw.powerflow.demand import NO_PORTS
from portdraw.powerflow.failure import Failure, FailureKind, all_unbacked_ac, circuit_pairs, single_failures
from portdraw.powerflow.failure_result import FailureResult, Place
from portdraw.powerflow.limit_state import LimitState, source_limits, unit_limits
from portdraw.powerflow.load import DARK, MAY, Load
from portdraw.powerflow.network import Network
from portdraw.powerflow.shedding import STEP_W
from portdraw.powerflow.solve import Solution, solve, solve_after
from portdraw.powerflow.source_load import battery_minutes, on_battery, source_watts
from portdraw.powerflow.state import NOTHING_OUT, Outage
from portdraw.powerflow.unit_flow import CarriedBy
from portdraw.powerflow.verdict import judged

_SHARE_STEP = 1e-9  # of arithmetic


@dataclass(frozen=True, slots=True)
class Base:
    """The state before anything more fails: the likely figures, and the bounds. The same where all is exact."""

    likely: Solution
    bounds: Solution
    dark: frozenset[Place]
    may: frozenset[Place]
    on_battery: tuple[str, ...]
    _lit: dict[int, tuple[tuple[int, ...], frozenset[int]]] = field(default_factory=dict)
    _given: dict[str, float] = field(default_factory=dict)

    def lit(self, at: int) -> tuple[tuple[int, ...], frozenset[int]]:
        """Ports of a unit with devices that are not dark, and those of them that surely are not."""
        found = self._lit.get(at)
        if found is None:
            ports = [
                port.at
                for port in self.likely.network.units[at].ports
                if port.device is not None and not port.off and (at, port.at) not in self.dark
            ]
            found = (tuple(ports), frozenset(port for port in ports if (at, port) not in self.may))
            self._lit[at] = found
        return found

    def given_w(self, source: str) -> float:
        """Watts that a circuit or UPS gives, the larger of both ledgers."""
        found = self._given.get(source)
        if found is None:
            found = self._given[source] = max(source_watts(self.likely, source))
        return found


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
    battery = tuple(name for name in network.site.ups if on_battery(likely, name))
    return Base(likely, bounds, frozenset(dark), frozenset(may), battery)


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


def solution_after(base: Base, failure: Failure) -> Solution:
    """The likely figures of the state that a failure leaves."""
    return _after(base.likely, failure, whole=False)


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
            margin_used=worst is not None and worst.share > 1 - keep / 100 + _SHARE_STEP,
            minutes=minutes,
            battery=battery,
            reasons=tuple(line for at in self._touched for line in self._new_reasons(at)),
            verdict=judged(self._network, self._failure, self._bounds, dark, may, minutes, battery),
        )

    def _devices(self) -> tuple[tuple[Place, ...], tuple[Place, ...]]:
        now = self._bounds
        dark: list[Place] = []
        may: list[Place] = []
        for at in now.touched:
            lit, sure = self._base.lit(at)
            if not lit:
                continue
            power = now.power(at)
            if power == DARK or not now.standing(at).gives:
                dark.extend([(at, port) for port in lit])
                continue
            surely, perhaps = now.ports_gone(at)
            if surely:
                dark.extend([(at, port) for port in lit if port in surely])
            if power == MAY:
                may.extend([(at, port) for port in lit if port in sure and port not in surely])
            elif perhaps:
                may.extend([(at, port) for port in lit if port in sure and port in perhaps and port not in surely])
        return tuple(dark), tuple(may)

    def _limits(self) -> Iterator[LimitState]:
        """Limits that the failure loads more, lowers, or brings into play, and all of units that move."""
        solution, before = self._likely, self._base.likely
        sources: dict[str, None] = {}
        for at in self._likely.touched:
            unit = self._network.units[at]
            demand, was = solution.demand(at), before.demand(at)
            standing, stood = solution.standing(at), before.standing(at)
            more = demand.asked_w > was.asked_w + STEP_W or demand.booked_w > was.booked_w + STEP_W
            if more or standing.budget_w < stood.budget_w - STEP_W or standing.leg is not stood.leg:
                yield from unit_limits(solution, unit)
            if demand is not was or standing is not stood:
                for source in unit.sources:
                    sources[source] = None
        sources.update(dict.fromkeys(self._newly_on_battery()))
        yield from self._more_than_before(sources)

    def _more_than_before(self, sources: Iterable[str]) -> Iterator[LimitState]:
        """Of the sources that a failure touches those that give more now, or give from a battery."""
        newly = self._newly_on_battery()
        for limit in source_limits(self._likely, sources):
            if limit.need_w > self._base.given_w(limit.subject) + STEP_W or limit.subject in newly:
                yield limit

    def _newly_on_battery(self) -> tuple[str, ...]:
        """UPS that lose their input by this failure."""
        found = [ups for name in self._failure.outage.inputs for ups in self._network.ups_on.get(name, ())]
        if self._failure.kind is FailureKind.UPS_INPUT:
            found.append(self._failure.subject)
        return tuple(found) if self._failure.after is None else ()

    def _battery(self) -> tuple[float | None, str]:
        """The UPS that gives out first, at the most that it may have to give."""
        names = (*self._base.on_battery, *self._newly_on_battery())
        found = [
            (battery_minutes(self._bounds, name), name) for name in names if name not in self._bounds.outage.sources
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
        off = self._likely.outage.off_ports.get(at, NO_PORTS)
        off_before = self._base.likely.outage.off_ports.get(at, NO_PORTS)
        refused = self._likely.standing(at).grant.refused - self._base.likely.standing(at).grant.refused
        gone = (now.cut | off) - before.cut - off_before
        return bool(gone or refused or now.may_drop - before.may_drop)

    def _on_one_leg(self) -> tuple[int, ...]:
        likely, before = self._likely, self._base.likely
        wanted: set[int] = set()
        for at in likely.touched:
            stands, stood = likely.standing(at), before.standing(at)
            if stands.feeds != stood.feeds or stands.supplies != stood.supplies:
                wanted.add(at)
            gone = likely.power(at) != before.power(at) or likely.demand(at).cut != before.demand(at).cut
            if gone:
                wanted.update(port.child for port in self._network.units[at].feed_ports)
        return tuple(at for at in sorted(wanted) if self._legs(before, at) > 1 and self._legs(likely, at) == 1)

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
