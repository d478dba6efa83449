"""A large invented site for the benchmarks: fed units of 48 ports on cores of 48 ports, and what such units tell.

Every fed port has a device. Circuits carry five fed units each, the cores stand on a UPS. The site is a load, not a
good plan: its cores are too small for all feeds at once, so that every limit has something to say.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

from portdraw.observation.record import Basis, PortState, PowerSource, Quantity, Record
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.site import Site

PORTS = 48
FEEDS_A_CORE = 44  # of 48 ports; the others have devices of the control room
UNITS_A_CIRCUIT = 5
UNITS_A_ZONE = 10
SOURCE = "invented"
_TYPES = ("sensor", "reader", "sensor", "speaker")
_BASE_W = {"sensor": 0.8, "reader": 1.1, "speaker": 1.5}
_HEAD = """\
format: 1
site: {name: Large load, timezone: UTC, night: {from: "20:00", to: "06:30"}}
policy: {must_survive: {all_unbacked_ac: {criticality_up_to: 1, minutes: 30}}}
incomers: {town: {rating_a: 4000}}
panels: {P1: {fed_from: town}, P2: {fed_from: town}}
ups:
  ups-a: {input: control-1, rating_w: 90000, battery_wh: 60000, efficiency: 0.95}
device_types:
  sensor: {class: 1, typical_w: 0.9, max_w: 3.84}
  reader: {class: 1, typical_w: 1.2, night_w: 1.4, max_w: 3.84}
  speaker: {class: 2, typical_w: 1.6, max_w: 6.49}
"""


def fed_names(count: int) -> list[str]:
    """Return the names of so many fed units."""
    return [f"fed-{number:04}" for number in range(1, count + 1)]


def core_names(count: int) -> list[str]:
    """Return the names of the cores that feed so many units."""
    return [f"core-{number:02}" for number in range(1, -(-count // FEEDS_A_CORE) + 1)]


def site_text(count: int, access: str = "load") -> str:
    """Return the site file of `count` fed units; addresses are to be replaced."""
    names, lines = fed_names(count), [_HEAD, "circuits:\n"]
    lines.append('  control-1: {panel: P1, breaker: "1", rating_a: 800}\n')
    for at in range(0, count, UNITS_A_CIRCUIT):
        number = at // UNITS_A_CIRCUIT + 2
        lines.append(f'  hall-{number}: {{panel: P2, breaker: "{number}", rating_a: 32, zone: zone-{number}}}\n')
    lines.append("units:\n")
    for number, core in enumerate(core_names(count)):
        lines.append(_unit(core, "control room", "control", access))
        lines.append("    own_use_w: 60\n    supplies: [{from: ups-a, efficiency: 0.92}]\n")
        lines.append(
            f"    pse: {{budget_w: 2400, voltage_v: 54, ports: {PORTS}, class_max: 8, admission: drawn}}\n"
            "    ports:\n"
        )
        below = names[number * FEEDS_A_CORE : (number + 1) * FEEDS_A_CORE]
        for port, name in enumerate(below, 1):
            lines.append(
                f"      {port}: {{feeds: {name}, class: 8, priority: critical, label: {core}-{port:02}, "
                f"cable: {{type: cat6a, length_m: {20 + port}, conductor: copper, ambient_c: 30, rise_k: 8}}}}\n"
            )
        lines += _devices(core, range(FEEDS_A_CORE + 1, PORTS + 1))
    for number, name in enumerate(names):
        zone, circuit = f"zone-{number // UNITS_A_ZONE}", f"hall-{number // UNITS_A_CIRCUIT + 2}"
        lines.append(_unit(name, f"{zone}, rack {number % UNITS_A_ZONE + 1}", zone, access))
        lines.append(
            f"    own_use_w: 12\n    supplies: [{{from: {circuit}, efficiency: 0.9}}]\n"
            f"    pse: {{budget_w: 740, voltage_v: 54, output_efficiency: 0.97, ports: {PORTS}, class_max: 4}}\n"
            "    fed: {prefers: ac, spare_feed: held, standby_w: 1.3, output: boosted}\n    ports:\n"
        )
        lines += _devices(name, range(1, PORTS + 1))
    return "".join(lines)


def _unit(name: str, place: str, zone: str, access: str) -> str:
    return f'  {name}:\n    place: "{place}"\n    zone: {zone}\n    address: 127.0.0.1:1\n    access: {access}\n'


def _devices(unit: str, ports: range) -> Iterator[str]:
    for port in ports:
        yield (
            f"      {port}: {{device: {unit}-{port:02}, type: {_TYPES[port % len(_TYPES)]}, label: {unit}-{port:02}, "
            f"cable: {{length_m: {10 + port}, conductor: copper, ambient_c: 30, rise_k: 5}}}}\n"
        )


class Answers:
    """What the units of a large site tell, without SNMP: a steady draw with noise, the same for the same seed.

    One port in two hundred draws more than its plan, one in four hundred is silent.
    """

    def __init__(self, site: Site, seed: int = 7) -> None:
        self._site = site
        self._dice = random.Random(seed)
        self._odd = random.Random(seed + 1)
        self._base_w: dict[tuple[str, str], float] = {}
        for name, unit in site.units.items():
            for key, port in unit.ports.items():
                self._base_w[name, key] = self._base(port.type)

    def _base(self, kind: str | None) -> float:
        chance = self._odd.random()
        if kind is None:
            return 1.3
        return 0.0 if chance < 1 / 400 else _BASE_W[kind] * (3 if chance > 1 - 1 / 200 else 1)

    def of(self, name: str, time_s: float) -> UnitObservation:
        """Return what one unit tells at a time [s since the epoch]."""
        records = [Record(None, Quantity.UPTIME, time_s % 1e6, "s", None, SOURCE, time_s)]
        sum_w = 0.0
        for key, port in self._site.units[name].ports.items():
            base_w = self._base_w[name, key]
            draw_w = round(max(0.0, base_w + self._dice.gauss(0, 0.05)), 1) if base_w else 0.0
            sum_w += draw_w
            state = PortState.DELIVERING if base_w else PortState.SEARCHING
            records.append(Record(key, Quantity.PORT_STATE, state, "", None, SOURCE, time_s))
            records.append(Record(key, Quantity.PORT_DRAW, draw_w, "W", Basis.MEASURED, SOURCE, time_s))
            records.append(Record(key, Quantity.PORT_DENIED, 0, "count", None, SOURCE, time_s))
            if base_w:
                told = 3 if port.feeds is None else 4
                records.append(Record(key, Quantity.PORT_CLASS, told, "", None, SOURCE, time_s))
        records.append(Record(None, Quantity.UNIT_DRAW, float(round(sum_w)), "W", Basis.MEASURED, SOURCE, time_s))
        records.append(Record(None, Quantity.UNIT_BUDGET, 740.0, "W", None, SOURCE, time_s))
        if self._site.units[name].fed is not None:
            source = PowerSource.LOCAL
            records.append(Record(None, Quantity.UNIT_OWN_SOURCE, source, "", None, SOURCE, time_s))
        return UnitObservation(name, time_s - 0.2, time_s, Outcome.ANSWERED, "", tuple(records))
