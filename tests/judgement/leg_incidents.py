"""Seeded incidents of a small emulated site: what goes wrong with which units, when, and who lies about it."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field

from tests.judgement.leg_world import EVERY_S, FEEDER, Traits, Troubles

from portdraw.observation.record import PortState
from portdraw.plan.loader import parse_site
from portdraw.plan.site import Site

WARM_UP, AFTER = 6, 14  # polls before and after the incident
FOREVER_S = 1e9

KINDS = (
    "AC lost",
    "feed lost",
    "both lost",
    "unit hung",
    "link down",
    "feeder restarted",
    "credentials changed",
    "AC lost, 30 % of polls lost",
    "AC lost, clock stepped",
    "AC lost, agent lies",
    "nothing lost, agent lies",
    "breaker with several units",
    "breaker, one agent lies",
    "breaker, odd one out",
    "AC lost and back",
    "AC lost, port's watts frozen",
)

_HEAD = """\
format: 1
site: {name: Legs, timezone: UTC}
incomers: {town: {rating_a: 100}}
panels: {P1: {fed_from: town}}
circuits:
  control: {panel: P1, breaker: "1", rating_a: 16}
  shore: {panel: P1, breaker: "2", rating_a: 16}
  sea: {panel: P1, breaker: "3", rating_a: 16}
device_types: {camera: {class: 3, typical_w: 6.0, max_w: 12.95}}
units:
"""
_PSE = "voltage_v: 54, ports: 12, class_max: 8, admission: drawn"
_CABLE = "{type: cat6a, length_m: 80, conductor: copper, pairs: 4}"


def site_of(units: list[Traits]) -> Site:
    """The site file of these units, on one feeder."""
    lines = [_HEAD, f"  {FEEDER}:\n    address: 192.0.2.1\n    access: a\n    own_use_w: 30\n"]
    lines.append("    supplies: [{from: control}]\n    pse: {budget_w: 740, " + _PSE + "}\n    ports:\n")
    for number, unit in enumerate(units, start=1):
        lines.append(f"      {number}: {{feeds: {unit.name}, class: 8, priority: critical, cable: {_CABLE}}}\n")
    for number, unit in enumerate(units, start=2):
        lines.append(f"  {unit.name}:\n    address: 192.0.2.{number}\n    access: a\n    own_use_w: 6.5\n")
        lines.append(f"    supplies: [{{from: {unit.circuit}}}]\n    pse: {{budget_w: 90, " + _PSE + "}\n")
        spare = unit.spare if unit.declared else "unknown"
        fed = f"prefers: ac, spare_feed: {spare}, standby_w: 1.3, efficiency: 0.92, output: boosted"
        lines.append("    fed: {" + fed + "}\n    ports:\n")
        for port, _ in enumerate(unit.devices_w, start=1):
            lines.append(f"      {port}: {{device: {unit.name}-{port}, type: camera}}\n")
    return parse_site("".join(lines))


@dataclass
class Incident:
    """One incident: the world, from when it is another, how much of what is polled gets lost, and clock steps."""

    kind: str
    units: list[Traits]
    hit: list[str]
    event_s: float
    loss: float = 0.0
    clock_step: tuple[float, float] = (FOREVER_S, 0.0)
    troubles: dict[str, Troubles] = field(default_factory=dict)
    feeder_off: list[tuple[float, float]] = field(default_factory=list)


def make_incident(seed: int) -> Incident:
    """The incident of a seed."""
    rng = random.Random(seed)
    kind = KINDS[seed % len(KINDS)]
    units = [_unit(rng, f"unit-{n}", "shore" if n <= 4 else "sea") for n in range(1, 7)]
    event_s = (WARM_UP + rng.random()) * EVERY_S
    incident = Incident(kind, units, [], event_s, troubles={unit.name: Troubles() for unit in units})
    _MAKERS[kind](incident, rng)
    return incident


def _unit(rng: random.Random, name: str, circuit: str) -> Traits:
    return Traits(
        name,
        circuit,
        spare=rng.choice(("held", "held", "hidden")),
        declared=rng.random() < 0.8,
        channel=rng.choice(("both", "both", "own", "heard", "none")),
        lie="",
        budget_falls=rng.random() < 0.4,
        supply_object=rng.random() < 0.3,
        devices_w=[round(rng.uniform(2.0, 11.0), 1) for _ in range(rng.randint(1, 4))],
    )


def _one(incident: Incident, rng: random.Random) -> Troubles:
    unit = rng.choice(incident.units)
    incident.hit.append(unit.name)
    return incident.troubles[unit.name]


def _ac(incident: Incident, rng: random.Random) -> None:
    _one(incident, rng).no_ac.append((incident.event_s, FOREVER_S))


def _feed(incident: Incident, rng: random.Random) -> None:
    state = rng.choice((PortState.SEARCHING, PortState.DISABLED, PortState.FAULT))
    _one(incident, rng).feed_off.append((incident.event_s, FOREVER_S, state))


def _both(incident: Incident, rng: random.Random) -> None:
    bad = _one(incident, rng)
    later_s = incident.event_s + rng.choice((0.0, 45.0, 150.0))
    first, second = (incident.event_s, later_s) if rng.random() < 0.7 else (later_s, incident.event_s)
    bad.no_ac.append((first, FOREVER_S))
    bad.feed_off.append((second, FOREVER_S, rng.choice((PortState.SEARCHING, PortState.FAULT))))


def _hung(incident: Incident, rng: random.Random) -> None:
    _one(incident, rng).hung.append((incident.event_s, FOREVER_S))


def _link(incident: Incident, rng: random.Random) -> None:
    _one(incident, rng).link_down.append((incident.event_s, FOREVER_S))


def _feeder(incident: Incident, rng: random.Random) -> None:
    incident.feeder_off.append((incident.event_s, incident.event_s + rng.uniform(40, 120)))
    if rng.random() < 0.5:  # one unit ran on its feed when that happened
        _one(incident, rng).no_ac.append((incident.event_s - 120, FOREVER_S))


def _credentials(incident: Incident, rng: random.Random) -> None:
    _one(incident, rng).refused.append((incident.event_s, FOREVER_S))


def _loss(incident: Incident, rng: random.Random) -> None:
    _ac(incident, rng)
    incident.loss = 0.3


def _clock(incident: Incident, rng: random.Random) -> None:
    _ac(incident, rng)
    at_s = incident.event_s + rng.uniform(-90, 90)
    incident.clock_step = (at_s, rng.choice((-7200.0, -3600.0, -45.0, 45.0, 3600.0, 86_400.0)))


def _lie(incident: Incident, rng: random.Random) -> Traits:
    liar = next(unit for unit in incident.units if unit.name == incident.hit[0])
    liar.lie = rng.choice(("both", "pse", "local", "inverted"))
    liar.channel = rng.choice(("both", "own", "heard"))
    return liar


def _ac_lie(incident: Incident, rng: random.Random) -> None:
    _ac(incident, rng)
    _lie(incident, rng)


def _only_lie(incident: Incident, rng: random.Random) -> None:
    _one(incident, rng)
    _lie(incident, rng)


def _breaker(incident: Incident, rng: random.Random) -> None:
    circuit = rng.choice(("shore", "sea"))
    for unit in incident.units:
        if unit.circuit == circuit:
            incident.hit.append(unit.name)
            incident.troubles[unit.name].no_ac.append((incident.event_s + rng.random(), FOREVER_S))


def _breaker_lie(incident: Incident, rng: random.Random) -> None:
    _breaker(incident, rng)
    _lie(incident, rng)


def _breaker_odd(incident: Incident, rng: random.Random) -> None:
    _breaker(incident, rng)
    odd = incident.hit.pop(rng.randrange(len(incident.hit)))
    incident.troubles[odd].no_ac.clear()  # wired to another breaker than the plan says


def _back(incident: Incident, rng: random.Random) -> None:
    bad = _one(incident, rng)
    bad.no_ac.append((incident.event_s, incident.event_s + rng.uniform(150, 210)))


def _frozen(incident: Incident, rng: random.Random) -> None:
    _ac(incident, rng)
    next(unit for unit in incident.units if unit.name == incident.hit[0]).frozen_port = True


_MAKERS: dict[str, Callable[[Incident, random.Random], None]] = dict(
    zip(
        KINDS,
        (
            _ac,
            _feed,
            _both,
            _hung,
            _link,
            _feeder,
            _credentials,
            _loss,
            _clock,
            _ac_lie,
            _only_lie,
            _breaker,
            _breaker_lie,
            _breaker_odd,
            _back,
            _frozen,
        ),
        strict=True,
    )
)
