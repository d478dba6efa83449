"""What is said of a device to be added: which free ports take it, and which limit binds where they do not."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from portdraw.plan.load_case import Case
from portdraw.powerflow.fit_states import NORMAL
from portdraw.powerflow.free_port import FreePort, Wish
from portdraw.powerflow.limit_state import LimitState
from portdraw.powerflow.shedding import STEP_W

STEADY = (Case.TYPICAL, Case.NIGHT, Case.FROST_NIGHT)


class Leg(StrEnum):
    """The leg on which the unit stands while it is held against its limits."""

    AC = "local AC"
    FEED = "PoE feed"


@dataclass(frozen=True, slots=True)
class LimitRoom:
    """One limit with the new device, in one state and one case. `before_w` is what it was asked without it [W].

    `case` START-UP: the new device starts while all others take what they do in `beside`. A start-up may use the
    margin, nothing else may.
    """

    state: str
    case: Case
    beside: Case
    limit: LimitState
    before_w: float
    margin_percent: float

    @property
    def allowed_w(self) -> float:
        """The limit less the margin to keep free [W]."""
        return self.limit.limit_w * (1 - self.margin_percent / 100)

    @property
    def room_w(self) -> float:
        """Watts left to the margin, negative where it is used; minus infinity where it can't be computed."""
        if self.limit.limit_w == float("inf") or self.limit.need_w == float("inf"):
            return float("-inf")
        return self.allowed_w - self.limit.need_w

    @property
    def share(self) -> float:
        """Need against what is allowed; infinite where it can't be computed."""
        if self.limit.limit_w == float("inf") or self.allowed_w <= 0:
            return float("inf")
        return self.limit.need_w / self.allowed_w

    @property
    def binds(self) -> bool:
        """Whether the device does not fit."""
        return self.room_w < -STEP_W

    @property
    def bound_before(self) -> bool:
        """Whether the limit was used up, margin included, without the new device."""
        return self.before_w > self.allowed_w + STEP_W

    @property
    def sentence(self) -> str:
        """What binds, in words."""
        case = f"start-up ({self.beside.value})" if self.case is Case.STARTUP else self.case.value
        where = f"{self.limit.limit}, {self.state}, {case}"
        if self.room_w == float("-inf"):
            return f"{where}: {self.limit.reason or 'it can not be computed'}"
        figures = f"{self.limit.need_w:.1f} W of {self.limit.limit_w:.1f} W"
        short = (
            f"{self.limit.short_w:.1f} W short" if self.limit.over else f"margin of {self.margin_percent:g} % used"
        )
        before = f", {self.before_w:.1f} W without it"
        already = ", too much already" if self.bound_before else ""
        return f"{where}: {figures}, {short}{before}{already}"


@dataclass(frozen=True, slots=True)
class LegRoom:
    """The tightest limit of all states in which the unit stands on one leg, in one case."""

    leg: Leg
    room: LimitRoom


@dataclass(frozen=True, slots=True)
class PortFit:
    """One free port. `unpowered` says why the device can't work there at all, `darkens` which devices would go
    dark, or may, and did not before: state, case and names; `minutes` says which battery promise breaks.

    `binding` are limits that bind, one line for each, the tightest first. `tightest` is the most loaded of all.
    `dark_with` are failures that leave the whole unit, and so the device, without power.
    """

    free: FreePort
    at_port_w: dict[Case, float | None]
    unpowered: tuple[str, ...]
    binding: tuple[LimitRoom, ...]
    darkens: tuple[str, ...]
    minutes: tuple[str, ...]
    legs: tuple[LegRoom, ...]
    tightest: LimitRoom | None
    dark_with: tuple[str, ...] = ()

    @property
    def fits(self) -> bool:
        """Whether the port takes the device, but for what speaks against the device anywhere."""
        return not (self.unpowered or self.binding or self.darkens or self.minutes)

    @property
    def refusal(self) -> str:
        """The first reason against, empty where it fits."""
        if self.unpowered:
            return self.unpowered[0]
        if self.binding:
            return self.binding[0].sentence
        return next(iter((*self.darkens, *self.minutes)), "")


@dataclass(frozen=True, slots=True)
class Fit:
    """The answer. `ports` are ranked, the best first; `no_port` are units with no port free.

    `own` is what speaks against the device with its cable on every port: it contradicts itself. The ports are held
    against the rest all the same, so that a port can be found before that is mended.
    `not_looked_at` counts kinds of free ports that were left out, the farthest ones.
    """

    wish: Wish
    own: tuple[str, ...]
    ports: tuple[PortFit, ...]
    no_port: tuple[str, ...]
    not_looked_at: int
    assumed: tuple[str, ...]

    @property
    def asked_for(self) -> tuple[PortFit, ...]:
        """Ports on the unit asked for, all of them where none was."""
        return tuple(port for port in self.ports if port.free.nearness == 0)

    @property
    def fits(self) -> bool:
        """Whether the device can be added, as it was described, where it was asked for."""
        return not self.own and any(port.fits for port in self.asked_for)


def said_once(lines: Iterable[str]) -> tuple[str, ...]:
    """Where the device itself goes dark in normal running, failures add nothing; else one line for each case."""
    found: dict[str, str] = {}
    for line in lines:
        where, _, what = line.partition(": ")
        case = where.rpartition(", ")[2]
        found.setdefault(f"{case}: {what}" if what.startswith("the device itself") else line, line)
    return tuple(found.values())


def one_for_each_limit(rooms: Iterable[LimitRoom]) -> tuple[LimitRoom, ...]:
    """One line for each limit that binds: steady cases first, normal running first, then the tightest."""
    found: dict[str, LimitRoom] = {}
    for room in sorted(rooms, key=lambda room: (room.case is Case.STARTUP, room.state != NORMAL, -room.share)):
        found.setdefault(room.limit.limit, room)
    return tuple(sorted(found.values(), key=lambda room: (room.case is Case.STARTUP, -room.share)))


def worst_by_case(legs: Iterable[LegRoom]) -> tuple[LegRoom, ...]:
    """One line for each leg and case, start-up once, beside the case where it is tightest."""
    found: dict[tuple[Leg, Case], LegRoom] = {}
    for one in legs:
        key = (one.leg, one.room.case)
        if key not in found or one.room.share > found[key].room.share:
            found[key] = one
    return tuple(found[leg, case] for leg in Leg for case in (*STEADY, Case.STARTUP) if (leg, case) in found)
