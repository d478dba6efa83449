"""What one failure does: who goes dark, who may, which limit binds, how long what is left lasts."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from portdraw.powerflow.failure import Failure
from portdraw.powerflow.limit_state import LimitState
from portdraw.powerflow.network import Network

Place = tuple[int, int]  # (unit, place of the port), as numbers of the network


class Outcome(StrEnum):
    """How a failure stands against the site's promise."""

    SURVIVED = "survived"
    MAY_NOT_SURVIVE = "may not survive"
    NOT_SURVIVED = "not survived"
    NOT_JUDGED = "not judged"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The outcome, every reason as a sentence, and the devices that break the promise.

    `alone` are devices that were left out of the judgement: nothing but the failed thing could power them.
    """

    outcome: Outcome
    reasons: tuple[str, ...]
    broken_by: tuple[str, ...]
    alone: tuple[str, ...]


def in_order(parts: tuple[tuple[Place, ...], ...]) -> tuple[Place, ...]:
    """Places of several parts together, by number."""
    if len(parts) == 1:
        return parts[0]
    return tuple(sorted([place for places in parts for place in places]))


@dataclass(frozen=True, slots=True)
class FailureResult:
    """One failure under one load. Names are looked up only when asked for.

    `worst` is the most loaded limit among those that the failure touches, None where nothing moves; `over` are all
    that bind, `shed_by` the unit budgets that made a unit shed. `minutes` is how long the first battery lasts, None
    where none gives. `restarts` are units that go off while they change legs, `may_restart` those that do not say
    whether they do.
    """

    network: Network
    failure: Failure
    dark_by_part: tuple[tuple[Place, ...], ...]
    may_by_part: tuple[tuple[Place, ...], ...]
    dark_at_base: frozenset[Place]
    may_at_base: frozenset[Place]
    dark_unit_numbers: tuple[int, ...]
    unreachable_numbers: tuple[int, ...]
    degraded_numbers: tuple[int, ...]
    moved_numbers: tuple[int, ...]
    one_leg_numbers: tuple[int, ...]
    restart_numbers: tuple[int, ...]
    may_restart_numbers: tuple[int, ...]
    touched_numbers: tuple[int, ...]
    worst: LimitState | None
    over: tuple[LimitState, ...]
    margin_used: bool
    minutes: float | None
    battery: str
    reasons: tuple[str, ...]
    verdict: Verdict
    shed_by: tuple[LimitState, ...] = ()

    @property
    def dark_ports(self) -> tuple[Place, ...]:
        """Devices that this failure darkens, by number."""
        return in_order(self.dark_by_part)

    @property
    def may_ports(self) -> tuple[Place, ...]:
        """Devices that may go dark, by number."""
        return in_order(self.may_by_part)

    @property
    def what(self) -> str:
        """The failure's name."""
        return self.failure.what

    @property
    def dark(self) -> tuple[str, ...]:
        """Devices that this failure darkens, whatever the truth within the bounds."""
        return self._devices(self.dark_ports)

    @property
    def may_go_dark(self) -> tuple[str, ...]:
        """Devices that may go dark: readings or undeclared behaviour leave it open."""
        return self._devices(self.may_ports)

    @property
    def stays(self) -> tuple[str, ...]:
        """Devices that surely keep their power."""
        gone = {*self.dark_ports, *self.may_ports, *self.dark_at_base, *self.may_at_base}
        return tuple(
            port.device
            for unit in self.network.units
            for port in unit.ports
            if port.device is not None and not port.off and (unit.index, port.at) not in gone
        )

    @property
    def dark_units(self) -> tuple[str, ...]:
        """Units that go dark."""
        return self._units(self.dark_unit_numbers)

    @property
    def unreachable(self) -> tuple[str, ...]:
        """Units that keep their power but can't be reached: their data ran through what is gone."""
        return self._units(self.unreachable_numbers)

    @property
    def degraded(self) -> tuple[str, ...]:
        """Units that keep their power but give less than was asked: ports shed, refused, or without enough volts."""
        return self._units(self.degraded_numbers)

    @property
    def moved(self) -> tuple[str, ...]:
        """Units that change legs."""
        return self._units(self.moved_numbers)

    @property
    def on_one_leg(self) -> tuple[str, ...]:
        """Units that had two legs before and have one now."""
        return self._units(self.one_leg_numbers)

    @property
    def restarts(self) -> tuple[str, ...]:
        """Units that go off and come up again while they change legs; their devices with them."""
        return self._units(self.restart_numbers)

    @property
    def may_restart(self) -> tuple[str, ...]:
        """Units that do not declare whether they get through the change of legs."""
        return self._units(self.may_restart_numbers)

    @property
    def short_w(self) -> float:
        """Watts that are lacking at the worst limit."""
        return 0.0 if self.worst is None else self.worst.short_w

    @property
    def assumed(self) -> tuple[str, ...]:
        """All assumptions that the result rests on."""
        found = self.network.assumed
        return tuple(line for at in self.touched_numbers for line in found.get(at, ()))

    def _devices(self, ports: tuple[Place, ...]) -> tuple[str, ...]:
        return tuple(self.network.units[at].ports[port].device or "" for at, port in ports)

    def _units(self, numbers: tuple[int, ...]) -> tuple[str, ...]:
        return tuple(self.network.units[at].name for at in numbers)
