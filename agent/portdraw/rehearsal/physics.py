"""The emulated site as the rehearsal plays it: its story, weather and noise, from one moment to the next.

Time moves in steps of `tick_s` from the start, and from event to event; what is true depends on the seed and the
time alone, never on how often anybody looks.
"""

from __future__ import annotations

from collections.abc import Mapping

from portdraw.plan.site import Site
from portdraw.rehearsal import noise
from portdraw.rehearsal.balance import balance_of, ups_outputs_w
from portdraw.rehearsal.load import NOISE_HOLD_S
from portdraw.rehearsal.plant import BOOT_S, Plant
from portdraw.rehearsal.state import PortState, UnitState
from portdraw.rehearsal.story import LIVE, Plug, Restore, Scene, Story, Trip
from portdraw.rehearsal.truth import SiteTruth, UnitTruth
from portdraw.rehearsal.weather import Hours, Temperature, heater_share, mild
from portdraw.rehearsal.wiring import RehearsalError

TICK_S = 5.0
MOST_TICKS_AT_ONCE = 4_320  # six hours of ticks; a longer gap (a machine that slept) is crossed scene by scene
NOISE = 0.012  # share of a device's watts
DAY_S = 86_400.0


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
        self._ticks = 0
        self._hour: tuple[float, bool, float] = (float("nan"), False, 0.0)
        self.serial = 0
        self._plant = Plant(site, self._began_s, self._takes_w, names)
        self._plant.class_must_fit = True  # the story's device that asks in vain
        for (unit, key), creep in playable.creeps(start_s).items():
            self._plant.units[unit].ports[key].creep = creep
        for name, state in self._plant.units.items():
            age_days = 20 + 60 * noise.uniform(noise.key(seed, name), 0)
            state.powered_since_s = self._began_s - age_days * DAY_S
        self._plant.begin()
        self._play_until(self._began_s)
        self._rest(self._began_s)

    @property
    def units(self) -> Mapping[str, UnitState]:
        """The units as they stand at `time_s`, leaves first."""
        return self._plant.units

    @property
    def time_s(self) -> float:
        """The moment that all of this is true at [s since the epoch]."""
        return self._plant.time_s

    def step(self, time_s: float) -> None:
        """Bring the site to the last step at or before `time_s`; again changes nothing, and time never goes back."""
        last_tick = int((time_s - self._began_s) // self._tick_s)
        if last_tick - self._ticks > MOST_TICKS_AT_ONCE:
            self._ticks = last_tick - MOST_TICKS_AT_ONCE
        while True:
            tick_at_s = self._began_s + (self._ticks + 1) * self._tick_s
            scene_at_s = self._start_s + self._scenes[0].after_s if self._scenes else float("inf")
            at_s = min(tick_at_s, scene_at_s)
            if tick_at_s - self.time_s <= self._tick_s:  # not while a long gap is crossed
                at_s = min(at_s, self._next_event_s())
            if at_s > time_s:
                return
            if tick_at_s <= at_s:
                self._ticks += 1
            self._play_until(at_s)
            self._rest(at_s)

    def truth(self) -> SiteTruth:
        """Return all that is true at `time_s`."""
        balance = balance_of(self._site, self._plant)
        return SiteTruth(
            time_s=self.time_s,
            night=self._hours.is_night(self.time_s),
            temperature_c=self._temperature(self.time_s),
            lost_circuits=frozenset(self._plant.ac.lost_circuits),
            units={name: self._unit_truth(self.units[name]) for name in self._site.units},
            dark_devices=tuple(
                port.load.name
                for name in self._site.units
                for port in self.units[name].ports.values()
                if port.load is not None and not port.planned_off and not port.visitor and port.draw_w <= 0
            ),
            given_w=balance.given_w,
            devices_w=balance.devices_w,
            cables_w=balance.cables_w,
            own_use_w=balance.own_use_w,
            conversion_w=balance.conversion_w,
        )

    def source_of(self, unit: UnitState) -> str:
        """Return who carries a unit, as LLDP has it: "both", "pse", "local", "none". A held spare feed counts."""
        if not unit.powered:
            return "none"
        if unit.leg == "feed":
            return "pse"
        fed = any(self._plant.feeder_port(unit, at).draw_w > 0 for at in range(len(unit.feeders)))
        return "both" if fed else "local"

    def answers(self, name: str) -> bool:
        """Say whether a unit's agent can be heard: it is powered and booted, and so is every unit its data passes."""
        return all(self._awake(self.units[one]) for one in (name, *self.units[name].path))

    # Steps of one solution.

    def _play_until(self, time_s: float) -> None:
        while self._scenes and self._start_s + self._scenes[0].after_s <= time_s:
            event = self._scenes.pop(0).event
            if isinstance(event, Trip):
                self._plant.ac.lost_circuits.add(event.circuit)
            elif isinstance(event, Restore):
                self._plant.ac.lost_circuits.discard(event.circuit)
            else:
                unit = self.units[event.unit]
                port = unit.ports.get(event.port)
                if port is None:
                    raise RehearsalError(f"the story names port {event.port} of {event.unit}, which has no such port")
                port.mps_absent += 1 if port.draw_w > 0 else 0
                self._plant.off(unit, port)
                port.load = event.device if isinstance(event, Plug) else None
                port.visitor = isinstance(event, Plug)
                if isinstance(event, Plug):  # somebody stands beside it: asked in the same moment
                    port.ask_s = port.first_ask_s = max(time_s, unit.ready_s)

    def _rest(self, time_s: float) -> None:
        outputs_w = ups_outputs_w(self._site, self._plant)
        self._plant.ac.pass_time(self.time_s, time_s - self.time_s, outputs_w)
        self._plant.rest(time_s)
        self.serial += 1

    def _next_event_s(self) -> float:
        plant = self._plant
        flat_s = plant.ac.next_flat_s(self.time_s, ups_outputs_w(self._site, plant))
        return min(plant.next_pending_s(), plant.next_retry_s(), plant.ac.next_start_s(self.time_s), flat_s)

    def _takes_w(self, unit: UnitState, port: PortState, time_s: float) -> float:
        if port.load is None:
            return 0.0
        if self._hour[0] != time_s:
            night = self._hours.is_night(time_s)
            self._hour = (time_s, night, heater_share(self._temperature(time_s)) if night else 0.0)
        watts = port.load.watts(self._hour[1], self._hour[2], time_s - port.since_s)
        if port.creep is not None:
            watts += port.creep.watts(time_s)
        if self._noise:
            watts *= 1 + self._noise * noise.around_zero(port.noise_key, int(time_s // NOISE_HOLD_S))
        return watts

    # Small facts.

    def _awake(self, unit: UnitState) -> bool:
        boot_s = BOOT_S if unit.plan.boot_s is None else unit.plan.boot_s
        return unit.powered and (unit.boots == 1 or self.time_s - unit.powered_since_s >= boot_s)

    def _unit_truth(self, unit: UnitState) -> UnitTruth:
        port = self._plant.feeder_port(unit) if unit.feeders else None
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
