"""Can this device be added here? Every free port, on both legs, in every case, after every failure, with margins.

A limit counts where the new device asks more of it. It binds when the margin is used: the one for normal running,
or the one after a failure; a start-up may use the margin. What was used up without the device binds too: more load
makes it no better. A device that would go dark, or may, and did not before, is a reason of its own, and so is the
new device itself where the site promises that it stays.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.powerflow.failure import FailureKind, all_unbacked_ac, single_failures
from portdraw.powerflow.failure_result import Place
from portdraw.powerflow.fit_result import (
    STEADY,
    Fit,
    Leg,
    LegRoom,
    LimitRoom,
    PortFit,
    one_for_each_limit,
    said_once,
    worst_by_case,
)
from portdraw.powerflow.fit_states import SiteState, SiteStates, asks_no_more
from portdraw.powerflow.free_port import NEW_DEVICE, FreePort, Wish, free_ports, site_with, without_free_port
from portdraw.powerflow.limit_state import LimitState, limit_states
from portdraw.powerflow.load import DARK, SURE, Load, UnitLoad, planned_load
from portdraw.powerflow.network import NetPort, NetUnit, Network, network_of
from portdraw.powerflow.shedding import STEP_W
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.solve import solve
from portdraw.powerflow.source_load import battery_minutes, on_battery
from portdraw.powerflow.start_up import mixed
from portdraw.powerflow.state import Outage
from portdraw.powerflow.unit_flow import CarriedBy
from portdraw.powerflow.verdict import judged

MOST_PORTS = 60
"""Kinds of free ports that are looked at, the nearest first: a large site has thousands alike."""

NOTHING_ASKED = (0.0, 0.0, 0.0)
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
    study = _Study(site, network, wish, looked_at)
    own = study.own(looked_at)
    found = sorted((study.port(free, own) for free in looked_at), key=_rank)
    path = sorted({at for free in looked_at for at in study.path(network.index[free.unit])})
    new = {f"{free.unit} port {free.port}" for free in looked_at}
    said = [*wish.assumed, *(_of_new(line, new) for at in path for line in network.assumed.get(at, ()))]
    planned = (line for load in study.planned.values() for at in path for line in load.units[at].assumed)
    said.extend(line for line in planned if line.partition(": ")[0] not in new)
    assumed = tuple(dict.fromkeys(said))
    return Fit(wish, own, tuple(found), without_free_port(site), len(every) - len(looked_at), assumed)


def _of_new(line: str, new: set[str]) -> str:
    """An assumption about the new device's cable, which is the same on every port."""
    where, _, what = line.partition(": ")
    return f"{NEW_DEVICE}: {what}" if where in new else line


def _rank(fit: PortFit) -> tuple[bool, int, bool, float]:
    tight = 0.0 if fit.tightest is None else fit.tightest.share
    return (not fit.fits, fit.free.nearness, bool(fit.unpowered), tight)


class _Study:
    """Holds the states without the device, for all ports that are looked at."""

    def __init__(self, site: Site, network: Network, wish: Wish, ports: Iterable[FreePort]) -> None:
        self._site, self._network, self._wish = site, network, wish
        self._policy = network.site.policy
        self._new: dict[int, set[int]] = {}
        for free in ports:
            at = network.index[free.unit]
            self._new.setdefault(at, set()).add(_port_of(network.units[at], free.port).at)
        self.planned = {case: planned_load(network, case) for case in STEADY}
        self._loads = {case: self._without(load) for case, load in self.planned.items()}
        self._failures = list(single_failures(network))
        everything = all_unbacked_ac(network)
        if everything is not None and self._policy.must_survive.all_unbacked_ac is not None:
            self._failures.append(everything)
        empty = self._off()
        self._states = {case: SiteStates(network, load, self._failures, empty) for case, load in self._loads.items()}
        self._bounds: dict[Case, SiteStates] = {}
        self._paths: dict[int, tuple[int, ...]] = {}

    def _without(self, load: Load) -> Load:
        units = list(load.units)
        for at, ports in self._new.items():
            units[at] = mixed(units[at], units[at], (), ports)
        return replace(load, units=tuple(units))

    def _off(self, but: tuple[int, int] | None = None) -> Outage:
        """Ports of the new device that are off: all but one, where a unit would set watts aside for them."""
        off: dict[int, frozenset[int]] = {}
        for at, ports in self._new.items():
            left = frozenset(port for port in ports if (at, port) != but)
            if left and self._network.units[at].admission != "drawn":
                off[at] = left
        return Outage(off_ports=off)

    def path(self, at: int) -> tuple[int, ...]:
        """A unit and all that may feed it."""
        found = self._paths.get(at)
        if found is None:
            seen, waiting = {at}, [at]
            while waiting:
                for feed in self._network.units[waiting.pop()].feeds:
                    if feed.feeder not in seen:
                        seen.add(feed.feeder)
                        waiting.append(feed.feeder)
            found = self._paths[at] = tuple(sorted(seen))
        return found

    def own(self, ports: Iterable[FreePort]) -> tuple[str, ...]:
        """What speaks against the device and its cable on every port that grants its class: not against a port."""
        granting = 0
        said: Counter[str] = Counter()
        for free in ports:
            unit = self._network.units[self._network.index[free.unit]]
            port = _port_of(unit, free.port)
            if not port.refused and port.classes == port.asked:
                granting += 1
                said.update(dict.fromkeys(self._unpowered(port), 1))
        return tuple(reason for reason, count in said.items() if count == granting)

    def port(self, free: FreePort, own: tuple[str, ...]) -> PortFit:
        """One free port, held against everything; `own` is what speaks against the device anywhere."""
        unit = self._network.units[self._network.index[free.unit]]
        port = _port_of(unit, free.port)
        asked = {case: port.line.carry(self._wish.watts(case)).pse_w for case in (*STEADY, Case.STARTUP)}
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
                base: Solution | None = None
                for state in self._deciding(beside, case, self.path(unit.index), asked):
                    base = solve(self._network, load, self._off((unit.index, port.at))) if base is None else base
                    after = state.again(base)
                    found = list(self._rooms(state, after, unit.index, case, beside))
                    rooms.extend(found)
                    stands_on = after.standing(unit.index).leg
                    legs.extend(LegRoom(leg, room) for leg in _LEGS[stands_on] for room in found)
                    if case is beside:
                        darkens.extend(self._darkens(state, after, unit.index, port, case))
                        minutes.extend(self._minutes(state, after, case))
        unpowered = tuple(
            f"{port.where(unit)}: {reason}"
            for reason in self._unpowered(port, unit)
            if reason not in own or port.classes != port.asked
        )
        bound = one_for_each_limit(room for room in rooms if room.binds)
        if not (unpowered or bound or darkens or minutes) and not self._network.exact:
            darkens.extend(self._may_darken(unit, port, asked))
        return PortFit(
            free=free,
            at_port_w=asked,
            unpowered=unpowered,
            binding=bound,
            darkens=said_once(darkens),
            minutes=tuple(minutes),
            legs=worst_by_case(legs),
            tightest=max(rooms, key=lambda room: room.share, default=None),
            dark_with=tuple(self._dark_with(unit)),
        )

    def _deciding(
        self, beside: Case, case: Case, path: tuple[int, ...], asked: dict[Case, float | None]
    ) -> Iterator[SiteState]:
        """States that can tell something new: of a start-up, those that ask more than the same state of another load.

        A start-up may use the margins, so that normal running and failures are held to the same.
        """
        states = self._states[beside]
        start_w = asked[Case.STARTUP] or 0.0
        others = [other for other in STEADY if start_w > (asked[other] or 0.0) + STEP_W]
        for state in states.deciding(path):
            if case is Case.STARTUP and any(self._heavier(other, state, beside, path) for other in others):
                continue
            yield state

    def _heavier(self, other: Case, state: SiteState, beside: Case, path: tuple[int, ...]) -> bool:
        """Whether the same state asks as much of every limit under another load, and of some more."""
        if other is beside:
            return False
        there = self._states[other]
        if there.key(there.all[state.number], path) != self._states[beside].key(state, path):
            return False
        mine, its = self._states[beside].limits(state, path), there.limits(there.all[state.number], path)
        alike = asks_no_more(its, mine)
        later = STEADY.index(other) > STEADY.index(beside)
        return asks_no_more(mine, its) and (not alike or later)

    def _unpowered(self, port: NetPort, unit: NetUnit | None = None) -> Iterator[str]:
        """Why the device can't work on a port, without the port's name."""
        if port.refused:
            most = 4 if unit is None or unit.unit.pse is None else unit.unit.pse.class_max
            yield f"it asks for class {port.asked}, the port grants {most} at most"
            return
        for case in (*STEADY, Case.STARTUP):
            reason = port.line.carry(self._wish.watts(case)).reason
            if reason is not None:
                said = reason.removeprefix(f"{port.line.link.name}: ")
                yield f"{said} ({case.value}, {self._wish.watts(case):g} W at the device)"
        if unit is not None and unit.index in self._network.uncomputed:
            yield self._network.uncomputed[unit.index]

    def _rooms(self, state: SiteState, after: Solution, at: int, case: Case, beside: Case) -> Iterator[LimitRoom]:
        margin = self._policy.margin_percent if state.failure is None else self._policy.margin_after_failure_percent
        margin = 0.0 if case is Case.STARTUP else margin
        states, path = self._states[beside], self.path(at)
        before = states.limits(state, path)
        more = [other for other in after.touched if other not in path] if self._spreads(at) else []
        known = before if not more else {
            **before, **{limit.limit: limit[2:5] for limit in limit_states(state.solution, more)}
        }  # fmt: skip
        for limit in limit_states(after, (*path, *more)):
            was_w = max(known.get(limit.limit, NOTHING_ASKED)[:2])
            if _asks_more(limit, was_w):
                name = states.plainest(state, limit.limit, path) if limit.limit in before else state.name
                yield LimitRoom(name, case, beside, limit, was_w, margin)

    def _spreads(self, at: int) -> bool:
        """Whether a unit's watts change the volts of units below it: its ports may follow its input."""
        return any(self._network.units[here].boosted is not True for here in self.path(at))

    def _darkens(self, state: SiteState, after: Solution, at: int, port: NetPort, case: Case) -> Iterator[str]:
        """Devices that have power in this state without the new one and not with it, and the new one itself."""
        was, may = state.solution, after.bounds
        names: list[str] = []
        everywhere = range(len(self._network.units)) if self._spreads(at) else ()
        for other in {*self.path(at), *after.touched, *was.touched, *everywhere}:
            if was.power(other) == after.power(other) and was.ports_gone(other) == after.ports_gone(other):
                continue
            new = self._new.get(other, ())
            for one in self._network.units[other].ports:
                if one.device is not None and not one.off and one.at not in new:
                    stood, stands = was.device_state(other, one.at), after.device_state(other, one.at)
                    if stands < stood and (may or stands == DARK):
                        names.append(one.device)
        when = f"{state.name}, {case.value}"
        if names:
            more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
            verb = "may darken" if may else "darkens"
            yield f"{when}: {verb} {', '.join(sorted(names)[:_NAMED])}{more}"
        own = after.device_state(at, port.at)
        if own == SURE or port.refused or (own != DARK and not may):
            return
        place = ((at, port.at),)
        parts: tuple[tuple[Place, ...], ...] = (place,)
        dark, perhaps = (parts, ()) if own == DARK else ((), parts)
        standing = after.standing(at)
        no_leg = standing.leg is CarriedBy.NONE and (after.power(at) == DARK or not standing.gives)
        out_of_legs = (at,) if no_leg else ()
        if (
            state.failure is None
            or judged(self._network, state.failure, out_of_legs, dark, perhaps, None, "").broken_by
        ):
            where = f"{port.where(self._network.units[at])}: "
            why = next((line for line in after.demand(at).reasons if line.startswith(where)), "")
            because = f": {why.removeprefix(where)}" if why else ""
            yield f"{when}: the device itself {'goes' if own == DARK else 'may go'} dark{because}"

    def _may_darken(self, unit: NetUnit, port: NetPort, asked: dict[Case, float | None]) -> Iterator[str]:
        """The same where the truth lies between bounds: who surely stays without the new device, and may not with."""
        path = self.path(unit.index)
        for case in STEADY:
            watts = asked[case]
            if watts is None:
                continue
            if case not in self._bounds:
                self._bounds[case] = self._bounded(case)
            load = _with(self._loads[case], unit, port, watts, self._wish.watts(case))
            base = solve(self._network, load, self._off((unit.index, port.at)), bounds=True)
            for state in self._bounds[case].deciding(path):
                yield from self._darkens(state, state.again(base), unit.index, port, case)

    def _bounded(self, case: Case) -> SiteStates:
        """States without the device, between bounds where the site itself leaves something open."""
        if planned_load(network_of(self._site), case).exact:
            return self._states[case]
        return SiteStates(self._network, self._loads[case], self._failures, self._off(), bounds=True)

    def _dark_with(self, unit: NetUnit) -> Iterator[str]:
        """Failures that take the whole unit away, under the largest load."""
        for state in self._states[STEADY[-1]].all:
            if state.failure is not None and not state.carried:
                gives = state.solution.standing(unit.index).gives and state.solution.power(unit.index) != DARK
                if not gives:
                    yield state.failure.what

    def _minutes(self, state: SiteState, after: Solution, case: Case) -> Iterator[str]:
        promise = self._policy.must_survive.all_unbacked_ac
        if state.failure is None or state.failure.kind is not FailureKind.ALL_UNBACKED_AC or promise is None:
            return
        for name in self._network.site.ups:
            lasts = battery_minutes(after, name)
            if on_battery(after, name) and lasts < promise.minutes and lasts < battery_minutes(state.solution, name):
                yield f"{name} lasts {lasts:.0f} min of the {promise.minutes:g} min promised ({case.value})"


def _asks_more(limit: LimitState, was_w: float) -> bool:
    return limit.need_w > was_w + STEP_W or limit.need_w == float("inf") or bool(limit.reason)


def _port_of(unit: NetUnit, key: str) -> NetPort:
    return next(port for port in unit.ports if port.key == key)


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
