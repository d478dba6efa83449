"""The step from one leg to the other: at the instant, after renegotiation, while all starts that went off, and after.

What goes off in a stage stays off in the next unless its unit restarts: nothing that was shed comes back by itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum

from portdraw.plan.class_grant import SignatureClasses, class_watts_at_pd
from portdraw.powerflow.course import Course
from portdraw.powerflow.failure import Failure
from portdraw.powerflow.limit_state import LimitState, limit_states
from portdraw.powerflow.load import DARK
from portdraw.powerflow.network import NetUnit, Network
from portdraw.powerflow.port_link import PortId
from portdraw.powerflow.seconds import said_s
from portdraw.powerflow.shedding import STEP_W
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.solve import solve, solve_after
from portdraw.powerflow.start_up import RENEGOTIATE_S, StartUp
from portdraw.powerflow.state import NOTHING_OUT, FeedId, Outage
from portdraw.powerflow.timeline import LONGEST_S, Timeline
from portdraw.powerflow.unit_flow import CarriedBy

_NAMED = 12


class StageName(StrEnum):
    """The stages of a changeover."""

    INSTANT = "at the instant"
    RENEGOTIATED = "after renegotiation"
    STARTING = "while all starts"
    SETTLED = "after start-up"


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage. `limits` are those that the failure touches, with the most that is asked of each in this stage.

    `dark` are devices without power at its end, `dark_units` units without power.
    """

    name: StageName
    until_s: float
    limits: tuple[LimitState, ...]
    dark: tuple[str, ...]
    dark_units: tuple[str, ...]

    @property
    def worst(self) -> LimitState | None:
        """The most loaded limit, None where nothing moves."""
        return max(self.limits, key=lambda limit: (limit.share, limit.short_w), default=None)


@dataclass(frozen=True, slots=True)
class FeedStep:
    """One unit that moves to its feed. Watts at its PoE input.

    `before_w` is what it takes on standby, `asked_w` what it would take with all its ports, `allowed_w` what is
    granted at the instant. `asked_class`, `granted_class`: hidden feeds may be demoted or refused (None).
    `restarts`: the unit goes off on the way, all its devices with it.
    """

    unit: str
    feeder_port: str
    hidden: bool
    restarts: bool
    before_w: float
    asked_w: float
    allowed_w: float
    asked_class: SignatureClasses
    granted_class: SignatureClasses | None

    @property
    def stays_in_class(self) -> bool:
        """Whether all that it asks is within what is granted."""
        return self.granted_class is not None and self.asked_w <= self.allowed_w + STEP_W

    @property
    def sentence(self) -> str:
        """The step in words."""
        if self.granted_class is None:
            if self.hidden:
                return f"{self.unit}: its feed was hidden, asks only now and is refused by {self.feeder_port}"
            return f"{self.unit}: its feed is shed at {self.feeder_port}, it goes dark"
        how = ""
        if self.restarts:
            how = (
                "; its feed was hidden, it starts anew" if self.hidden else "; it goes off on the way and starts anew"
            )
        if self.granted_class != self.asked_class:
            how += f"; {self.feeder_port} grants class {self.granted_class} instead of {self.asked_class}"
        of = f"{self.asked_w:.1f} W at its PoE input of {self.allowed_w:.1f} W granted"
        if self.stays_in_class:
            return f"{self.unit}: {of}, it stays in its class{how}"
        over_w = self.asked_w - self.allowed_w
        must = "has to do without" if self.restarts else "has to shed in time"
        return f"{self.unit}: {of}, it {must} {over_w:.1f} W{how}"


@dataclass(frozen=True, slots=True)
class DarkFor:
    """A device that loses power in the changeover. `seconds` at least until it is in service, None: until someone
    switches it on or the failure ends."""

    device: str
    unit: str
    seconds: float | None


@dataclass(frozen=True, slots=True)
class Changeover:
    """One failure as a course of stages. `to_ac` are units that move the other way, from feed to AC."""

    failure: Failure
    stages: tuple[Stage, ...]
    feeds: tuple[FeedStep, ...]
    to_ac: tuple[str, ...]
    dark_for: tuple[DarkFor, ...]
    assumed: tuple[str, ...]

    def stage(self, name: StageName) -> Stage:
        """One of the stages."""
        return next(stage for stage in self.stages if stage.name is name)

    @property
    def sentences(self) -> tuple[str, ...]:
        """What happens, in words, in the order in which it happens."""
        return tuple(_sentences(self))


def study_changeover(
    network: Network,
    start_up: StartUp,
    failure: Failure,
    outage: Outage = NOTHING_OUT,
    allocated_pd_w: Mapping[PortId, float] | None = None,
) -> Changeover:
    """Follow the step that a failure forces, from the state with `outage` on.

    `allocated_pd_w` [W at the PD input] are LLDP allocations in force, by feeder port: the old ones hold at the
    instant, new ones `RENEGOTIATE_S` later. Without one, a feed has what its class gives. What a failure with a
    generator above it is after the generator has started belongs to the failure study.
    """
    old = _by_feed(network, allocated_pd_w or {})
    base = solve(network, start_up.steady, outage.plus(Outage(granted_pd_w=old)))
    lost = base.outage.plus(failure.outage)
    plain = solve_after(base, failure.outage, failure.hit)
    new = {feed: _new_grant_w(base, plain, feed) for feed in old}
    timeline = Timeline(base, lost, start_up, retry_s=None, regrants=(RENEGOTIATE_S, new) if new else None)
    watched = _Watched(base, plain.touched)
    stages: list[Stage] = []
    first = course = timeline.run(until_s=0.0)
    instant = timeline.state
    stages.append(watched.stage(StageName.INSTANT, 0.0, course, instant))
    for name, until_s in ((StageName.RENEGOTIATED, RENEGOTIATE_S), (StageName.STARTING, LONGEST_S)):
        timeline.new_stage()
        course = timeline.run(until_s=until_s)
        stages.append(watched.stage(name, max(RENEGOTIATE_S, course.end_s), course, timeline.state))
    end = timeline.state
    settled = watched.stage(StageName.SETTLED, max(RENEGOTIATE_S, course.end_s), None, end)
    stages.append(settled)
    moved = [at for at in plain.touched if _moves(base, plain, at)]
    to_feed = [at for at in plain.touched if _to_feed(base, plain, at)]
    return Changeover(
        failure=failure,
        stages=tuple(stages),
        feeds=tuple(_feed_step(base, plain, end, instant, old, at) for at in to_feed),
        to_ac=tuple(network.units[at].name for at in moved if plain.standing(at).leg is CarriedBy.AC),
        dark_for=tuple(_dark_for(course, base)),
        assumed=(*first.assumed, *(line for at in plain.touched for line in network.assumed.get(at, ()))),
    )


def _by_feed(network: Network, allocated: Mapping[PortId, float]) -> dict[FeedId, float]:
    found: dict[FeedId, float] = {}
    for unit in network.units:
        for place, feed in enumerate(unit.feeds):
            above = network.units[feed.feeder]
            watts = allocated.get((above.name, above.ports[feed.at].key))
            if watts is not None:
                found[(unit.index, place)] = watts
    return found


def _new_grant_w(base: Solution, plain: Solution, feed: FeedId) -> float:
    """What a unit asks anew for all its ports, in tenths of a watt and within its class."""
    unit = base.network.units[feed[0]]
    above = unit.feeds[feed[1]]
    classes = base.standing(above.feeder).grant.classes[above.at]
    return min(class_watts_at_pd(classes), math.ceil(_asked_pd_w(base, plain, unit) * 10 - STEP_W) / 10)


def _asked_pd_w(base: Solution, plain: Solution, unit: NetUnit) -> float:
    """What a unit takes on its feed with all its ports, the units below on the legs that the failure leaves them."""
    after = plain if plain.standing(unit.index).leg is not CarriedBy.NONE else base
    demand, refused = after.demand(unit.index), after.standing(unit.index).grant.refused
    likely = after.load.units[unit.index].likely
    turned_away_w = sum(likely[at] for at in refused | demand.dropped)
    return unit.own_w + (demand.asked_w + turned_away_w) / unit.fed_efficiency


def _moves(base: Solution, after: Solution, at: int) -> bool:
    now, was = after.standing(at), base.standing(at)
    if CarriedBy.NONE in (now.leg, was.leg):
        return False
    return now.leg is not was.leg or (now.leg is CarriedBy.FEED and now.first != was.first)


def _to_feed(base: Solution, plain: Solution, at: int) -> bool:
    """Whether a failure makes a unit ask its feed for all that it needs; its feed may be refused."""
    now, was = plain.standing(at), base.standing(at)
    if was.leg is CarriedBy.NONE or now.leg is CarriedBy.AC or any(now.supplies):
        return False
    if now.leg is CarriedBy.FEED:
        return _moves(base, plain, at)
    return any(_offered(plain, at, place) for place in range(len(now.feeds)))


def _offered(plain: Solution, at: int, place: int) -> bool:
    """Whether a feed is there and its feeder gives power, so that only the feeder's rules can keep it off."""
    feed = plain.network.units[at].feeds[place]
    return (
        (at, place) not in plain.outage.feeds and plain.standing(feed.feeder).gives and at not in plain.outage.units
    )


def _feed_step(
    base: Solution, plain: Solution, end: Solution, instant: Solution, old: Mapping[FeedId, float], at: int
) -> FeedStep:
    unit = base.network.units[at]
    place = plain.standing(at).first
    if place < 0:
        place = next(place for place in range(len(unit.feeds)) if _offered(plain, at, place))
    feed = unit.feeds[place]
    feeder = base.network.units[feed.feeder]
    port = feeder.ports[feed.at]
    grant = end.standing(feed.feeder).grant
    there = any(end.standing(at).feeds) or end.power(at) != DARK
    granted = None if feed.at in grant.refused or not there else grant.classes[feed.at]
    allowed_w = 0.0 if granted is None else old.get((at, place), class_watts_at_pd(granted))
    return FeedStep(
        unit=unit.name,
        feeder_port=port.where(feeder),
        hidden=bool(unit.spare_hidden),
        restarts=not _gives(instant, at),
        before_w=base.demand(at).feeds[place].pd_w,
        asked_w=_asked_pd_w(base, plain, unit),
        allowed_w=allowed_w,
        asked_class=port.asked,
        granted_class=granted,
    )


def _gives(instant: Solution, at: int) -> bool:
    """Whether a unit goes on giving power at the instant."""
    if instant.power(at) == DARK:
        return False
    hung = [port for port in instant.network.units[at].ports if port.device is not None or port.child >= 0]
    off = instant.outage.off_ports.get(at, frozenset())
    return not hung or any(port.at not in off for port in hung)


class _Watched:
    """Reads stages of those units that the failure touches."""

    def __init__(self, base: Solution, touched: tuple[int, ...]) -> None:
        self._network = base.network
        self._touched = touched
        self._subjects = {base.network.units[at].name for at in touched}
        self._subjects.update(source for at in touched for source in base.network.units[at].sources)
        self._planned_dark = set(_dark_devices(base))

    def stage(self, name: StageName, until_s: float, course: Course | None, state: Solution) -> Stage:
        """Limits of the state at the stage's end, or what was asked on the way where that is more."""
        limits = {limit.limit: limit for limit in limit_states(state, self._touched)}
        for peak in course.peaks.values() if course is not None else ():
            seen = limits.get(peak.limit.limit)
            if peak.limit.subject in self._subjects and (seen is None or peak.limit.need_w > seen.need_w):
                limits[peak.limit.limit] = peak.limit
        units = self._network.units
        dark = [
            units[at].ports[port].device or ""
            for at, port in _dark_devices(state)
            if (at, port) not in self._planned_dark
        ]
        dark_units = [units[at].name for at in self._touched if state.power(at) == DARK]
        return Stage(name, until_s, tuple(limits.values()), tuple(dark), tuple(dark_units))


def _dark_devices(state: Solution) -> Iterator[tuple[int, int]]:
    """Devices without power. Units of which nothing is off are not looked at port by port."""
    for unit in state.network.units:
        at = unit.index
        whole = state.power(at) != DARK and state.standing(at).gives and not state.ports_gone(at)[0]
        if whole and DARK not in state.load.units[at].status and not any(port.off for port in unit.ports):
            continue
        for port in unit.ports:
            if port.device is not None and state.device_state(at, port.at) == DARK:
                yield (at, port.at)


def _dark_for(course: Course, base: Solution) -> list[DarkFor]:
    found: list[DarkFor] = []
    for (at, port), device in sorted(course.devices.items()):
        if base.device_state(at, port) == DARK:
            continue
        unit = base.network.units[at]
        seconds = None if device.service_s is None else device.service_s - device.dark_s
        found.append(DarkFor(unit.ports[port].device or "", unit.name, seconds))
    return found


def _sentences(found: Changeover) -> list[str]:
    said = [feed.sentence for feed in found.feeds]
    said.extend(f"{unit}: its feed is gone, local AC carries it" for unit in found.to_ac)
    for stage in found.stages:
        said.extend(
            f"{stage.name.value}: {limit.limit} {limit.need_w:.1f} W of {limit.limit_w:.1f} W,"
            f" {limit.short_w:.1f} W short"
            for limit in stage.limits
            if limit.over and limit.limit_w < float("inf") and limit.need_w < float("inf")
        )
    for_good = [one.device for one in found.dark_for if one.seconds is None]
    for_a_time = [one for one in found.dark_for if one.seconds is not None]
    if for_good:
        said.append(f"dark until someone switches them on or the failure ends: {_listed(for_good)}")
    if for_a_time:
        longest = max(one.seconds or 0.0 for one in for_a_time)
        names = _listed([one.device for one in for_a_time])
        said.append(f"dark for a time, up to {said_s(longest)}: {names}")
    if not found.dark_for:
        said.append("no device loses power")
    return said


def _listed(names: list[str]) -> str:
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(names[:_NAMED]) + more
