"""Start delays that keep every limit while everything starts: proposed, and proven by running the course again."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from portdraw.powerflow.course import Course, Peak, Place
from portdraw.powerflow.network import Network
from portdraw.powerflow.start_up import StartUp, start_delay_s, startup_s

_ROUNDS = 60
_STEP_S = 5.0  # delays are set in full steps, as people set them
_LONGEST_S = 3600.0

Run = Callable[[Mapping[Place, float]], Course]


@dataclass(frozen=True, slots=True)
class StartDelay:
    """A port that should wait [s after its unit's start], and what it waits now."""

    unit: str
    port: str
    device: str
    delay_s: float
    now_s: float


@dataclass(frozen=True, slots=True)
class Mend:
    """The delays and the course with them. `mends`: no limit is exceeded and everything is in service."""

    delays: tuple[StartDelay, ...]
    course: Course
    mends: bool


def propose_delays(network: Network, start_up: StartUp, run: Run, first: Course) -> Mend | None:
    """Delay the least critical ports of each second in which a limit is exceeded until another start-up has ended.

    None where nothing is exceeded, or where no delay helps because the limit is exceeded without any start.
    """
    delays: dict[Place, float] = {}
    course = first
    for _ in range(_ROUNDS):
        if not course.over:
            break
        earliest_s = min(peak.at_s for peak in course.over)
        moved: dict[Place, float] = {}
        for peak in course.over:
            if peak.at_s == earliest_s:
                moved.update(_later(network, start_up, course, peak, delays))
        if not moved or max(moved.values()) > _LONGEST_S:
            return None
        delays.update(moved)
        course = run(delays)
    if not delays or course.over:
        return None
    return Mend(tuple(_said(network, delays)), course, course.full_service_s is not None)


def _later(
    network: Network, start_up: StartUp, course: Course, peak: Peak, delays: Mapping[Place, float]
) -> dict[Place, float]:
    """The ports that should come later than in the second of a peak, with their delays."""
    order = sorted(
        (place for place in peak.came_on if network.units[place[0]].ports[place[1]].device is not None),
        key=lambda place: _least_first(network, place),
    )
    over_w = peak.limit.short_w
    later: list[Place] = []
    for at, port in order:
        if over_w <= 0:
            break
        over_w -= start_up.starting.units[at].likely[port]
        later.append((at, port))
    if not later:
        return {}
    until_s = _next_end_s(network, course, peak, frozenset(later))
    wait_s = max(_STEP_S, math.ceil((until_s - peak.at_s) / _STEP_S) * _STEP_S)
    return {place: _now_s(network, place, delays) + wait_s for place in later}


def _next_end_s(network: Network, course: Course, peak: Peak, later: frozenset[Place]) -> float:
    """When the next start-up ends that goes on in the second of a peak."""
    ends = [
        device.power_s + startup_s(network, network.units[at], network.units[at].ports[port])
        for (at, port), device in course.devices.items()
        if (at, port) not in later and device.power_s is not None and device.tries == 0
        and device.power_s <= peak.at_s
    ]  # fmt: skip
    going_on = [end_s for end_s in ends if end_s > peak.at_s]
    if going_on:
        return min(going_on)
    return peak.at_s + max(startup_s(network, network.units[at], network.units[at].ports[port]) for at, port in later)


def _least_first(network: Network, place: Place) -> tuple[int, int, int, int]:
    port = network.units[place[0]].ports[place[1]]
    return (-port.criticality, -port.rank, -port.at, place[0])


def _now_s(network: Network, place: Place, delays: Mapping[Place, float]) -> float:
    unit = network.units[place[0]]
    return delays.get(place, start_delay_s(unit, unit.ports[place[1]]))


def _said(network: Network, delays: Mapping[Place, float]) -> list[StartDelay]:
    found: list[StartDelay] = []
    for (at, port), delay_s in sorted(delays.items()):
        unit = network.units[at]
        here = unit.ports[port]
        found.append(StartDelay(unit.name, here.key, here.device or "", delay_s, start_delay_s(unit, here)))
    return found
