"""The emulated site's own solver: who carries whom, what flows, what is shed, from one moment to the next.

Time moves in steps of `tick_s` from the start, and from event to event; what is true depends on the seed and the
time alone, never on how often anybody looks. Units are boosted; a unit with local AC uses it before its feed. A UPS
carries its units as long as the rehearsal lasts.
"""

from __future__ import annotations

from collections.abc import Mapping

from portdraw.plan.site import Site, Supply
from portdraw.rehearsal import class_power, limits, noise, wire
from portdraw.rehearsal.load import NOISE_HOLD_S
from portdraw.rehearsal.story import LIVE, Plug, Restore, Scene, Story, Trip
from portdraw.rehearsal.truth import SiteTruth, UnitTruth
from portdraw.rehearsal.weather import Hours, Temperature, heater_share, mild
from portdraw.rehearsal.wiring import STANDBY_W, PortState, RehearsalError, UnitState, build

TICK_S = 5.0
MOST_TICKS_AT_ONCE = 4_320  # six hours of ticks; a longer gap (a machine that slept) is crossed event by event
RETRY_S = 30.0  # a port with a device that was denied asks again this often; common practice is seconds to a minute
NOISE = 0.012  # share of a device's watts
BOOT_S = 60.0
DAY_S = 86_400.0
FITS_W = 1e-9  # an equal sum fits


class Physics:
    """The site in motion. Begins settled at `start_s`: all planned ports on, all of its circuits alive."""

    def __init__(
        self,
        site: Site,
        start_s: float,
        seed: int,
        story: Story = LIVE,
        *,
        began_s: float | None = None,
        noise_share: float = NOISE,
        temperature: Temperature | None = None,
        tick_s: float = TICK_S,
    ):
        """`start_s` is the story's zero; `began_s` is where time begins (the same, unless a past is played).

        Raises RehearsalError for a site that can't be emulated.
        """
        names = {(name, key): noise.key(seed, f"{name}/{key}") for name in site.units for key in _keys(site, name)}
        self._units = build(site, names)
        self._down = list(reversed(self._units.values()))  # sources first
        self._site = site
        self._hours = Hours(site)
        self._temperature = temperature or mild(seed)
        self._noise = noise_share
        self._tick_s = tick_s
        self._began_s = start_s if began_s is None else began_s
        playable = story.on(site)
        self._scenes: list[Scene] = sorted(playable.scenes, key=lambda scene: scene.after_s)
        self._scenes = [scene for scene in self._scenes if start_s + scene.after_s >= self._began_s]
        self._start_s = start_s
        self._lost: set[str] = set()
        self._ticks = 0
        self.serial = 0
        self.time_s = self._began_s
        for (unit, key), creep in playable.creeps(start_s).items():
            self._units[unit].ports[key].creep = creep
        for name, state in self._units.items():
            age_days = 20 + 60 * noise.uniform(noise.key(seed, name), 0)
            state.powered_since_s = self._began_s - age_days * DAY_S
            state.leg = "ac" if self._ac_alive(state) else "feed" if state.feeder else "none"
        self._play_until(self._began_s)
        self._solve(self._began_s)

    @property
    def units(self) -> Mapping[str, UnitState]:
        """The units as they stand at `time_s`, leaves first."""
        return self._units

    def step(self, time_s: float) -> None:
        """Bring the site to the last step at or before `time_s`; again changes nothing, and time never goes back."""
        last_tick = int((time_s - self._began_s) // self._tick_s)
        if last_tick - self._ticks > MOST_TICKS_AT_ONCE:
            self._ticks = last_tick - MOST_TICKS_AT_ONCE
        while True:
            tick_at_s = self._began_s + (self._ticks + 1) * self._tick_s
            scene_at_s = self._start_s + self._scenes[0].after_s if self._scenes else float("inf")
            at_s = min(tick_at_s, scene_at_s)
            if at_s > time_s:
                return
            if tick_at_s <= at_s:
                self._ticks += 1
            self._play_until(at_s)
            self._solve(at_s)

    def truth(self) -> SiteTruth:
        """Return all that is true at `time_s`."""
        units = {name: self._unit_truth(self._units[name]) for name in self._site.units}
        feeds_ac_w = sum(unit.ac_w for unit in self._units.values())
        ports = [port for unit in self._units.values() for port in unit.ports.values()]
        devices_w = sum(port.pd_w for port in ports if port.feeds is None)
        cables_w = sum(port.lost_w for port in ports)
        own_use_w = sum(unit.own_use_w for unit in self._units.values() if unit.powered)
        conversion_w = sum(self._conversion_w(unit) for unit in self._units.values())
        dark = tuple(
            port.load.name
            for name in self._site.units
            for port in self._units[name].ports.values()
            if port.load is not None and not port.planned_off and not port.waiting and port.draw_w <= 0
        )
        return SiteTruth(
            time_s=self.time_s,
            night=self._hours.is_night(self.time_s),
            temperature_c=self._temperature(self.time_s),
            lost_circuits=frozenset(self._lost),
            units=units,
            dark_devices=dark,
            given_w=feeds_ac_w,
            devices_w=devices_w,
            cables_w=cables_w,
            own_use_w=own_use_w,
            conversion_w=conversion_w,
        )

    def source_of(self, unit: UnitState) -> str:
        """Return who carries a unit, as LLDP has it: "both", "pse", "local", "none". A held spare feed counts."""
        if not unit.powered:
            return "none"
        if unit.leg == "feed":
            return "pse"
        return "both" if unit.feeder is not None and self._feeder_port(unit).draw_w > 0 else "local"

    def answers(self, name: str) -> bool:
        """Say whether a unit's agent can be heard: it is powered and booted, and so is every unit its data passes."""
        return all(self._awake(self._units[one]) for one in (name, *self._units[name].path))

    # Steps of one solution.

    def _play_until(self, time_s: float) -> None:
        while self._scenes and self._start_s + self._scenes[0].after_s <= time_s:
            event = self._scenes.pop(0).event
            if isinstance(event, Trip):
                self._lost.add(event.circuit)
            elif isinstance(event, Restore):
                self._lost.discard(event.circuit)
            else:
                port = self._units[event.unit].ports.get(event.port)
                if port is None:
                    raise RehearsalError(f"the story names port {event.port} of {event.unit}, which has no such port")
                port.mps_absent += 1 if port.draw_w > 0 else 0
                port.load = event.device if isinstance(event, Plug) else None
                port.waiting = isinstance(event, Plug)
                port.retry_s = time_s

    def _solve(self, time_s: float) -> None:
        self.time_s = time_s
        self.serial += 1
        night = self._hours.is_night(time_s)
        heaters = heater_share(self._temperature(time_s)) if night else 0.0
        first = True
        for _ in range(2 * len(self._units) + 2):  # each round beyond the first darkens or admits something
            self._share_out_legs(time_s)
            again = False
            for unit in self._units.values():
                again |= self._load_unit(unit, time_s, night, heaters, first)
            again |= self._admit(time_s)
            first = False
            if not again:
                break
        for unit in self._units.values():
            unit.ac_w = limits.drawn_at_ac_w(unit, self._alive) if unit.leg == "ac" else 0.0

    def _share_out_legs(self, time_s: float) -> None:
        for unit in self._down:
            fed = False
            if unit.feeder is not None and unit.plan.fed is not None:
                feeder = self._units[unit.feeder[0]]
                fed = feeder.powered and self._feeder_port(unit).enabled
            ac = self._ac_alive(unit)
            prefers_feed = unit.plan.fed is not None and unit.plan.fed.prefers == "feed"
            leg = "feed" if fed and (prefers_feed or not ac) else "ac" if ac else "none"
            if leg == unit.leg:
                continue
            was, unit.leg = unit.leg, leg
            if leg == "none":
                continue
            if was == "none":
                unit.powered_since_s = time_s
                unit.boots += 1
            if was == "none" or (unit.plan.fed is not None and unit.plan.fed.on_transfer == "drops-all"):
                for port in unit.ports.values():
                    port.latched = port.faulty = False
                    port.since_s = time_s

    def _load_unit(self, unit: UnitState, time_s: float, night: bool, heaters: float, first: bool) -> bool:
        """Work out a unit's ports and shed to its budget; true where a unit below lost its feed by it."""
        for port in unit.ports.values():
            pd_w = self._wanted_pd_w(port, time_s, night, heaters) if unit.powered and port.enabled else 0.0
            if pd_w != port.pd_w or (pd_w > 0) != (port.draw_w > 0):
                self._set_port(port, unit.port_v, pd_w)
        if not unit.powered:
            unit.budget_w = unit.outputs_w = unit.feed_pd_w = 0.0
            unit.wanted_w = unit.wanted_feeder_w = 0.0
            return False
        if unit.leg == "ac":
            unit.budget_w = limits.on_ac_w(unit, self._alive)
        else:
            unit.budget_w = limits.on_feed_w(unit, self._feeder_port(unit).feed_class)
        total_w = sum(port.draw_w for port in unit.ports.values())
        if first:
            unit.wanted_w = total_w
            for port in unit.ports.values():
                if port.feeds is not None:
                    self._units[port.feeds].wanted_feeder_w = port.draw_w
        cut_below = self._drop_overloads(unit)
        total_w = sum(port.draw_w for port in unit.ports.values())
        while total_w > unit.budget_w + FITS_W:
            carrying = [port for port in unit.ports.values() if port.draw_w > 0]
            if not carrying:
                break
            for port in limits.next_to_shed(unit, carrying):
                cut_below |= port.feeds is not None
                port.latched = True
                port.denied += 1
                self._set_port(port, unit.port_v, 0.0)
            total_w = sum(port.draw_w for port in unit.ports.values())
        unit.outputs_w = total_w
        fed = unit.plan.fed
        unit.feed_pd_w = 0.0
        if unit.leg == "feed" and fed is not None:
            unit.feed_pd_w = unit.own_use_w + total_w / fed.efficiency
        elif fed is not None and fed.spare_feed != "hidden":
            unit.feed_pd_w = STANDBY_W if fed.standby_w is None else fed.standby_w
        return cut_below

    def _wanted_pd_w(self, port: PortState, time_s: float, night: bool, heaters: float) -> float:
        if port.feeds is not None:
            below = self._units[port.feeds]
            return below.feed_pd_w if below.powered else 0.0
        if port.load is None:
            return 0.0
        watts = port.load.watts(night, heaters, time_s - port.since_s)
        if port.creep is not None:
            watts += port.creep.watts(time_s)
        if self._noise:
            watts *= 1 + self._noise * noise.around_zero(port.noise_key, int(time_s // NOISE_HOLD_S))
        return watts

    def _set_port(self, port: PortState, port_v: float, pd_w: float) -> None:
        point = wire.settle(port_v, port.ohm, pd_w)
        if point is None:  # no current carries this load: the PSE sees an overload
            port.faulty = True
            port.overloads += 1
            point = wire.Point(port_v, 0.0, 0.0)
            pd_w = 0.0
        port.pd_w, port.pd_v, port.lost_w, port.draw_w = pd_w, point.volts, point.lost_w, point.source_w

    def _drop_overloads(self, unit: UnitState) -> bool:
        cut_below = False
        for port in unit.ports.values():
            if port.draw_w > port.limit_w:
                port.faulty = True
                port.overloads += 1
                self._set_port(port, unit.port_v, 0.0)
                cut_below |= port.feeds is not None
        return cut_below

    def _admit(self, time_s: float) -> bool:
        """Let newcomers in where the watts of their class are free beside what is drawn; count each refusal."""
        admitted = False
        for unit in self._units.values():
            if not unit.powered:
                continue
            booked_w = unit.outputs_w
            for port in unit.ports.values():
                if not port.waiting or port.retry_s > time_s:
                    continue
                class_w = class_power.PSE_W[port.device_class]
                if booked_w + class_w <= unit.budget_w + FITS_W:
                    booked_w += class_w
                    port.waiting = False
                    port.since_s = time_s
                    admitted = True
                    continue
                while port.retry_s <= time_s:
                    port.denied += 1
                    port.retry_s += RETRY_S
        return admitted

    # Small facts.

    def _alive(self, supply: Supply) -> bool:
        return supply.source not in self._lost

    def _ac_alive(self, unit: UnitState) -> bool:
        return any(self._alive(supply) for supply in unit.plan.supplies)

    def _feeder_port(self, unit: UnitState) -> PortState:
        if unit.feeder is None:
            raise RehearsalError(f"{unit.name} has no feed")
        return self._units[unit.feeder[0]].ports[unit.feeder[1]]

    def _awake(self, unit: UnitState) -> bool:
        boot_s = BOOT_S if unit.plan.boot_s is None else unit.plan.boot_s
        return unit.powered and (unit.boots == 1 or self.time_s - unit.powered_since_s >= boot_s)

    def _conversion_w(self, unit: UnitState) -> float:
        if unit.leg == "ac":
            # the standby watts of a spare feed arrive and heat the converter
            return unit.ac_w + unit.feed_pd_w * self._spare_arrives(unit) - unit.own_use_w - unit.outputs_w
        if unit.leg == "feed":
            return unit.feed_pd_w - unit.own_use_w - unit.outputs_w
        return 0.0

    def _spare_arrives(self, unit: UnitState) -> bool:
        return unit.feeder is not None and self._feeder_port(unit).draw_w > 0

    def _unit_truth(self, unit: UnitState) -> UnitTruth:
        port = self._feeder_port(unit) if unit.feeder is not None else None
        return UnitTruth(
            name=unit.name,
            powered=unit.powered,
            answers=self.answers(unit.name),
            leg=unit.leg,
            source=self.source_of(unit),
            port_w={key: port.draw_w for key, port in unit.ports.items()},
            port_state={key: port.state for key, port in unit.ports.items()},
            denied={key: port.denied for key, port in unit.ports.items()},
            shed=tuple(key for key, port in unit.ports.items() if port.latched),
            outputs_w=unit.outputs_w,
            wanted_w=unit.wanted_w,
            budget_w=unit.budget_w,
            ac_w=unit.ac_w,
            feed_pd_w=0.0 if port is None else port.pd_w,
            feed_v=0.0 if port is None else port.pd_v,
            feed_lost_w=0.0 if port is None else port.lost_w,
            feeder_w=0.0 if port is None else port.draw_w,
            wanted_feeder_w=unit.wanted_feeder_w,
        )


def _keys(site: Site, name: str) -> tuple[str, ...]:
    pse = site.units[name].pse
    return (*site.units[name].ports, *(str(number) for number in range(1, 1 + (0 if pse is None else pse.ports))))
