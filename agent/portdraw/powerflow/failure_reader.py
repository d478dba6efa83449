"""Reads what a failure does out of its solution and the one before it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from portdraw.powerflow.demand import NO_PORTS, Demand
from portdraw.powerflow.failure import Failure, FailureKind
from portdraw.powerflow.failure_result import FailureResult, Place
from portdraw.powerflow.limit_state import LimitState, source_limits, unit_limits
from portdraw.powerflow.load import DARK, MAY
from portdraw.powerflow.shedding import STEP_W
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.source_load import battery_minutes, source_watts, supply_watts
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


def _badness(limit: LimitState) -> tuple[float, float, str]:
    """Sorts from fine to worst; what differs by arithmetic alone is the same, and then the name decides."""
    return (round(limit.share, 9), round(limit.short_w, 6), limit.limit)


class FailureReader:
    """Reads the result of one failure out of its solution."""

    def __init__(self, base: Base, failure: Failure, likely: Solution, bounds: Solution) -> None:
        self._base, self._failure, self._likely, self._bounds = base, failure, likely, bounds
        self._network = likely.network
        self._dark_units: list[int] = []
        self._moved: list[int] = []
        self._restarts: list[int] = []
        self._may_restart: list[int] = []
        self._degrades: list[int] = []
        self._one_leg: list[int] = []
        self._reasons: list[str] = []
        self._touched = likely.touched if bounds is likely else tuple(sorted({*likely.touched, *bounds.touched}))

    def result(self) -> FailureResult:
        dark, may = self._devices()
        limits = list(self._limits())
        worst = max(limits, key=_badness, default=None)
        keep = self._network.site.policy.margin_after_failure_percent
        minutes, battery = self._battery()
        self._read_units()
        dark_units = tuple(self._dark_units)
        return FailureResult(
            network=self._network,
            failure=self._failure,
            dark_ports=dark,
            may_ports=may,
            dark_at_base=self._base.dark,
            may_at_base=self._base.may,
            dark_unit_numbers=dark_units,
            unreachable_numbers=self._unreachable(dark_units),
            degraded_numbers=tuple(self._degrades),
            moved_numbers=tuple(self._moved),
            one_leg_numbers=tuple(self._one_leg),
            restart_numbers=tuple(self._restarts),
            may_restart_numbers=tuple(self._may_restart),
            touched_numbers=self._touched,
            worst=worst,
            over=tuple(limit for limit in limits if limit.over),
            margin_used=worst is not None and worst.share > 1 - keep / 100 + _SHARE_STEP,
            minutes=minutes,
            battery=battery,
            reasons=tuple(self._reasons),
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
            if unit.sources and (demand is not was or standing is not stood):
                for place, (now_w, before_w) in enumerate(
                    zip(supply_watts(solution, at), supply_watts(before, at), strict=True)
                ):
                    source = unit.sources[place]
                    rises = now_w[0] > before_w[0] or now_w[1] > before_w[1]
                    if rises and source not in solution.outage.sources:
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
        outage = self._failure.after or self._failure.outage
        if not outage.inputs:
            return ()
        found = [ups for name in outage.inputs for ups in self._network.ups_on.get(name, ())]
        if self._failure.kind is FailureKind.UPS_INPUT:
            found.append(self._failure.subject)
        return tuple(found)

    def _battery(self) -> tuple[float | None, str]:
        """The UPS that gives out first, at the most that it may have to give."""
        names = (*self._base.on_battery, *self._newly_on_battery())
        found = [
            (battery_minutes(self._bounds, name), name) for name in names if name not in self._bounds.outage.sources
        ]
        return min(found, default=(None, ""))

    def _read_units(self) -> None:
        """One walk over all units that the failure touches."""
        likely, before, bounds, bounded = self._likely, self._base.likely, self._bounds, self._base.bounds
        maybe_one_leg: set[int] = set()
        for at in self._touched:
            stands, stood = likely.standing(at), before.standing(at)
            demand, was = likely.demand(at), before.demand(at)
            power = likely.power(at)
            if bounds.power(at) == DARK and bounded.power(at) != DARK:
                self._dark_units.append(at)
            moved = stands.leg is not stood.leg and stands.leg is not CarriedBy.NONE
            if moved:
                self._moved.append(at)
            if stands.restarted:
                self._restarts.append(at)
            elif moved and self._network.units[at].sheds_in_time is None:
                self._may_restart.append(at)
            if power != DARK and self._degraded(at):
                self._degrades.append(at)
            if stands is not stood and (stands.feeds != stood.feeds or stands.supplies != stood.supplies):
                maybe_one_leg.add(at)
            ports = self._network.units[at].feed_ports
            if ports and power != before.power(at):
                maybe_one_leg.update(port.child for port in ports)
            elif ports and demand.cut is not was.cut and demand.cut != was.cut:
                maybe_one_leg.update(port.child for port in ports if port.at in demand.cut)
            if demand is not was:
                self._reasons.extend(_new_reasons(demand, was))
        self._one_leg = [
            at for at in sorted(maybe_one_leg) if self._legs(before, at) > 1 and self._legs(likely, at) == 1
        ]

    def _degraded(self, at: int) -> bool:
        now, before = self._likely.demand(at), self._base.likely.demand(at)
        refused = self._likely.standing(at).grant.refused
        refused_before = self._base.likely.standing(at).grant.refused
        off = self._likely.outage.off_ports.get(at, NO_PORTS)
        if not now.cut and not off and not now.may_drop and refused is refused_before:
            return False
        off_before = self._base.likely.outage.off_ports.get(at, NO_PORTS)
        gone = (now.cut | off) - before.cut - off_before
        return bool(gone or refused - refused_before or now.may_drop - before.may_drop)

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


def _new_reasons(now: Demand, before: Demand) -> Iterator[str]:
    for line in now.reasons:
        if line not in before.reasons:
            yield line
    for ask in now.feeds:
        if ask.reason is not None and ask.carries:
            yield ask.reason
