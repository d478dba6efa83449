"""The emulated site in motion, without SNMP: things fail and come back, time passes, and it is told what is dark.

Quasi-static: between two events nothing moves but batteries. The same site, loads and events always end the same.
Nothing here reads a clock.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeVar

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.rehearsal import failure as fails
from portdraw.rehearsal import noise
from portdraw.rehearsal.balance import Balance, balance_of, source_w, ups_outputs_w
from portdraw.rehearsal.failure import Failure
from portdraw.rehearsal.plant import CONTROLLER_S, LLDP_S, RETRY_S, Plant
from portdraw.rehearsal.state import NEVER, PortState, UnitState

Thing = TypeVar("Thing", str, int)
PortId = tuple[str, str]
"""A unit's name and the printed number of a port."""


@dataclass(frozen=True)
class LimitWatts:
    """Watts against a limit: of a unit at its PSE outputs, of a source at AC, which books what it gives."""

    drawn_w: float
    booked_w: float
    limit_w: float


class SitePhysics:
    """A site at rest at time 0 s, everything planned on and as well as the plan allows."""

    def __init__(
        self,
        site: Site,
        loads: Case | Mapping[PortId, float] = Case.TYPICAL,
        seed: int = 0,
        *,
        noise_share: float = 0.0,
        startup: bool = True,
        lldp_pd_w: Mapping[PortId, float] | None = None,
        lldp_s: float = LLDP_S,
        class_must_fit: bool = False,
    ):
        """`loads`: a case, or watts at the PD input by port; a device that is not in it takes its typical watts.

        `noise_share` of each device's watts is added or taken off, by `seed`. Without `startup` devices take their
        steady watts at once. `lldp_pd_w` are allocations [W at the PD input] of spare feeds, by the feeder's port;
        such a grant holds for `lldp_s` after the feed begins to carry. `class_must_fit` as in `Plant`. Raises
        RehearsalError for a site that can't be emulated.
        """
        self._loads = loads
        self._noise = noise_share
        self._startup = startup
        keys = {
            (name, key): noise.key(seed, f"{name}/{key}") for name, unit in site.units.items() for key in unit.ports
        }
        self._site = site
        self._plant = Plant(site, 0.0, self._takes_w, keys)
        self._plant.lldp_s = lldp_s
        self._plant.class_must_fit = class_must_fit
        for (name, key), watts in (lldp_pd_w or {}).items():
            self._plant.units[name].ports[key].lldp_pd_w = watts
        self._plant.begin()

    @property
    def time_s(self) -> float:
        """Seconds since the beginning."""
        return self._plant.time_s

    @property
    def units(self) -> Mapping[str, UnitState]:
        """The units as they stand, leaves first; to look at."""
        return self._plant.units

    def fail(self, *things: Failure) -> None:
        """Let things go away at this moment, all at once."""
        self._plant.interrupted.clear()
        for thing in things:
            self._set(thing, gone=True)
        self._plant.rest(self.time_s)

    def restore(self, *things: Failure) -> None:
        """Let things come back at this moment. A feeder's port that was mended asks anew."""
        for thing in things:
            self._set(thing, gone=False)
        self._plant.rest(self.time_s)

    def step(self, seconds: float) -> None:
        """Let time pass, through every event within it."""
        until_s = self.time_s + seconds
        while (next_s := self._next_event_s()) <= until_s:
            self._pass_to(next_s)
        if until_s > self.time_s:
            self._pass_to(until_s)

    def settle(self, within_s: float = 3600.0) -> bool:
        """Let time pass until nothing boots, starts up or is let in any more; False where that takes too long.

        Refused ports try once more before it counts as steady. Batteries go on draining meanwhile, and only one that
        is flat before that goes dark; charging and draining are not waited for.
        """
        until_s = self.time_s + within_s
        mark, marked_s = self._standing(), self.time_s
        while self.time_s < until_s:
            pending_s = self._next_pending_s()
            if pending_s == NEVER and (self.time_s >= marked_s + RETRY_S or self._next_retry_s() == NEVER):
                return True
            self._pass_to(min(self._next_event_s(), until_s))
            if pending_s < NEVER or self._standing() != mark:
                mark, marked_s = self._standing(), self.time_s
        return False

    def dark(self) -> set[PortId]:
        """Return the ports with a planned device that has no power now; a port planned off is not dark."""
        return {
            (unit.name, port.key)
            for unit in self._plant.units.values()
            for port in unit.ports.values()
            if port.load is not None and not port.planned_off and not port.on
        }

    def interrupted(self) -> set[PortId]:
        """Return the ports whose device lost its power at any moment since the last `fail`, back by now or not."""
        return set(self._plant.interrupted)

    def limits(self) -> dict[str, LimitWatts]:
        """Return what flows and what is set aside at every limit: "unit NAME", "circuit NAME", "ups NAME"."""
        found = {
            f"unit {name}": LimitWatts(unit.outputs_w, unit.booked_w, unit.budget_w)
            for name, unit in self._plant.units.items()
        }
        watts = source_w(self._site, self._plant)
        for name, circuit in self._site.circuits.items():
            found[f"circuit {name}"] = LimitWatts(watts[name], watts[name], circuit.limit_w)
        for name, ups in self._site.ups.items():
            found[f"ups {name}"] = LimitWatts(watts[name], watts[name], ups.rating_w)
        return found

    def minutes_left(self, ups: str) -> float:
        """Return how long the battery of a UPS lasts at what it carries now, as if it had no input [min]."""
        return self._plant.ac.batteries[ups].lasts_s(ups_outputs_w(self._site, self._plant)[ups]) / 60

    def balance(self) -> Balance:
        """Return where the watts go."""
        return balance_of(self._site, self._plant)

    # Failures.

    def _set(self, thing: Failure, gone: bool) -> None:
        ac, units = self._plant.ac, self._plant.units
        if isinstance(thing, fails.CircuitLost):
            _put(ac.lost_circuits, thing.circuit, gone)
        elif isinstance(thing, fails.PanelLost):
            _put(ac.lost_panels, thing.panel, gone)
        elif isinstance(thing, fails.IncomerLost):
            _put(ac.lost_incomers, thing.incomer, gone)
        elif isinstance(thing, fails.UpsInputLost | fails.UpsFlat):
            _put(ac.lost_ups_inputs, thing.ups, gone)
            if isinstance(thing, fails.UpsFlat) and gone:
                ac.batteries[thing.ups].left_wh = 0.0
        elif isinstance(thing, fails.ModuleLost):
            _put(units[thing.unit].lost_modules, thing.module, gone)
        elif isinstance(thing, fails.FeedCableLost):
            _put(units[thing.unit].ports[thing.port].broken, "cable", gone)
        elif isinstance(thing, fails.FeederPortLost):
            _put(units[thing.unit].ports[thing.port].broken, "port", gone)
        elif isinstance(thing, fails.UnitLost):
            units[thing.unit].failed = gone
        elif gone:
            self._plant.restart_ports(units[thing.unit], self.time_s + CONTROLLER_S)

    # Time.

    def _pass_to(self, time_s: float) -> None:
        outputs_w = ups_outputs_w(self._site, self._plant)
        self._plant.ac.pass_time(self.time_s, time_s - self.time_s, outputs_w)
        self._plant.rest(time_s)

    def _next_event_s(self) -> float:
        flat_s = self._plant.ac.next_flat_s(self.time_s, ups_outputs_w(self._site, self._plant))
        return min(self._next_pending_s(), self._next_retry_s(), flat_s)

    def _next_pending_s(self) -> float:
        return min(self._plant.next_pending_s(), self._plant.ac.next_start_s(self.time_s))

    def _next_retry_s(self) -> float:
        return self._plant.next_retry_s()

    def _standing(self) -> tuple[object, ...]:
        return tuple(
            (unit.leg, unit.carrying, tuple((port.on, port.granted) for port in unit.ports.values()))
            for unit in self._plant.units.values()
        )

    # Loads.

    def _takes_w(self, unit: UnitState, port: PortState, time_s: float) -> float:
        load = port.load
        if load is None:
            return 0.0
        loads = self._loads
        watts = load.in_case(loads) if isinstance(loads, Case) else loads.get((unit.name, port.key), load.day_w)
        if self._startup and time_s - port.since_s < load.startup_s:
            watts = max(watts, load.startup_w)
        if self._noise:
            watts *= 1 + self._noise * noise.around_zero(port.noise_key, 0)
        return watts


def _put(lost: set[Thing], what: Thing, gone: bool) -> None:
    if gone:
        lost.add(what)
    else:
        lost.discard(what)
