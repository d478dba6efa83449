"""What happens from second to second after something failed or came back: the records of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

from portdraw.powerflow.limit_state import LimitState
from portdraw.powerflow.network import Network

Place = tuple[int, int]  # (unit, place of the port), as numbers of the network


class Step(StrEnum):
    """What can happen to a unit or a port."""

    UNIT_DARK = "goes dark"
    UNIT_BOOTS = "starts"
    UNIT_UP = "gives power"
    SHED = "is shed"
    REFUSED = "is refused"
    NOT_POWERED = "can't be powered"


@dataclass(frozen=True, slots=True)
class Incident:
    """Something that happened [s since the failure ended or began]. `port` is -1 for the unit itself."""

    at_s: float
    step: Step
    unit: int
    port: int = -1
    reason: str = ""

    def sentence(self, network: Network) -> str:
        """The incident in words."""
        unit = network.units[self.unit]
        if self.port < 0:
            return f"{unit.name} {self.step.value}"
        port = unit.ports[self.port]
        hangs = port.device or network.units[port.child].name
        why = f": {self.reason}" if self.reason else ""
        return f"{hangs} ({port.where(unit)}) {self.step.value}{why}"


@dataclass(frozen=True, slots=True)
class Moment:
    """The site from this second on. `tier_w` are PSE outputs of the units in each tier [W], the first tier first."""

    at_s: float
    tier_w: tuple[float, ...]
    units_up: int
    devices_powered: int
    devices_in_service: int


@dataclass(frozen=True, slots=True)
class Peak:
    """The most that was asked of a limit, when, and which ports came on in that second."""

    limit: LimitState
    at_s: float
    came_on: tuple[Place, ...] = ()


class TracePoint(NamedTuple):
    """What is asked of a limit from this second on [W]: the most in the second itself, and what is left after it.

    `limit_w` None: nothing stands on this limit any more.
    """

    at_s: float
    most_w: float
    after_w: float
    limit_w: float | None


@dataclass(slots=True)
class DeviceCourse:
    """One device that was without power at some time. `service_s` None: not in service at the end.

    `dark_s` is when it lost power, `power_s` when it last got it back; `tries` counts how often its port was shed
    or refused.
    """

    dark_s: float
    power_s: float | None = None
    service_s: float | None = None
    tries: int = 0
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Loop:
    """Ports that are shed, ask again and are shed, without end: found where the same state comes back."""

    first_s: float
    period_s: float
    ports: tuple[Place, ...]


@dataclass(frozen=True, slots=True)
class Course:
    """The whole course. `peaks` by name of the limit; `over` are the first seconds of each limit that was asked
    too much of. `shed_at_end` are ports that are off at the end and were not to be.

    `settled` False: it was still moving when the study stopped looking, at `end_s`. `traces` has what was asked of
    each limit over time, where the course was asked to keep it.
    """

    network: Network
    moments: tuple[Moment, ...]
    incidents: tuple[Incident, ...]
    peaks: dict[str, Peak]
    over: tuple[Peak, ...]
    devices: dict[Place, DeviceCourse]
    loops: tuple[Loop, ...]
    shed_at_end: tuple[Place, ...]
    end_s: float
    settled: bool
    assumed: tuple[str, ...] = field(default=())
    traces: Mapping[str, tuple[TracePoint, ...]] = field(default_factory=dict)

    @property
    def full_service_s(self) -> float | None:
        """When the last device was in service again, None where some never are; 0 where none was without power."""
        times = [device.service_s for device in self.devices.values()]
        if any(time is None for time in times):
            return None
        return max((time for time in times if time is not None), default=0.0)

    def device_names(self, places: tuple[Place, ...]) -> tuple[str, ...]:
        """Names of what hangs on ports, devices and units alike."""
        found: list[str] = []
        for at, port in places:
            here = self.network.units[at].ports[port]
            found.append(here.device or self.network.units[here.child].name)
        return tuple(found)
