"""Seeded sites of 5 to 20 units as somebody might build them: all is well in normal running, and failures are not.

Every rule, both legs, cascades of up to four tiers. Budgets are drawn up by rough sums, so that everything planned is
on while nothing has failed; what is tight are feeds, and feeders once all of them carry. Everything is declared, and
no declaration contradicts another. A generator starts only when every unit has booted, so that nothing is under way
at both times.
"""

from __future__ import annotations

import random
from typing import Any

from portdraw.plan.site import Site

_KINDS: dict[str, dict[str, Any]] = {
    "camera": {"class": 3, "typical_w": 6.8, "night_w": 9.4, "frost_night_w": 11.5, "startup_w": 10, "startup_s": 45},
    "dome": {"class": 5, "typical_w": 15, "night_w": 20, "frost_night_w": 30, "startup_w": 24, "startup_s": 60},
    "point": {"class": 4, "typical_w": 12, "night_w": 12, "frost_night_w": 13, "startup_w": 15, "startup_s": 90},
    "phone": {"class": 2, "typical_w": 3.2, "startup_w": 5.0, "startup_s": 30},
    "sensor": {"class": 1, "typical_w": 2.0, "frost_night_w": 2.6, "startup_w": 2.4, "startup_s": 10},
    "pair": {"class": [2, 2], "typical_w": 8.0, "frost_night_w": 9.5},
}
_FROST_W = {"camera": 11.5, "dome": 30.0, "point": 13.0, "phone": 3.2, "sensor": 2.6, "pair": 9.5}
_CLASS_PSE_W = {1: 4.0, 2: 7.0, 3: 15.4, 4: 30.0, 5: 45.0, 6: 60.0, 8: 90.0}  # IEEE 802.3 clauses 33 and 145
_CLASS_PD_W = {4: 25.5, 5: 40.0, 6: 51.0, 8: 71.3}
_PAIR_PSE_W = 14.0  # two pairsets of class 2, 6.7 W each, and a little
RULES = (
    "priority-then-highest-port",
    "priority-then-highest-port",
    "highest-port",
    "newest-first",
    "lowest-priority-bank",
    "refuse-newcomers",
    "all-off",
)
_LOSS = 1.12  # what a cable adds at most, roughly


def seeded_site(seed: int, *, delays: bool = False) -> Site:
    """Return the site of a seed; the same seed gives the same site. `delays`: some ports start later than others."""
    return Site.model_validate(_Builder(random.Random(seed), seed, delays).site())


class _Builder:
    def __init__(self, rng: random.Random, seed: int, delays: bool):
        self._rng = rng
        self._seed = seed
        self._delays = delays
        self._circuits = [f"c{number}" for number in range(rng.randint(2, 5))]
        self._above: dict[str, list[str]] = {}
        self._frames: dict[str, dict[str, Any]] = {}
        self._need_w: dict[str, float] = {}  # at the feeder's port while the feed carries, in frost

    def site(self) -> dict[str, Any]:
        rng = self._rng
        names = [f"u{number}" for number in range(rng.randint(5, 20))]
        tiers = {names[0]: 1}
        for name in names[1:]:
            feeders = [above for above, tier in tiers.items() if tier < 4]
            roots = rng.random() < 0.6  # most hang on the core
            above = names[0] if roots else rng.choice(feeders)
            self._above[name] = [above]
            second = [other for other in feeders if other != above]
            if second and rng.random() < 0.1:
                self._above[name].append(rng.choice(second))
            tiers[name] = 1 + max(tiers[above] for above in self._above[name])
            if tiers[name] > 4:
                self._above[name], tiers[name] = [names[0]], 2
        for name in reversed(names):  # a unit is built after all that it feeds
            self._frames[name] = self._unit(name, core=name == names[0])
        panels = ["p0", "p1", "p2"][: rng.randint(1, 3)]
        incomers = ["town", "harbour"][: rng.randint(1, 2)]
        backed = [panels[-1]] if rng.random() < 0.3 else []
        return {
            "format": 1,
            "site": {"name": f"seed {self._seed}", "night": {"from": "20:00", "to": "06:00"}},
            "incomers": {name: {"rating_a": 63} for name in incomers},
            "panels": {name: {"fed_from": rng.choice(incomers)} for name in panels},
            "generators": {"diesel": {"rating_w": 5000, "feeds": backed, "start_s": 300}} if backed else {},
            "circuits": {
                name: {"panel": rng.choice(panels), "breaker": name, "rating_a": 16} for name in self._circuits
            },
            "ups": {"ups": {"input": self._circuits[0], "rating_w": 1500, "battery_wh": 4000, "health_percent": 80}},
            "device_types": _KINDS,
            "units": {name: self._frames[name] for name in names},
        }

    def _unit(self, name: str, *, core: bool) -> dict[str, Any]:
        rng = self._rng
        extender = not core and rng.random() < 0.05 and not self._below(name)
        follows = not core and (extender or (rng.random() < 0.2 and not self._below(name)))
        one_leg = extender or (not core and rng.random() < 0.15 and not self._below(name))
        ports, drawn_w, class_w = self._devices(name, small=follows or one_leg, most=1 if extender else 6)
        # what the ports ask while every feed below stands by, and while every feed below carries
        normal_w = drawn_w + sum(1.4 if self._has_ac(below) else self._need_w[below] for below in self._below(name))
        carrying_w = drawn_w + sum(self._need_w[below] for below in self._below(name))
        self._feed_ports(name, ports)
        own_use_w = 2.0 if extender else rng.choice([4.0, 6.5, 8.0])
        admission = "drawn" if one_leg else rng.choice(["drawn", "drawn", "drawn", "class", "granted"])
        booked_w = class_w + sum(_CLASS_PSE_W[port["class"]] for port in ports.values() if "feeds" in port)
        if admission == "drawn":
            tight = rng.uniform(0.65, 1.15) if core or self._below(name) else 1.15
            budget_w = max(normal_w * 1.08 + 3, carrying_w * tight)
        else:
            budget_w = booked_w * rng.uniform(1.0, 1.2) + 1
        frame: dict[str, Any] = {
            "own_use_w": own_use_w,
            "boot_s": rng.choice([30, 60, 90]),
            "supplies": [],
            "ports": ports,
        }
        if extender:
            frame["extender"] = True
        frame["pse"] = {
            "budget_w": round(budget_w) + 1,
            "voltage_v": 54,
            "output_efficiency": 0.97,
            "ports": max(map(int, ports), default=1),
            "class_max": 8,
            "admission": admission,
            "admission_order": rng.choice(["port", "priority"]),
            "shed": rng.choice(RULES),
            "port_limit_w": 99.9 if self._below(name) else rng.choice([45, 99.9]),
        }
        if not one_leg:
            self._supplies(frame, budget_w, core=core)
        if not core:
            frame["fed"] = self._fed(frame, follows=follows)
            eta = frame["fed"]["efficiency"]
            self._need_w[name] = (own_use_w + carrying_w / eta) * _LOSS
        return frame

    def _devices(self, name: str, *, small: bool, most: int) -> tuple[dict[str, Any], float, float]:
        rng = self._rng
        kinds = ["camera", "phone", "sensor"] if small else sorted(_KINDS)
        ports: dict[str, Any] = {}
        drawn_w = class_w = 0.0
        for at in range(1, rng.randint(1, 3 if small else most) + 1):
            kind = rng.choice(kinds)
            ports[str(at)] = {
                "device": f"{name}-d{at}",
                "type": kind,
                "priority": rng.choice(["critical", "high", "high", "low", "low"]),
                "cable": _cable(rng.randint(5, 40 if small else 90)),
            }
            if self._delays and rng.random() < 0.1:
                ports[str(at)]["start_delay_s"] = rng.choice([5, 20])
            drawn_w += _FROST_W[kind] * 1.05
            own_class = _KINDS[kind]["class"]
            class_w += _CLASS_PSE_W[own_class] if isinstance(own_class, int) else _PAIR_PSE_W
        return ports, drawn_w, class_w

    def _feed_ports(self, name: str, ports: dict[str, Any]) -> None:
        rng = self._rng
        for place, below in enumerate(self._below(name)):
            inputs = self._above[below]
            what = below if len(inputs) == 1 else f"{below}/in-{inputs.index(name) + 1}"
            wanted_w = self._need_w[below] / _LOSS * (1.0 if not self._has_ac(below) else rng.uniform(0.6, 1.1))
            fits = [one for one, watts in _CLASS_PD_W.items() if watts >= wanted_w]
            key = str(place + 7 if rng.random() < 0.5 else place + 13)
            while key in ports:
                key = str(int(key) + 1)
            ports[key] = {
                "feeds": what,
                "class": fits[0] if fits else 8,
                "priority": rng.choice(["critical", "critical", "critical", "high", "low"]),
                "cable": _cable(rng.randint(5, 80)),
            }

    def _supplies(self, frame: dict[str, Any], budget_w: float, *, core: bool) -> None:
        rng = self._rng
        count = rng.choice([1, 2, 2, 3]) if core else rng.choice([1, 1, 1, 1, 2])
        if core:
            sources = [rng.choice(["ups", "ups", *self._circuits]) for _ in range(count)]
        else:
            sources = [rng.choice(self._circuits) for _ in range(count)]
        mode = "single" if count == 1 else rng.choice(["combined", "n+1", "n+n", "single"])
        kept = {"single": 1, "combined": count, "n+1": count - 1, "n+n": count / 2}[mode]
        frame["supplies"] = [
            {"from": source, "efficiency": 0.88, "pse_share_w": round(budget_w / kept + 1)} for source in sources
        ]
        frame["supply_mode"] = mode
        if rng.random() < 0.1:
            frame["place_max_c"] = 45
            frame["derate"] = [{"above_c": 40, "budget_w": round(budget_w)}, {"above_c": 55, "budget_w": 10}]

    def _fed(self, frame: dict[str, Any], *, follows: bool) -> dict[str, Any]:
        rng = self._rng
        spare = rng.choice(["held", "held", "hidden"]) if frame["supplies"] else "held"
        fed: dict[str, Any] = {
            "prefers": "ac",
            "spare_feed": spare,
            "standby_w": 1.3,
            "efficiency": 0.97 if follows else 0.92,
            "output": "follows-input" if follows else "boosted",
            "on_transfer": rng.choice(["sheds-in-time", "sheds-in-time", "sheds-in-time", "drops-all"]),
            "guard_percent": rng.choice([0, 0, 0, 5]),
        }
        if frame["supplies"] and rng.random() < 0.1:
            fed["budget_w"] = 30
        return fed

    def _below(self, name: str) -> list[str]:
        return sorted(below for below, above in self._above.items() if name in above)

    def _has_ac(self, name: str) -> bool:
        return bool(self._frames[name]["supplies"])


def _cable(length_m: int) -> dict[str, Any]:
    return {"type": "cat6a", "length_m": length_m, "conductor": "copper", "ambient_c": 35, "rise_k": 10}
