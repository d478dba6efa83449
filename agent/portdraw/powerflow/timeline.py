"""From event to event after something failed or came back: who starts, what is asked, who is shed, who tries again.

Every moment at which something happens is solved as an overlay over the one before, by the same rules as any other
state. Units take their boot time, ports their delay, devices their start-up; what is shed may ask again.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping
from dataclasses import replace
from enum import IntEnum

from portdraw.powerflow.course import Course, DeviceCourse, Incident, Loop, Moment, Place, Step
from portdraw.powerflow.load import DARK
from portdraw.powerflow.network import NetPort, NetUnit
from portdraw.powerflow.on_state import OnState
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.solve import solve_next
from portdraw.powerflow.standing import Standing
from portdraw.powerflow.start_up import HIDDEN_FEED_S, StartUp, boot_s, start_delay_s, startup_s
from portdraw.powerflow.state import FeedId, Outage
from portdraw.powerflow.tally import Tally
from portdraw.powerflow.unit_flow import CarriedBy

LONGEST_S = 4 * 3600.0  # the study looks no further
_ROUNDS = 1000  # of one second; each takes a port or a unit away, or starts one
_STEP_S = 1e-6


class _Kind(IntEnum):
    """What is to happen; in one second in this order."""

    STARTED = 0
    GRANT = 1
    ADMIT = 2
    BOOTED = 3
    PORT_ON = 4
    RETRY = 5


class Timeline:
    """One course, from a solved state on. Times in seconds.

    `outage` is what is out from second 0 on, with the allocations in force then. `retry_s` is when a port that was
    shed or refused asks again, None: never. `delays_s` are start delays instead of the declared ones. `regrants`
    are new allocations [W at the PD input] and when they come into force. `traced` keeps what is asked of each limit.
    """

    def __init__(
        self,
        before: Solution,
        outage: Outage,
        start_up: StartUp,
        *,
        retry_s: float | None,
        delays_s: Mapping[Place, float] | None = None,
        regrants: tuple[float, Mapping[FeedId, float]] | None = None,
        traced: bool = False,
    ) -> None:
        self._network = before.network
        self._units = before.network.units
        self._wanted, self._start_up, self._retry_s = outage, start_up, retry_s
        self._delays_s = delays_s or {}
        self._granted_pd_w = dict(outage.granted_pd_w)
        self._regrants = {} if regrants is None else regrants[1]
        self._now = before
        self._on = OnState(before, outage, start_up)
        self._withheld: set[FeedId] = set()
        self._heap: list[tuple[float, int, int, int, int]] = []
        self._age = [0] * len(self._units)  # events of a unit's earlier lives count no more
        self._incidents: list[Incident] = []
        self._devices: dict[Place, DeviceCourse] = {}
        self._seen: dict[frozenset[tuple[int, int, int, int]], tuple[float, int]] = {}
        self._loops: list[Loop] = []
        self._tally = Tally(self._network, traced=traced)
        self._at_s = 0.0
        self._begin()
        if regrants is not None:
            heapq.heappush(self._heap, (regrants[0], _Kind.GRANT, -1, -1, 0))

    @property
    def state(self) -> Solution:
        """The solved state at the last moment."""
        return self._now

    def _begin(self) -> None:
        on = self._on
        for unit in self._units:
            at = unit.index
            for port in on.hung[at]:
                off = port.at in on.off[at]
                if port.device is not None and not port.off and (off or not on.can_start(at, port.at)):
                    self._devices[(at, port.at)] = DeviceCourse(0.0, reason=on.reason(at, port.at))
                if off and on.up[at] and port.at not in on.never[at]:
                    self._ask_again(unit, port.at)

    def new_stage(self) -> None:
        """Forget the peaks so far: those of the next stage are kept."""
        self._tally.peaks.clear()

    def run(self, until_s: float = LONGEST_S) -> Course:
        """Go on until nothing moves any more, a loop is found, or the time is over."""
        if self._on.stirred:
            self._settle()
        while self._heap and self._heap[0][0] <= until_s and not self._loops:
            self._at_s = self._heap[0][0]
            retried = False
            while self._heap and self._heap[0][0] <= self._at_s + _STEP_S:
                _, kind, at, port, age = heapq.heappop(self._heap)
                if at < 0:
                    self._regrant()
                elif age == self._age[at]:
                    retried |= kind == _Kind.RETRY
                    self._happen(_Kind(kind), self._units[at], port)
            if self._on.stirred:
                self._settle()
            if retried:
                self._find_loop()
        return self._course()

    def _course(self) -> Course:
        on = self._on
        shed = [(unit.index, at) for unit in self._units for at in sorted(on.off[unit.index] - on.never[unit.index])]
        return Course(
            network=self._network,
            moments=tuple(self._tally.moments),
            incidents=tuple(self._incidents),
            peaks=dict(self._tally.peaks),
            over=tuple(self._tally.over.values()),
            devices=self._devices,
            loops=tuple(self._loops),
            shed_at_end=tuple(shed),
            end_s=self._at_s,
            settled=not self._heap and not self._loops,
            assumed=self._start_up.assumed,
            traces={name: tuple(points) for name, points in self._tally.traces.items()},
        )

    def _happen(self, kind: _Kind, unit: NetUnit, port: int) -> None:
        at = unit.index
        if kind is _Kind.STARTED:
            self._started(unit, port)
        elif kind is _Kind.ADMIT:
            self._withheld.discard((at, port))
            feed = unit.feeds[port]
            self._on.newly.setdefault(feed.feeder, set()).add(feed.at)
            self._on.stir((at, feed.feeder))
        elif kind is _Kind.BOOTED:
            self._on.up[at] = True
            self._incidents.append(Incident(self._at_s, Step.UNIT_UP, at))
            for one in self._on.hung[at]:
                if one.at in self._on.never[at]:
                    continue
                delay_s = self._delays_s.get((at, one.at), start_delay_s(unit, one))
                if delay_s > 0:
                    self._push(delay_s, _Kind.PORT_ON, at, one.at)
                else:
                    self._switch_on(unit, one)
        else:
            self._switch_on(unit, unit.ports[port])

    def _started(self, unit: NetUnit, port: int) -> None:
        course = self._devices[(unit.index, port)]
        if port not in self._on.starting[unit.index] or course.power_s is None:
            return
        if course.power_s + startup_s(self._network, unit, unit.ports[port]) > self._at_s + _STEP_S:
            return  # it was shed and has begun anew since
        course.service_s = self._at_s
        self._on.started(unit.index, port)

    def _switch_on(self, unit: NetUnit, port: NetPort) -> None:
        at = unit.index
        if port.device is None:
            self._on.switch_on(at, port)
            return
        course = self._devices.setdefault((at, port.at), DeviceCourse(self._at_s))
        if not self._on.can_start(at, port.at):
            course.reason = self._on.reason(at, port.at)
            self._incidents.append(Incident(self._at_s, Step.NOT_POWERED, at, port.at, course.reason))
            self._on.never[at] |= {port.at}
            return
        self._on.switch_on(at, port)
        course.power_s = self._at_s
        self._push(startup_s(self._network, unit, port), _Kind.STARTED, at, port.at)

    def _regrant(self) -> None:
        self._granted_pd_w.update(self._regrants)
        self._on.stir(at for at, _ in self._regrants)

    def _settle(self) -> None:
        """Solve this second until nothing more follows from it."""
        newly = {at: frozenset(ports) for at, ports in self._on.newly.items()}
        touched: set[int] = set()
        for _ in range(_ROUNDS):
            load, off_ports, hit = self._on.freshen()
            outage = replace(
                self._wanted,
                feeds=self._wanted.feeds | self._withheld,
                off_ports=off_ports,
                granted_pd_w=dict(self._granted_pd_w),
                newly_on=newly,
            )
            last = self._now
            self._now = solve_next(last, load, outage, hit)
            touched.update(self._now.touched)
            if self._change_over(last):
                continue  # who goes off on the way asks nothing in this second
            self._tally.watch(self._now, touched, self._at_s, newly)
            self._follow(touched)
            self._tally.note(self._now, touched, Moment(self._at_s, (), *self._on.counts()))
            touched.clear()
            if not self._on.stirred:
                self._on.newly.clear()
                return
        raise AssertionError("a second of the course does not settle")

    def _change_over(self, last: Solution) -> bool:
        """Take power from units that go off while they change legs; say whether there are any."""
        found = False
        for at in self._now.touched:
            unit, standing = self._units[at], self._now.standing(at)
            if not self._on.lit[at] or not _drops(unit, last.standing(at), standing):
                continue
            found = True
            if _asks_only_now(unit, last.standing(at), standing):
                self._go_dark(unit)
                for place in range(len(unit.feeds)):
                    self._withheld.add((at, place))
                    self._push(HIDDEN_FEED_S, _Kind.ADMIT, at, place)
            else:
                self._boot(unit)
        return found

    def _follow(self, touched: Iterable[int]) -> None:
        """What the solved moment does to units and ports."""
        on = self._on
        for at in sorted(touched):
            lit = self._now.power(at) != DARK
            if on.lit[at] and not lit:
                self._go_dark(self._units[at])
            elif lit and not on.lit[at]:
                on.lit[at] = True
                self._boot(self._units[at])
            elif on.up[at]:
                self._shed(self._units[at])

    def _shed(self, unit: NetUnit) -> None:
        at, off = unit.index, frozenset(self._on.off[unit.index])
        demand, refused = self._now.demand(at), self._now.standing(at).grant.refused
        cut = (demand.cut | self._now.shed_before(at)) - off
        for port in sorted(cut | (refused - off)):
            self._turn_off(unit, port, Step.SHED if port in cut else Step.REFUSED)
        for port in sorted(demand.dropped - refused - off - cut):
            where = unit.ports[port].where(unit)
            reason = next((line for line in demand.reasons if line.startswith(f"{where}:")), "")
            self._turn_off(unit, port, Step.NOT_POWERED, reason)

    def _turn_off(self, unit: NetUnit, port: int, step: Step, reason: str = "") -> None:
        at = unit.index
        self._incidents.append(Incident(self._at_s, step, at, port, reason.partition(": ")[2]))
        self._on.switch_off(at, port)
        if unit.ports[port].device is not None:
            course = self._devices.setdefault((at, port), DeviceCourse(self._at_s))
            course.power_s = course.service_s = None
            course.reason = reason
        self._ask_again(unit, port)

    def _ask_again(self, unit: NetUnit, port: int) -> None:
        course = self._devices.get((unit.index, port))
        if course is not None:
            course.tries += 1
        if self._retry_s is not None:
            self._push(self._retry_s, _Kind.RETRY, unit.index, port)

    def _boot(self, unit: NetUnit) -> None:
        self._all_off(unit)
        self._incidents.append(Incident(self._at_s, Step.UNIT_BOOTS, unit.index))
        self._push(boot_s(unit), _Kind.BOOTED, unit.index, -1)

    def _go_dark(self, unit: NetUnit) -> None:
        self._on.lit[unit.index] = False
        self._all_off(unit)
        self._incidents.append(Incident(self._at_s, Step.UNIT_DARK, unit.index))

    def _all_off(self, unit: NetUnit) -> None:
        at = unit.index
        self._age[at] += 1
        for port in self._on.all_off(at):
            if unit.ports[port].device is not None:
                course = self._devices.setdefault((at, port), DeviceCourse(self._at_s))
                course.power_s = course.service_s = None

    def _push(self, after_s: float, kind: _Kind, at: int, port: int) -> None:
        heapq.heappush(self._heap, (self._at_s + after_s, kind, at, port, self._age[at]))

    def _find_loop(self) -> None:
        """The same things ahead at the same distance as once before: what lies between comes again and again."""
        ahead = frozenset(
            (kind, at, port, round((when_s - self._at_s) * 1000))
            for when_s, kind, at, port, age in self._heap
            if at >= 0 and age == self._age[at]
        )
        if not ahead:
            return
        if ahead not in self._seen:
            self._seen[ahead] = (self._at_s, len(self._incidents))
            return
        first_s, so_far = self._seen[ahead]
        ports = {(one.unit, one.port) for one in self._incidents[so_far:] if one.port >= 0}
        self._loops.append(Loop(first_s, self._at_s - first_s, tuple(sorted(ports))))


def _asks_only_now(unit: NetUnit, before: Standing, now: Standing) -> bool:
    """Whether a unit that lost its AC has to be found by its feeder first: its feed was hidden."""
    return bool(unit.spare_hidden) and before.leg is not CarriedBy.FEED and not any(now.supplies)


def _drops(unit: NetUnit, before: Standing, now: Standing) -> bool:
    """Whether a unit goes off on its way from one leg to the other; one that does not say so does."""
    if now is before or CarriedBy.NONE in (before.leg, now.leg):
        return False
    if now.restarted:
        return True
    on_feed, was_on_feed = now.leg is CarriedBy.FEED, before.leg is CarriedBy.FEED
    moves = on_feed != was_on_feed or (on_feed and now.first != before.first)
    return moves and unit.sheds_in_time is None
