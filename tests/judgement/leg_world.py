"""A small emulated site for leg inference: units on two legs, second by second, and what their agents would answer.

It has physics of its own, by the semantics of IEEE 802.3 and of LLDP Power via MDI: a held spare feed draws its
standby watts while AC is there, a hidden one shows no signature and the unit reboots when it changes over; a feeder
keeps what it heard over LLDP for 120 s (IEEE 802.1AB: 30 s x 4); the word says who carries, and some agents lie.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from math import sqrt

from portdraw.observation.record import Basis, PortState, PowerSource, Quantity, Record
from portdraw.observation.unit_observation import Outcome, UnitObservation

EVERY_S = 30
FEEDER = "core"
OWN_W, FED_EFFICIENCY, STANDBY_W = 6.5, 0.92, 1.3
LOOP_OHM, SOURCE_V = 5.0, 54.0  # four pairs of 80 m of 23 AWG; the site file says about the same
ON_AC_W, ON_FEED_W = 90.0, 59.6  # budgets: the declared one, and (71.3 W - 6.5 W) x 0.92 for class 8
BOOT_S, DETECT_S, LLDP_TTL_S = 60, 3, 120

Span = tuple[float, float]


@dataclass
class Traits:
    """What kind of unit it is, and how its agent tells of its power."""

    name: str
    circuit: str
    spare: str  # held | hidden
    declared: bool  # whether the site file says so
    channel: str  # both | own | heard | none: where its power source can be read
    lie: str  # "" | both | pse | local | inverted
    budget_falls: bool
    supply_object: bool
    devices_w: list[float]
    frozen_port: bool = False  # its feeder's port tells standby watts whatever it delivers


@dataclass
class Troubles:
    """From when to when [s] what is wrong with a unit."""

    no_ac: list[Span] = field(default_factory=list)
    feed_off: list[tuple[float, float, PortState]] = field(default_factory=list)
    hung: list[Span] = field(default_factory=list)
    link_down: list[Span] = field(default_factory=list)
    refused: list[Span] = field(default_factory=list)


@dataclass
class Now:
    """How a unit stands at one second."""

    ac: bool = True
    feed: bool = True  # the port could deliver, whether or not that shows
    port: PortState = PortState.SEARCHING
    port_since_s: float = -1e9
    powered: bool = True
    boots_until_s: float = -1e9
    word: PowerSource | None = None
    word_s: float = -1e9
    changed_s: float = -1e9
    hung: bool = False
    link_down: bool = False
    refused: bool = False
    mark: tuple[object, ...] = ()


class World:
    """Steps second by second; `poll` makes the observation of a unit at that second, or None where it is lost."""

    def __init__(self, units: list[Traits], troubles: dict[str, Troubles], feeder_off: list[Span], seed: int) -> None:
        self.units = {unit.name: unit for unit in units}
        self.troubles = troubles
        self.feeder_off = feeder_off
        self.now = {unit.name: Now() for unit in units}
        self.time_s = -60.0
        self.clock_s = 0.0  # what the agent's clock is ahead
        self.feeder_up = True
        self._random = random.Random(seed)
        for _ in range(60):
            self.step()

    def step(self) -> None:
        self.time_s += 1
        self.feeder_up = not _within(self.feeder_off, self.time_s)
        for name, unit in self.units.items():
            self._step(unit, self.now[name], self.troubles[name])

    def _step(self, unit: Traits, now: Now, bad: Troubles) -> None:
        time_s = self.time_s
        now.ac = not _within(bad.no_ac, time_s)
        now.hung, now.link_down = _within(bad.hung, time_s), _within(bad.link_down, time_s)
        now.refused = _within(bad.refused, time_s)
        fault = next((state for begin, end, state in bad.feed_off if begin <= time_s < end), None)
        now.feed = fault is None and self.feeder_up
        wanted = PortState.SEARCHING if fault is None else fault
        if now.feed and (unit.spare == "held" or not now.ac):
            wanted = PortState.DELIVERING
        if wanted is PortState.DELIVERING and now.port is not PortState.DELIVERING:
            if now.port is not PortState.SEARCHING:
                now.port, now.port_since_s = PortState.SEARCHING, time_s
            elif time_s - now.port_since_s >= DETECT_S:
                now.port, now.port_since_s = wanted, time_s
        elif wanted is not now.port:
            now.port, now.port_since_s = wanted, time_s
        powered = now.ac or now.port is PortState.DELIVERING
        if powered and not now.powered:
            now.boots_until_s = time_s + BOOT_S
        now.powered = powered
        if self.talks(unit) and self.feeder_up and not now.link_down:
            now.word, now.word_s = self.word(unit), time_s
        elif now.link_down or not self.feeder_up or time_s - now.word_s > LLDP_TTL_S:
            now.word = None
        mark = (
            now.ac,
            now.feed,
            now.port,
            now.powered,
            time_s < now.boots_until_s,
            now.hung,
            now.link_down,
            now.refused,
            self.feeder_up,
            self.clock_s,
        )
        if mark != now.mark:
            now.mark, now.changed_s = mark, time_s

    def talks(self, unit: Traits) -> bool:
        """Whether the unit's agent runs."""
        now = self.now[unit.name]
        runs = now.powered and self.time_s >= now.boots_until_s
        return runs and not now.hung

    def reachable(self, unit: Traits) -> bool:
        """Whether an answer of it would get here: its data goes through its feeder."""
        return self.talks(unit) and self.feeder_up and not self.now[unit.name].link_down

    def refuses(self, unit: Traits) -> bool:
        return self.reachable(unit) and self.now[unit.name].refused

    def word(self, unit: Traits) -> PowerSource | None:
        """What the agent says of its power source."""
        truth = PowerSource.BOTH if self.now[unit.name].ac else PowerSource.PSE
        lies = {"both": PowerSource.BOTH, "pse": PowerSource.PSE, "local": PowerSource.LOCAL}
        if unit.lie == "inverted":
            return PowerSource.PSE if truth is PowerSource.BOTH else PowerSource.BOTH
        return lies.get(unit.lie, truth)

    def outputs_w(self, unit: Traits) -> float:
        now = self.now[unit.name]
        return sum(unit.devices_w) if now.powered and self.time_s >= now.boots_until_s else 0.0

    def port_w(self, unit: Traits) -> float:
        """Watts at the feeder's port: a constant-power load at the end of the loop."""
        now = self.now[unit.name]
        if now.port is not PortState.DELIVERING:
            return 0.0
        if unit.frozen_port:
            return STANDBY_W
        load_w = STANDBY_W if now.ac else OWN_W + self.outputs_w(unit) / FED_EFFICIENCY
        volts = (SOURCE_V + sqrt(SOURCE_V**2 - 4 * load_w * LOOP_OHM)) / 2
        return load_w + (load_w / volts) ** 2 * LOOP_OHM

    def poll(self, name: str, *, lost: bool) -> UnitObservation:
        """The observation of a unit at this second; `lost` on the way."""
        at_s = self.time_s + self.clock_s
        if name == FEEDER:
            if lost or not self.feeder_up:
                return _nothing(name, at_s, Outcome.SILENT)
            return UnitObservation(name, at_s - 1, at_s, Outcome.ANSWERED, "", tuple(self._feeder_records(at_s)))
        unit = self.units[name]
        if lost or not self.reachable(unit):
            return _nothing(name, at_s, Outcome.SILENT)
        if self.refuses(unit):
            return _nothing(name, at_s, Outcome.REFUSED)
        return UnitObservation(name, at_s - 1, at_s, Outcome.ANSWERED, "", tuple(self._unit_records(unit, at_s)))

    def _feeder_records(self, at_s: float) -> Iterator[Record]:
        for number, unit in enumerate(self.units.values(), start=1):
            now, port = self.now[unit.name], str(number)
            yield Record(port, Quantity.PORT_STATE, now.port, "", None, "invented", at_s)
            yield self._watts(port, self.port_w(unit), at_s)
            link = "down" if self.now[unit.name].link_down or not now.powered else "up"
            yield Record(port, Quantity.PORT_LINK, link, "", None, "invented", at_s)
            if now.word is not None and unit.channel in ("both", "heard"):
                yield Record(port, Quantity.PORT_PD_SOURCE, now.word, "", None, "invented", at_s)

    def _unit_records(self, unit: Traits, at_s: float) -> Iterator[Record]:
        on_ac = self.now[unit.name].ac
        for number, watts in enumerate(unit.devices_w, start=1):
            yield Record(str(number), Quantity.PORT_STATE, PortState.DELIVERING, "", None, "invented", at_s)
            yield self._watts(str(number), watts, at_s)
        budget_w = ON_AC_W if on_ac or not unit.budget_falls else ON_FEED_W
        yield Record(None, Quantity.UNIT_BUDGET, round(budget_w), "W", Basis.MEASURED, "invented", at_s)
        word = self.word(unit)
        if word is not None and unit.channel in ("both", "own"):
            yield Record(None, Quantity.UNIT_OWN_SOURCE, word, "", None, "invented", at_s)
        if unit.supply_object:
            says = "there" if on_ac else "lost"
            yield Record(None, Quantity.UNIT_AC_SUPPLY, says, "", None, "invented", at_s)

    def _watts(self, port: str, watts: float, at_s: float) -> Record:
        told = round(watts * self._random.uniform(0.98, 1.02), 1)
        return Record(port, Quantity.PORT_DRAW, told, "W", Basis.MEASURED, "invented", at_s)


def _within(spans: list[Span], time_s: float) -> bool:
    return bool(spans) and any(begin <= time_s < end for begin, end in spans)


def _nothing(name: str, at_s: float, outcome: Outcome) -> UnitObservation:
    return UnitObservation(name, at_s - 8, at_s, outcome, outcome.value, ())
