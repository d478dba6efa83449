"""What comes back when power comes back: who starts when, which limit is asked how much, until all is in service."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from portdraw.powerflow.course import Course, DeviceCourse, Peak, Place
from portdraw.powerflow.failure import Failure
from portdraw.powerflow.limit_state import limit_states
from portdraw.powerflow.network import Network
from portdraw.powerflow.return_to_normal import Difference, picture_of, return_to_normal
from portdraw.powerflow.seconds import said_s
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.solve import solve, solve_after
from portdraw.powerflow.start_delay import Mend, propose_delays
from portdraw.powerflow.start_up import StartUp
from portdraw.powerflow.state import NOTHING_OUT, Outage
from portdraw.powerflow.timeline import Timeline

RETRY_S = 30.0
"""Seconds after which a port that was shed or refused asks again. Common practice: most do within half a minute."""

ALL_DARK = "everything was dark"
_NAMED = 12


@dataclass(frozen=True, slots=True)
class Restart:
    """The course after a failure ended. `after` names it; `mend` are start delays that keep every limit.

    `steady_over` True: some limit is exceeded by what the devices take all the time, so that no delay can help.
    `not_as_before` is what differs at the end from normal running, port by port; not told while it still moves.
    """

    after: str
    load: str
    course: Course
    mend: Mend | None
    steady_over: bool
    retry_s: float | None
    not_as_before: tuple[Difference, ...] = ()

    @property
    def fine(self) -> bool:
        """Whether everything comes back as it was, without any limit exceeded."""
        whole = not self.course.loops and self.course.full_service_s is not None
        return whole and not self.course.over and not self.not_as_before

    @property
    def peaks(self) -> tuple[Peak, ...]:
        """The peak of every limit, the most loaded first."""
        return tuple(sorted(self.course.peaks.values(), key=lambda peak: (-peak.limit.share, peak.limit.limit)))

    @property
    def not_back(self) -> tuple[str, ...]:
        """Devices that are not in service at the end."""
        return _names(self.course, lambda device: device.service_s is None)

    @property
    def tried_often(self) -> tuple[str, ...]:
        """Devices that were shed or refused on the way and are in service at the end."""
        return _names(self.course, lambda device: device.tries > 0 and device.service_s is not None)

    @property
    def sentences(self) -> tuple[str, ...]:
        """The findings, the gravest first; one sentence where there is none."""
        return tuple(_sentences(self))


def study_restart(
    network: Network,
    start_up: StartUp,
    failure: Failure | None = None,
    outage: Outage = NOTHING_OUT,
    *,
    retry_s: float | None = RETRY_S,
    propose: bool = True,
) -> Restart:
    """Follow what happens after `failure` ends, None: after everything was dark. `outage` is what stays out.

    What the failure shed or darkened comes back; units that it left with power keep it. `retry_s` None: ports that
    were shed stay off until somebody switches them on.
    """
    steady = start_up.steady
    before = _before(network, start_up, failure, outage)

    def run(delays_s: Mapping[Place, float]) -> Course:
        return Timeline(before, outage, start_up, retry_s=retry_s, delays_s=delays_s).run()

    timeline = Timeline(before, outage, start_up, retry_s=retry_s, traced=True)
    course = timeline.run()
    normal = solve(network, steady, outage)
    steady_over = any(limit.over for limit in limit_states(normal))
    differs = return_to_normal(picture_of(normal), picture_of(timeline.state)) if course.settled else ()
    wanted = propose and not steady_over and bool(course.over)
    mend = propose_delays(network, start_up, run, course) if wanted else None
    after = ALL_DARK if failure is None else failure.what
    return Restart(after, steady.name, course, mend, steady_over, retry_s, differs)


def _before(network: Network, start_up: StartUp, failure: Failure | None, outage: Outage) -> Solution:
    if failure is None:
        everything = frozenset(unit.index for unit in network.units)
        return solve(network, start_up.steady, outage.plus(Outage(units=everything)))
    found = solve_after(solve(network, start_up.steady, outage), failure.outage, failure.hit)
    found.stand_alone()
    return found


def _names(course: Course, wanted: Callable[[DeviceCourse], bool]) -> tuple[str, ...]:
    places = sorted(place for place, device in course.devices.items() if wanted(device))
    return course.device_names(tuple(places))


def _sentences(found: Restart) -> list[str]:
    course = found.course
    said = [_exceeded(course, first) for first in course.over]
    for loop in course.loops:
        names = _listed(course.device_names(loop.ports))
        every = f"from {said_s(loop.first_s)} on, every {said_s(loop.period_s)}"
        said.append(f"{every}, without end: {names} ask and are shed")
    if found.not_back:
        said.append(f"not in service again: {_listed(found.not_back)}")
    if found.tried_often:
        said.append(f"shed on the way, in service later: {_listed(found.tried_often)}")
    if found.not_as_before:
        said.append(f"not as it was before: {len(found.not_as_before)} differences at the end")
    if not course.settled and not course.loops:
        said.append(f"still moving after {said_s(course.end_s)}; the study looks no further")
    if course.over and found.steady_over:
        said.append("what the devices take all the time is too much already: no start delay can help")
    elif course.over and found.mend is None:
        said.append("no start delays were found that keep every limit")
    if found.mend is not None:
        back_s = found.mend.course.full_service_s
        when = "" if back_s is None else f", full service after {said_s(back_s)}"
        said.append(f"with {len(found.mend.delays)} start delays no limit is exceeded{when}")
    if not course.devices:
        said.append("nothing was without power")
    elif course.full_service_s is not None:
        said.append(f"full service after {said_s(course.full_service_s)}")
    return said


def _exceeded(course: Course, first: Peak) -> str:
    peak = course.peaks.get(first.limit.limit, first)
    most = f"at most {peak.limit.need_w:.1f} W of {peak.limit.limit_w:.1f} W, {peak.limit.short_w:.1f} W short"
    since = f"exceeded at {said_s(first.at_s)}"
    return f"{first.limit.limit}: {since}, {most}" + ("" if peak.at_s == first.at_s else f" at {said_s(peak.at_s)}")


def _listed(names: tuple[str, ...]) -> str:
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(names[:_NAMED]) + more
