"""Reads what a failure does in a part of the site out of its solution and the one before it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from portdraw.powerflow.demand import NO_PORTS, Demand
from portdraw.powerflow.failure_result import Place
from portdraw.powerflow.leaf_change import LeafChange
from portdraw.powerflow.limit_state import LimitState, budget_limit, unit_limits
from portdraw.powerflow.load import DARK, MAY
from portdraw.powerflow.network import NetUnit
from portdraw.powerflow.shedding import STEP_W
from portdraw.powerflow.site_part import PartFailure, Splitter
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.source_load import given_watts, source_watts, supply_watts
from portdraw.powerflow.standing import Standing
from portdraw.powerflow.unit_flow import CarriedBy

_STEP = 1e-8  # of a share: closer than this the whole order decides
Numbers = tuple[int, ...]
Places = tuple[Place, ...]
Given = tuple[float, float]  # [W], drawn and booked


class Effect(NamedTuple):
    """What a failure does in one part of the site, by numbers of the network, lowest first.

    `dark` and `may` are devices, part by part. `cut_off` are units whose devices go dark as no leg is left to them.
    `powers` are units whose power changes, and what it is then. `worst` is the most loaded of the unit limits that
    are touched, `over` and `shed_by` are those that bind and those that shed, by unit. `gives` is how much more each
    circuit and UPS gives than before [W], drawn and booked; `may_give` the same at the most.
    """

    touched: Numbers
    dark: tuple[Places, ...]
    may: tuple[Places, ...]
    cut_off: Numbers
    dark_units: Numbers
    degraded: Numbers
    moved: Numbers
    one_leg: Numbers
    restarts: Numbers
    may_restart: Numbers
    powers: tuple[tuple[int, int], ...]
    reasons: tuple[tuple[int, str], ...]
    worst: LimitState | None
    over: tuple[tuple[int, LimitState], ...]
    shed_by: tuple[tuple[int, LimitState], ...]
    gives: tuple[tuple[str, float, float], ...]
    may_give: tuple[tuple[str, float, float], ...]


@dataclass(frozen=True, slots=True)
class Base:
    """The state before anything more fails: the likely figures, and the bounds. The same where all is exact.

    `effects` are those that were worked out already.
    """

    likely: Solution
    bounds: Solution
    dark: frozenset[Place]
    may: frozenset[Place]
    on_battery: tuple[str, ...]
    splitter: Splitter
    leaves: LeafChange
    effects: dict[PartFailure, Effect] = field(default_factory=dict)
    _lit: dict[int, tuple[Places, frozenset[int]]] = field(default_factory=dict)
    _given: dict[str, Given] = field(default_factory=dict)
    _may_give: dict[str, Given] = field(default_factory=dict)

    def lit(self, at: int) -> tuple[Places, frozenset[int]]:
        """Ports of a unit with devices that are not dark, and those of them that surely are not."""
        found = self._lit.get(at)
        if found is None:
            unit = self.likely.network.units[at]
            places = [(at, port.at) for port in unit.ports if port.device is not None and not port.off]
            if self.dark:
                places = [place for place in places if place not in self.dark]
            found = (tuple(places), frozenset(place[1] for place in places if place not in self.may))
            self._lit[at] = found
        return found

    def given(self, source: str) -> Given:
        """Watts that a circuit or UPS gives, drawn and booked."""
        found = self._given.get(source)
        if found is None:
            found = self._given[source] = source_watts(self.likely, source)
        return found

    def may_give(self, source: str) -> Given:
        """The most that a circuit or UPS may have to give [W], drawn and booked."""
        found = self._may_give.get(source)
        if found is None:
            found = self._may_give[source] = source_watts(self.bounds, source)
        return found


def worst_of(limits: Iterable[LimitState]) -> LimitState | None:
    """The most loaded of some limits."""
    worst: LimitState | None = None
    most = 0.0
    for limit in limits:
        share = limit.share
        if worst is None or share > most + _STEP or (share >= most - _STEP and badness(limit) > badness(worst)):
            worst, most = limit, share
    return worst


def badness(limit: LimitState) -> tuple[float, float, str]:
    """Sorts from fine to worst; what differs by arithmetic alone is the same, and then the name decides."""
    return (round(limit.share, 9), round(limit.short_w, 6), limit.limit)


class EffectReader:
    """Reads one effect. `gap` is the state until generators carry, the same as `likely` where none does."""

    def __init__(self, base: Base, gap: Solution, likely: Solution, bounds: Solution) -> None:
        self._base, self._gap, self._likely, self._bounds = base, gap, likely, bounds
        self._units = likely.network.units
        self._off_differs = likely.outage.off_ports is not base.likely.outage.off_ports
        self._dark: list[Place] = []
        self._may: list[Place] = []
        self._cut_off: list[int] = []
        self._dark_units: list[int] = []
        self._moved: list[int] = []
        self._restarts: list[int] = []
        self._may_restart: list[int] = []
        self._maybe_one_leg: set[int] = set()

    def effect(self) -> Effect:
        """Walk once over all units that the failure touches."""
        base, likely, bounds, before = self._base, self._likely, self._bounds, self._base.likely
        apart = bounds is not likely
        touched = tuple(sorted({*likely.touched, *bounds.touched})) if apart else likely.touched
        degraded: list[int] = []
        powers: list[tuple[int, int]] = []
        reasons: list[tuple[int, str]] = []
        limits: list[tuple[int, LimitState]] = []
        shed_by: list[tuple[int, LimitState]] = []
        gives: dict[str, Given] = {}
        may_give: dict[str, Given] = {}
        for at in touched:
            unit = self._units[at]
            stands, stood = likely.standing(at), before.standing(at)
            demand, was = likely.demand(at), before.demand(at)
            power, had = likely.power(at), before.power(at)
            if apart:
                self._devices(at, bounds.standing(at), bounds.power(at), base.bounds.power(at))
            else:
                self._devices(at, stands, power, had)
            moved = stands.leg is not stood.leg
            if stands is not stood:
                self._leg(unit, stands, stood)
            if power != had:
                powers.append((at, power))
                self._maybe_one_leg.update([port.child for port in unit.feed_ports])
            if power != DARK and (
                demand.cut or demand.may_drop or self._off_differs or stands.grant.refused is not stood.grant.refused
            ):
                degraded.extend(self._degraded(at))
            if demand is not was:
                if unit.feed_ports and demand.cut != was.cut:
                    self._maybe_one_leg.update([port.child for port in unit.feed_ports if port.at in demand.cut])
                if demand.reasons or demand.feeds:
                    reasons.extend([(at, line) for line in _new_reasons(demand, was)])
            # limits that the failure loads more, lowers, or brings into play, and all of units that move
            more = demand.asked_w > was.asked_w + STEP_W or demand.booked_w > was.booked_w + STEP_W
            if more or moved or stands.budget_w < stood.budget_w - STEP_W:
                limits.extend([(at, limit) for limit in unit_limits(likely, unit)])
            if self._gap.demand(at).cut - was.cut:
                shed_by.append((at, budget_limit(self._gap, unit)))
            if unit.sources:
                if (
                    stands.supplies != stood.supplies
                    or moved
                    or demand.served_w != was.served_w
                    or _books(demand, was)
                ):
                    _more_given(gives, before, unit, given_watts(unit, stands, demand, power))
                if apart:
                    may_watts = given_watts(unit, bounds.standing(at), bounds.demand(at), bounds.power(at))
                    _more_given(may_give, base.bounds, unit, may_watts)
        rows = _as_rows(gives)
        return Effect(
            touched,
            (tuple(self._dark),) if self._dark else (),
            (tuple(self._may),) if self._may else (),
            tuple(self._cut_off),
            tuple(self._dark_units),
            tuple(degraded),
            tuple(self._moved),
            self._one_leg() if self._maybe_one_leg else (),
            tuple(self._restarts),
            tuple(self._may_restart),
            tuple(powers),
            tuple(reasons),
            worst_of([limit for _, limit in limits]),
            tuple([one for one in limits if one[1].over]),
            tuple([one for one in shed_by if one[1].over]),
            rows,
            _as_rows(may_give) if apart else rows,
        )

    def _devices(self, at: int, standing: Standing, power: int, had: int) -> None:
        if power == DARK and had != DARK:
            self._dark_units.append(at)
        lit, sure = self._base.lit(at)
        if not lit:
            return
        if power == DARK or not standing.gives:
            self._dark.extend(lit)
            if standing.leg is CarriedBy.NONE:
                self._cut_off.append(at)
            return
        surely, perhaps = self._bounds.ports_gone(at)
        if surely:
            self._dark.extend([place for place in lit if place[1] in surely])
        if power == MAY:
            open_ports = sure - surely
            self._may.extend([place for place in lit if place[1] in open_ports])
        elif perhaps is not surely:
            open_ports = (perhaps & sure) - surely
            if open_ports:
                self._may.extend([place for place in lit if place[1] in open_ports])

    def _leg(self, unit: NetUnit, now: Standing, before: Standing) -> None:
        if now.restarted:
            self._restarts.append(unit.index)
        if now.leg is not before.leg and now.leg is not CarriedBy.NONE:
            self._moved.append(unit.index)
            if unit.sheds_in_time is None and not now.restarted:
                self._may_restart.append(unit.index)
        if now.feeds != before.feeds or now.supplies != before.supplies:
            self._maybe_one_leg.add(unit.index)

    def _degraded(self, at: int) -> Numbers:
        """The unit, where it gives less than it did."""
        likely, before = self._likely, self._base.likely
        now, was = likely.demand(at), before.demand(at)
        refused = likely.standing(at).grant.refused - before.standing(at).grant.refused
        off, off_before = (solution.outage.off_ports.get(at, NO_PORTS) for solution in (likely, before))
        gone = (now.cut | off) - was.cut - off_before
        return (at,) if gone or refused or now.may_drop - was.may_drop else ()

    def _one_leg(self) -> Numbers:
        likely, before = self._likely, self._base.likely
        found = [at for at in self._maybe_one_leg if self._legs(likely, at) == 1 and self._legs(before, at) > 1]
        return tuple(sorted(found))

    def _legs(self, solution: Solution, at: int) -> int:
        unit, standing = self._units[at], solution.standing(at)
        count = int(True in standing.supplies)
        for place, state in enumerate(standing.feeds):
            feed = unit.feeds[place]
            if state and solution.power(feed.feeder) and solution.port_state(feed.feeder, feed.at):
                count += 1
        return count


def _books(now: Demand, before: Demand) -> bool:
    """Whether something else is set aside for what is served."""
    return now.served_booked_w != before.served_booked_w


def _more_given(found: dict[str, Given], before: Solution, unit: NetUnit, gives: Sequence[Given]) -> None:
    """Add how much more each source gives a unit than before."""
    for source, (drawn, booked), (drew, had_booked) in zip(
        unit.sources, gives, supply_watts(before, unit.index), strict=True
    ):
        if drawn != drew or booked != had_booked:
            more = found.get(source, (0.0, 0.0))
            found[source] = (more[0] + drawn - drew, more[1] + booked - had_booked)


def _as_rows(found: dict[str, Given]) -> tuple[tuple[str, float, float], ...]:
    return tuple([(name, drawn, booked) for name, (drawn, booked) in found.items()])


def _new_reasons(now: Demand, before: Demand) -> list[str]:
    found = [line for line in now.reasons if line not in before.reasons]
    found.extend([ask.reason for ask in now.feeds if ask.reason is not None and ask.carries])
    return found
