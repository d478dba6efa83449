"""Emulated weeks of a unit that tells totals only: its plan, what it tells every poll, and what was true.

Devices are the rehearsal's own load model (`rehearsal.load`), its noise (1.2 % of a device's watts, for a minute),
its weather and the kinds of its site; on top of that each device here wanders slowly by about 1 %, turns to its night
watts by a light sensor of its own (minutes before or after the site's night begins) and is not what the plan says of
it. The estimator's code is not used. Watts at the PSE output; cables are left out on both sides.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray
from tests.powerflow.sites import ferry_terminal

from portdraw.plan.site import DeviceType
from portdraw.rehearsal import class_power
from portdraw.rehearsal.load import Load
from portdraw.rehearsal.physics import NOISE
from portdraw.rehearsal.weather import heater_share, mild

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

DAY_S = 86_400.0
EVERY_S = 30.0
PLAN_OFF = 0.25  # each planned figure is wrong by up to this share, evenly
NIGHT_FROM_S, NIGHT_TO_S = 20 * 3600.0, 6.5 * 3600.0  # as on the rehearsal's site; times of day here are local
LIGHT_SENSOR_S = 480.0  # spread of the devices' own dusk around the site's, and a third of it from day to day
WANDER_SHARE, WANDER_S = 0.01, 3 * 3600.0
LOST_POLLS = 0.01
START_S = 1_700_006_400.0  # midnight


@dataclass(frozen=True)
class Scenario:
    """What kind of unit and of weeks. `never_switched`: the share of ports that stay on all the time.

    `told` is how the total is made whole: "truncates", "rounds" or "goes up". `cycling_w`: one device takes that much
    more every now and then, which no state shows. `colder_c`: frost, so that heaters run at night.
    """

    ports: int = 8
    never_switched: float = 0.0
    told: str = "truncates"
    cycling_w: float = 0.0
    colder_c: float = 0.0
    days: int = 8
    every_s: float = EVERY_S


@dataclass(frozen=True)
class Weeks:
    """What the plan says, what was told and what was true, one row a poll.

    `planned` and `true` are devices by port; `on` is what the unit's states say at the poll (read a second before its
    total), `told_w` its total, NaN where the poll was lost; `true_w` is each port's draw at the moment of the total.
    `plan_w` is what the plan gives each port that is on, by the site's night.
    """

    scenario: Scenario
    planned: tuple[Load, ...]
    true: tuple[Load, ...]
    time_s: Floats
    night: Bools
    on: Bools
    told_w: Floats
    true_w: Floats
    plan_w: Floats

    @property
    def edges(self) -> list[int]:
        """How often each port's state changed in the first seven days."""
        week = self.on[self.time_s < self.time_s[0] + 7 * DAY_S]
        return [int(count) for count in np.count_nonzero(np.diff(week, axis=0), axis=0)]


def is_night(time_s: float) -> bool:
    """Say whether it is night by the site's clock."""
    of_day = (time_s - START_S) % DAY_S
    return of_day >= NIGHT_FROM_S or of_day < NIGHT_TO_S


@cache
def kinds() -> dict[str, DeviceType]:
    """The kinds of devices of the rehearsal's site."""
    return dict(ferry_terminal().device_types)


def planned_load(name: str, kind: DeviceType) -> Load:
    """A device as the plan has it."""
    day_w = kind.typical_w or 0.0
    night_w = day_w if kind.night_w is None else kind.night_w
    return Load(
        name,
        0 if kind.device_class is None else kind.device_class,
        day_w,
        night_w,
        night_w if kind.frost_night_w is None else kind.frost_night_w,
        kind.startup_w or 0.0,
        kind.startup_s or 0.0,
        class_power.at_pd_w(0 if kind.device_class is None else kind.device_class),
    )


def true_load(planned: Load, random: np.random.Generator) -> Load:
    """What the device really is: every figure of the plan off by up to a quarter."""
    day, night, frost, startup, lasting = 1 + random.uniform(-PLAN_OFF, PLAN_OFF, 5)
    day_w = planned.day_w * day
    night_w = day_w + (planned.night_w - planned.day_w) * night
    return replace(
        planned,
        day_w=day_w,
        night_w=night_w,
        frost_w=night_w + (planned.frost_w - planned.night_w) * frost,
        startup_w=planned.startup_w * startup,
        startup_s=planned.startup_s * lasting,
    )


def emulate(seed: int, scenario: Scenario) -> Weeks:
    """Play a unit's weeks."""
    random = np.random.default_rng(seed)
    names = sorted(kinds())
    planned = tuple(
        planned_load(f"device-{number}", kinds()[names[random.integers(len(names))]])
        for number in range(scenario.ports)
    )
    true = tuple(true_load(load, random) for load in planned)
    time_s = START_S + np.arange(0, scenario.days * DAY_S, scenario.every_s)
    night = np.array([is_night(float(moment)) for moment in time_s])
    changes = _switching(scenario, random)
    ages = [_powered_for(time_s, of_port) for of_port in changes]
    temperature = mild(seed)
    heaters = np.array([heater_share(temperature(float(moment)) - scenario.colder_c) for moment in time_s])
    true_w = np.stack(
        [_watts(load, time_s, heaters, age, random) for load, age in zip(true, ages, strict=True)], axis=1
    )
    if scenario.cycling_w:
        room = [class_power.at_pse_w(load.signature) - max(load.day_w, load.night_w) for load in true]
        unseen = int(np.argmax(room))
        phase = np.cumsum(random.uniform(600, 2400, 2 * scenario.days * 100))
        runs = np.searchsorted(START_S + phase, time_s) % 2 == 1
        true_w[:, unseen] += scenario.cycling_w * runs * (ages[unseen] >= 0)
    on = np.stack([_powered_for(time_s - 1.0, of_port) >= 0 for of_port in changes], axis=1)
    total_w = true_w.sum(axis=1)
    whole_w = {"truncates": np.floor(total_w), "rounds": np.round(total_w), "goes up": np.ceil(total_w)}
    told_w = np.where(random.random(len(time_s)) < LOST_POLLS, np.nan, whole_w[scenario.told])
    by_plan = np.stack([np.where(night, load.night_w, load.day_w) for load in planned], axis=1)
    return Weeks(scenario, planned, true, time_s, night, on, told_w, true_w, np.where(on, by_plan, 0.0))


def _switching(scenario: Scenario, random: np.random.Generator) -> list[list[float]]:
    """For each port the moments at which it goes off and on again: 2 to 8 times a week, for minutes to hours.

    Now and then two go off together, as when somebody restarts a pair.
    """
    stay = round(scenario.never_switched * scenario.ports)
    switched = sorted(random.permutation(scenario.ports)[stay:].tolist())
    weeks = scenario.days / 7
    changes: list[list[float]] = [[] for _ in range(scenario.ports)]
    for port in switched:
        for _ in range(int(random.integers(2, 9) * weeks)):
            at_s = START_S + random.uniform(0.02, scenario.days - 0.3) * DAY_S
            away_s = float(np.clip(np.exp(random.normal(np.log(2400.0), 1.0)), 120.0, 8 * 3600.0))
            together = random.random() < 0.1
            other = int(switched[random.integers(len(switched))]) if together else port
            for one in {port, other}:
                if not any(off_s - 900 < at_s + away_s and at_s < on_s + 900 for off_s, on_s in _pairs(changes[one])):
                    changes[one] += [at_s, at_s + away_s]
                    changes[one].sort()
    return changes


def _pairs(changes: list[float]) -> list[tuple[float, float]]:
    return list(zip(changes[::2], changes[1::2], strict=True))


def _powered_for(time_s: Floats, changes: list[float]) -> Floats:
    """Seconds since the port last came on, very long where it always was, -1 while it is off."""
    age = np.full(len(time_s), 1e9)
    for off_s, on_s in _pairs(changes):
        age = np.where(time_s >= off_s, np.where(time_s < on_s, -1.0, time_s - on_s), age)
    return age


def _watts(load: Load, time_s: Floats, heaters: Floats, age: Floats, random: np.random.Generator) -> Floats:
    own_dusk_s = random.normal(0.0, LIGHT_SENSOR_S)
    days = int((time_s[-1] - START_S) // DAY_S) + 2
    shift_s = np.clip(own_dusk_s + random.normal(0.0, LIGHT_SENSOR_S / 3, days), -1800, 1800)
    of_day = (time_s - START_S) % DAY_S
    shifts = shift_s[((time_s - START_S) // DAY_S).astype(int)]
    dark = (of_day >= NIGHT_FROM_S + shifts) | (of_day < NIGHT_TO_S - shifts)
    night_w = load.watts(True, 0.0, 1e9)
    night = night_w + heaters * (load.watts(True, 1.0, 1e9) - night_w)
    steady = np.where(dark, night, load.watts(False, 0.0, 1e9))
    watts = np.where((age >= 0) & (age < load.startup_s), np.maximum(steady, load.startup_w), steady)
    minutes = ((time_s - START_S) // 60).astype(int)
    noise = random.random(minutes[-1] + 1) + random.random(minutes[-1] + 1) - 1  # as noise.around_zero
    return np.where(age < 0, 0.0, watts * (1 + NOISE * noise[minutes] + _wander(time_s, random)))


def _wander(time_s: Floats, random: np.random.Generator) -> Floats:
    knots = np.arange(time_s[0], time_s[-1] + 2 * WANDER_S, WANDER_S)
    return np.interp(time_s, knots, random.normal(0.0, WANDER_SHARE, len(knots)))
