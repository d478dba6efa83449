"""Seeded sites of any size for the power flow's own tests and benchmarks: every rule, both legs, some undeclared."""

from __future__ import annotations

import random
from typing import Any

from portdraw.plan.site import Cable, DeviceType, Port, Site

_KINDS = {
    "camera": {"class": 3, "typical_w": 6.8, "night_w": 10.4, "frost_night_w": 12.5, "startup_w": 12.0},
    "dome": {"class": 5, "typical_w": 15.0, "night_w": 20.0, "frost_night_w": 30.0, "startup_w": 24.0},
    "point": {"class": 4, "typical_w": 12.0, "night_w": 12.0, "frost_night_w": 13.0, "startup_w": 15.0},
    "phone": {"class": 2, "typical_w": 3.2, "night_w": 3.2, "frost_night_w": 3.2, "startup_w": 5.0},
    "sensor": {"class": 1, "typical_w": 2.0, "night_w": 2.0, "frost_night_w": 2.6, "startup_w": 2.4},
}
_RULES = (
    "priority-then-highest-port",
    "highest-port",
    "newest-first",
    "lowest-priority-bank",
    "refuse-newcomers",
    "all-off",
)


def small_site(seed: int, least: int = 2, most: int = 10, *, plain: bool = False) -> Site:
    """Some units in up to four tiers on several circuits and a UPS. `plain`: everything declared, boosted."""
    rng = random.Random(seed)
    count = rng.randint(least, most)
    circuits = [f"c{number}" for number in range(rng.randint(1, 4))]
    panels = ["p0", "p1"]
    units: dict[str, Any] = {}
    tiers = {"u0": 1}
    for number in range(count):
        name = f"u{number}"
        units[name] = _unit(rng, name, number, circuits, plain=plain)
        if number == 0:
            continue
        feeders = [other for other, tier in tiers.items() if tier < 4]
        for place in range(2 if rng.random() < 0.15 else 1):
            above = rng.choice(feeders)
            _feed(rng, units[above], name if place == 0 else f"{name}/in-2", plain=plain)
            tiers[name] = max(tiers.get(name, 0), tiers[above] + 1)
    backed = ["p1"] if rng.random() < 0.3 else []
    return Site.model_validate(
        {
            "format": 1,
            "site": {"name": f"seed {seed}"},
            "incomers": {"town": {"rating_a": 63}},
            "panels": {name: {"fed_from": "town"} for name in panels},
            "generators": {"diesel": {"rating_w": 5000, "feeds": backed}} if backed else {},
            "circuits": {name: {"panel": rng.choice(panels), "breaker": name, "rating_a": 16} for name in circuits},
            "ups": {"ups": {"input": rng.choice(circuits), "rating_w": 900, "battery_wh": 1000}},
            "device_types": _KINDS,
            "units": units,
        }
    )


def _unit(rng: random.Random, name: str, number: int, circuits: list[str], *, plain: bool) -> dict[str, Any]:
    sources = [*circuits, "ups"]
    wanted = rng.choice([1, 1, 1, 2] if number == 0 else [0, 1, 1, 1, 2])
    supplies = [{"from": rng.choice(sources), "efficiency": 0.9} for _ in range(wanted)]
    ports = {
        str(at): _device(rng, f"{name}-d{at}", plain=plain)
        for at in range(1, rng.randint(1, 6))
        if rng.random() < 0.9
    }
    budget_w = rng.choice([45, 60, 90, 120]) if number else rng.choice([120, 240, 400])
    fed: dict[str, Any] = {
        "prefers": rng.choice(["ac", "ac", "feed"]),
        "spare_feed": rng.choice(["held", "held", "hidden"]),
        "standby_w": 1.3,
        "efficiency": 0.92,
        "output": "boosted" if plain else rng.choice(["boosted", "boosted", "follows-input"]),
        "on_transfer": rng.choice(["sheds-in-time", "drops-all"]),
    }
    if not plain and rng.random() < 0.3:
        del fed[rng.choice(sorted(fed))]
    return {
        "own_use_w": rng.choice([4.0, 6.5, 8.0]),
        "supplies": supplies,
        "supply_mode": rng.choice(["combined", "n+1", "single"]),
        "pse": {
            "budget_w": budget_w,
            "voltage_v": 54,
            "output_efficiency": 0.97,
            "ports": 24,
            "class_max": 8,
            "admission": rng.choice(["drawn", "drawn", "class", "granted"]),
            "admission_order": rng.choice(["port", "priority"]),
            "shed": rng.choice(_RULES),
            "port_limit_w": rng.choice([45, 99.9]),
        },
        "fed": fed,
        "ports": ports,
    }


def _cable(rng: random.Random, most_m: int, *, plain: bool) -> dict[str, Any]:
    found = {
        "type": "cat6a",
        "length_m": rng.randint(5, most_m),
        "conductor": "copper",
        "ambient_c": 35,
        "rise_k": 10,
    }
    if not plain and rng.random() < 0.05:
        del found["conductor"]
    return found


def _device(rng: random.Random, name: str, *, plain: bool) -> dict[str, Any]:
    return {
        "device": name,
        "type": rng.choice(sorted(_KINDS)),
        "priority": rng.choice(["critical", "high", "low"]),
        "cable": _cable(rng, 90, plain=plain),
    }


def _feed(rng: random.Random, above: dict[str, Any], what: str, *, plain: bool) -> None:
    above["ports"][str(len(above["ports"]) + 10)] = {
        "feeds": what,
        "class": rng.choice([8, 8, 6, 4]),
        "priority": rng.choice(["critical", "critical", "high", "low"]),
        "cable": _cable(rng, 90, plain=plain),
    }


def large_site(units: int, seed: int = 7, devices: int = 48) -> Site:
    """A site of `units` switches: hubs on UPS in the middle, each feeding others, on one circuit for every five.

    Every port has a device; hubs shed by priority. Cables of the same length are one object, to keep memory for
    what is measured.
    """
    rng = random.Random(seed)
    hubs = max(1, units // 25)
    circuits = max(2, units // 5)
    kinds = {name: DeviceType.model_validate(part) for name, part in _KINDS.items()}
    cables = {
        length_m: Cable(type="cat6a", length_m=length_m, conductor="copper", ambient_c=35, rise_k=10)
        for length_m in range(5, 96)
    }
    made: dict[str, Any] = {}
    frames: dict[str, dict[str, Any]] = {}
    for number in range(units):
        hub = number < hubs
        source = f"ups-{number % max(1, hubs // 2)}" if hub else f"c{number % circuits}"
        frames[f"u{number}"] = {
            "own_use_w": 30.0 if hub else 8.0,
            "supplies": [{"from": source, "efficiency": 0.9}] * (2 if hub else 1),
            "pse": {
                "budget_w": 1800 if hub else 900,
                "voltage_v": 54,
                "output_efficiency": 0.97,
                "ports": 80,
                "class_max": 8,
                "admission": "drawn",
            },
            "fed": {
                "prefers": "ac",
                "spare_feed": "held",
                "standby_w": 1.3,
                "efficiency": 0.92,
                "output": "boosted",
                "on_transfer": "sheds-in-time",
            },
        }
    ports: dict[str, dict[str, Port]] = {name: {} for name in frames}
    for number, name in enumerate(frames):
        for at in range(1, devices + 1):
            ports[name][str(at)] = Port(
                device=f"{name}-d{at}",
                type=rng.choice(sorted(kinds)),
                priority=rng.choice(["critical", "high", "low", "low"]),
                cable=cables[rng.randint(5, 95)],
            )
        if number >= hubs:
            # most hang on a hub, some one or two tiers further down
            above = f"u{rng.randrange(hubs)}" if rng.random() < 0.8 else f"u{rng.randrange(hubs, number + 1) - 1}"
            key = str(len(ports[above]) + 1)
            fed = {"feeds": name, "priority": "critical", "class": 8}
            ports[above][key] = Port.model_validate({**fed, "cable": cables[rng.randint(5, 95)]})
    for name, frame in frames.items():
        made[name] = {**frame, "ports": ports[name]}
    return Site.model_validate(
        {
            "format": 1,
            "site": {"name": "large"},
            "incomers": {"town": {"rating_a": 1000}},
            "panels": {f"p{at}": {"fed_from": "town"} for at in range(max(1, circuits // 20))},
            "circuits": {
                f"c{at}": {"panel": f"p{at % max(1, circuits // 20)}", "breaker": str(at), "rating_a": 16}
                for at in range(circuits)
            },
            "ups": {
                f"ups-{at}": {"input": f"c{at % circuits}", "rating_w": 20000, "battery_wh": 20000}
                for at in range(max(1, hubs // 2))
            },
            "device_types": kinds,
            "units": made,
        }
    )
