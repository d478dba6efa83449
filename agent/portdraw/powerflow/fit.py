"""Can this device be added here? Every free port, on both legs, in every case, after every failure, with margins.

A limit counts where the new device asks more of it. It binds when the margin is used: the one for normal running,
or the one after a failure; a start-up may use the margin. What was used up without the device binds too: more load
makes it no better. A device that would go dark after a failure, and did not before, is a reason of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.powerflow.failure import Failure, FailureKind, all_unbacked_ac, single_failures
from portdraw.powerflow.fit_result import NORMAL, Fit, Leg, LegRoom, LimitRoom, PortFit
from portdraw.powerflow.free_port import NEW_DEVICE, FreePort, Wish, free_ports, site_with, without_free_port
from portdraw.powerflow.limit_state import LimitState, limit_states
from portdraw.powerflow.load import DARK, Load, UnitLoad, planned_load
from portdraw.powerflow.network import NetPort, NetUnit, Network, network_of
from portdraw.powerflow.shedding import STEP_W
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.solve import solve, solve_after
from portdraw.powerflow.source_load import battery_minutes, on_battery
from portdraw.powerflow.start_up import mixed
from portdraw.powerflow.state import NOTHING_OUT
from portdraw.powerflow.unit_flow import CarriedBy

STEADY = (Case.TYPICAL, Case.NIGHT, Case.FROST_NIGHT)
MOST_PORTS = 60
"""Kinds of free ports that are looked at, the nearest first: a large site has thousands alike."""

_NAMED = 6
_LEGS: dict[CarriedBy, tuple[Leg, ...]] = {
    CarriedBy.AC: (Leg.AC,),
    CarriedBy.FEED: (Leg.FEED,),
    CarriedBy.EITHER: (Leg.AC, Leg.FEED),
    CarriedBy.NONE: (),
}


def study_fit(site: Site, wish: Wish, *, most_ports: int = MOST_PORTS) -> Fit:
    """Rank the free ports of a site for a device. Raises KeyError where `wish.near` names no unit."""
    every = free_ports(site, wish.near)
    looked_at = every[:most_ports]
    network = network_of(site_with(site, wish, looked_at))
    study = _Study(network, wish, looked_at)
    found = sorted((study.port(free) for free in looked_at), key=_rank)
    path = sorted({at for free in looked_at for at in study.path(network.index[free.unit])})
    new = {f"{free.unit} port {free.port}" for free in looked_at}
    said = [*wish.assumed, *(_of_new(line, new) for at in path for line in network.assumed.get(at, ()))]
    planned = (line for load in study.planned.values() for at in path for line in load.units[at].assumed)
    said.extend(line for line in planned if line.partition(": ")[0] not in new)
    assumed = tuple(dict.fromkeys(said))
    return Fit(wish, tuple(found), without_free_port(site), len(every) - len(looked_at), assumed)


def _of_new(line: str, new: set[str]) -> str:
    """An assumption about the new device's cable, which is the same on every port."""
    where, _, what = line.partition(": ")
    return f"{NEW_DEVICE}: {what}" if where in new else line


def _rank(fit: PortFit) -> tuple[bool, int, bool, float]:
    tight = 0.0 if fit.tightest is None else fit.tightest.share
    return (not fit.fits, fit.free.nearness, bool(fit.unpowered), tight)


@dataclass(slots=True)
class _State:
    """A state of the site without the new device, and whose limits it may move."""

    failure: Failure | None
    solution: Solution
    subjects: frozenset[str]
    dark: frozenset[tuple[int, int]] | None = None


class _Study:
    """Holds the states without the device, for all ports that are looked at."""

    def __init__(self, network: Network, wish: Wish, ports: Iterable[FreePort]) -> None:
        self._network, self._wish = network, wish
        self._policy = network.site.policy
        self._new: dict[int, set[int]] = {}
        for free in ports:
            at = network.index[free.unit]
            self._new.setdefault(at, set()).add(_port_of(network.units[at], free.port).at)
        self.planned = {case: planned_load(network, case) for case in STEADY}
        self._loads = {case: self._without(load) for case, load in self.planned.items()}
        failures = list(single_failures(network))
        everything = all_unbacked_ac(network)
        if everything is not None and self._policy.must_survive.all_unbacked_ac is not None:
            failures.append(everything)
        self._states = {case: list(self._before(load, failures)) for case, load in self._loads.items()}

    def _without(self, load: Load) -> Load:
        units = list(load.units)
        for at, ports in self._new.items():
            units[at] = mixed(units[at], units[at], (), ports)
        return replace(load, units=tuple(units))

    def _before(self, load: Load, failures: list[Failure]) -> Iterator[_State]:
        base = solve(self._network, load, NOTHING_OUT)
        everything = range(len(self._network.units))
        yield _State(None, base, self._subjects(everything))
        for failure in failures:
            after = solve_after(base, failure.outage, failure.hit)
            yield _State(failure, after, self._subjects(after.touched))

    def _subjects(self, units: Iterable[int]) -> frozenset[str]:
        """Units, and all that gives them AC."""
        site = self._network.site
        found: set[str] = set()
        for at in units:
            unit = self._network.units[at]
            found.add(unit.name)
            for source in unit.sources:
                found.add(source)
                if source in site.ups:
                    found.add(site.ups[source].input)
        return frozenset(found)

    def path(self, at: int) -> tuple[int, ...]:
        """A unit and all that may feed it."""
        found = {at}
        waiting = [at]
        while waiting:
            for feed in self._network.units[waiting.pop()].feeds:
                if feed.feeder not in found:
                    found.add(feed.feeder)
                    waiting.append(feed.feeder)
        return tuple(sorted(found))

    def port(self, free: FreePort) -> PortFit:
        """One free port, held against everything."""
        unit = self._network.units[self._network.index[free.unit]]
        port = _port_of(unit, free.port)
        path = self.path(unit.index)
        subjects = self._subjects(path)
        asked, unpowered = self._at_port(unit, port)
        rooms: list[LimitRoom] = []
        darkens: list[str] = []
        minutes: list[str] = []
        legs: list[LegRoom] = []
        for beside in STEADY:
            for case in (beside, Case.STARTUP):
                watts = asked[case]
                if watts is None or (case is Case.STARTUP and watts <= (asked[beside] or 0.0) + STEP_W):
                    continue
                load = _with(self._loads[beside], unit, port, watts, self._wish.watts(case))
                base = solve(self._network, load, NOTHING_OUT)
                for state in self._states[beside]:
                    if not subjects & state.subjects:
                        continue
                    after = _again(base, state.failure)
                    found = list(self._rooms(state, after, path, case, beside))
                    rooms.extend(found)
                    stands_on = after.standing(unit.index).leg
                    legs.extend(LegRoom(leg, room) for leg in _LEGS[stands_on] for room in found)
                    if state.failure is not None and case is beside:
                        darkens.extend(self._darkens(state, after, path, case))
                        minutes.extend(self._minutes(state, after, case))
        return PortFit(
            free=free,
            at_port_w=asked,
            unpowered=unpowered,
            binding=_one_for_each_limit(room for room in rooms if room.binds),
            darkens=tuple(darkens),
            minutes=tuple(minutes),
            legs=_worst_by_case(legs),
            tightest=max(rooms, key=lambda room: room.share, default=None),
        )

    def _at_port(self, unit: NetUnit, port: NetPort) -> tuple[dict[Case, float | None], tuple[str, ...]]:
        """Watts at the port in each case [W at the PSE output], None: no operating point; and what is against it."""
        asked: dict[Case, float | None] = {}
        reasons: list[str] = []
        if port.refused:
            most = 4 if unit.unit.pse is None else unit.unit.pse.class_max
            reasons.append(f"{port.where(unit)}: it asks for class {port.asked}, the port grants {most} at most")
        for case in (*STEADY, Case.STARTUP):
            power = port.line.carry(self._wish.watts(case))
            asked[case] = power.pse_w
            if power.reason is not None and not port.refused:
                reason = port.where(unit) + power.reason.removeprefix(port.line.link.name)
                reasons.append(f"{reason} ({case.value}, {self._wish.watts(case):g} W at the device)")
        if unit.index in self._network.uncomputed:
            reasons.append(self._network.uncomputed[unit.index])
        return asked, tuple(reasons)

    def _rooms(
        self, state: _State, after: Solution, path: tuple[int, ...], case: Case, beside: Case
    ) -> Iterator[LimitRoom]:
        margin = self._policy.margin_percent if state.failure is None else self._policy.margin_after_failure_percent
        name = NORMAL if state.failure is None else f"{state.failure.what} lost"
        margin = 0.0 if case is Case.STARTUP else margin
        before = {limit.limit: limit.need_w for limit in limit_states(state.solution, path)}
        for limit in limit_states(after, path):
            was_w = before.get(limit.limit, 0.0)
            if _asks_more(limit, was_w):
                yield LimitRoom(name, case, beside, limit, was_w, margin)

    def _darkens(self, state: _State, after: Solution, path: tuple[int, ...], case: Case) -> Iterator[str]:
        """Devices besides the new one that have power after this failure without it, and none with it."""
        assert state.failure is not None
        was = state.solution
        if all(was.ports_gone(at) == after.ports_gone(at) and was.power(at) == after.power(at) for at in path):
            return
        if state.dark is None:
            state.dark = frozenset(_dark(was))
        gone = [place for place in _dark(after) if place not in state.dark]
        names = [
            self._network.units[at].ports[port].device or "" for at, port in gone if port not in self._new.get(at, ())
        ]
        if names:
            more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
            yield f"{state.failure.what} lost, {case.value}: darkens {', '.join(names[:_NAMED])}{more}"

    def _minutes(self, state: _State, after: Solution, case: Case) -> Iterator[str]:
        promise = self._policy.must_survive.all_unbacked_ac
        if state.failure is None or state.failure.kind is not FailureKind.ALL_UNBACKED_AC or promise is None:
            return
        for name in self._network.site.ups:
            lasts = battery_minutes(after, name)
            if on_battery(after, name) and lasts < promise.minutes and lasts < battery_minutes(state.solution, name):
                yield f"{name} lasts {lasts:.0f} min of the {promise.minutes:g} min promised ({case.value})"


def _asks_more(limit: LimitState, was_w: float) -> bool:
    return limit.need_w > was_w + STEP_W or limit.need_w == float("inf") or bool(limit.reason)


def _again(base: Solution, failure: Failure | None) -> Solution:
    return base if failure is None else solve_after(base, failure.outage, failure.hit)


def _port_of(unit: NetUnit, key: str) -> NetPort:
    return next(port for port in unit.ports if port.key == key)


def _dark(solution: Solution) -> Iterator[tuple[int, int]]:
    for unit in solution.network.units:
        for port in unit.ports:
            if port.device is not None and solution.device_state(unit.index, port.at) == DARK:
                yield (unit.index, port.at)


def _with(load: Load, unit: NetUnit, port: NetPort, pse_w: float, pd_w: float) -> Load:
    """The load with the new device on one port."""
    was = load.units[unit.index]

    def put(figures: tuple[float, ...], watts: float) -> tuple[float, ...]:
        return (*figures[: port.at], watts, *figures[port.at + 1 :])

    least, likely, most = put(was.least, pse_w), put(was.likely, pse_w), put(was.most, pse_w)
    now = UnitLoad(
        least, likely, most, put(was.pd_least, pd_w), put(was.pd_likely, pd_w), put(was.pd_most, pd_w),
        was.status, was.reasons, was.assumed, sum(least), sum(likely), sum(most),
    )  # fmt: skip
    return replace(load, units=(*load.units[: unit.index], now, *load.units[unit.index + 1 :]))


def _one_for_each_limit(rooms: Iterable[LimitRoom]) -> tuple[LimitRoom, ...]:
    """One line for each limit that binds: steady cases first, normal running first, then the tightest."""
    found: dict[str, LimitRoom] = {}
    for room in sorted(rooms, key=lambda room: (room.case is Case.STARTUP, room.state != NORMAL, -room.share)):
        found.setdefault(room.limit.limit, room)
    return tuple(sorted(found.values(), key=lambda room: (room.case is Case.STARTUP, -room.share)))


def _worst_by_case(legs: Iterable[LegRoom]) -> tuple[LegRoom, ...]:
    """One line for each leg and case, start-up once, beside the case where it is tightest."""
    found: dict[tuple[Leg, Case], LegRoom] = {}
    for one in legs:
        key = (one.leg, one.room.case)
        if key not in found or one.room.share > found[key].room.share:
            found[key] = one
    return tuple(found[leg, case] for leg in Leg for case in (*STEADY, Case.STARTUP) if (leg, case) in found)
