"""Seeded cascades of feeds for outside solvers: a root on AC, up to four tiers below it, constant-power devices."""

from __future__ import annotations

import random
from dataclasses import dataclass

from tests.powerflow.sites import site

from portdraw.plan.site import Site


@dataclass(frozen=True)
class Run:
    """One run of a cascade: from a unit's port to a device of `pd_w` or to another unit. Loop in ohm."""

    unit: str
    port: str
    ohm: float
    pd_w: float | None
    below: str | None


@dataclass(frozen=True)
class Cascade:
    """A cascade and its site. `boosted` names units with regulated outputs; `own_w`, `efficiency` by unit."""

    site: Site
    runs: tuple[Run, ...]
    boosted: frozenset[str]
    own_w: dict[str, float]
    efficiency: dict[str, float]


VOLTS = 54.0


def cascade(seed: int, *, boosted_share: float = 0.5, lossless: bool = False) -> Cascade:
    """One cascade: every run in copper, four pairs for feeds and two for devices, conductors at 45 C.

    `lossless`: units convert without loss, so that the whole cascade is one network of wires and loads.
    """
    rng = random.Random(seed)
    tiers = {"u0": 0}
    for number in range(1, rng.randint(2, 6)):
        above = rng.choice([name for name, tier in tiers.items() if tier < 4])
        tiers[f"u{number}"] = tiers[above] + 1
    parents = {name: _parent(rng, name, tiers) for name in tiers if name != "u0"}
    own_w = {name: round(rng.uniform(1.5, 4.0), 2) for name in tiers}
    efficiency = {name: rng.choice([1.0] if lossless else [1.0, 0.95, 0.92]) for name in tiers}
    boosted = frozenset(name for name in tiers if name == "u0" or rng.random() < boosted_share)
    runs: list[Run] = []
    units: dict[str, dict[str, object]] = {}
    for name in tiers:
        ports: dict[str, object] = {}
        for at in range(1, rng.randint(1, 4)):
            length_m, pd_w = rng.randint(5, 90), round(rng.uniform(1.0, 8.0), 2)
            ports[str(at)] = {"device": f"{name}-d{at}", "class": 3, "typical_w": pd_w, "cable": _cable(length_m)}
            runs.append(Run(name, str(at), _ohm(length_m, 2), pd_w, None))
        for place, child in enumerate(one for one, above in parents.items() if above == name):
            length_m, key = rng.randint(5, 90), str(11 + place)
            ports[key] = {"feeds": child, "class": 8, "priority": "critical", "cable": _cable(length_m)}
            runs.append(Run(name, key, _ohm(length_m, 4), None, child))
        units[name] = {
            "own_use_w": own_w[name],
            "supplies": [{"from": "main", "efficiency": 0.9}] if name == "u0" else [],
            "pse": {"budget_w": 500, "voltage_v": VOLTS, "output_efficiency": 1.0, "ports": 24, "class_max": 8,
                    "admission": "drawn"},
            "fed": {"efficiency": efficiency[name], "output": "boosted" if name in boosted else "follows-input"},
            "ports": ports,
        }  # fmt: skip
    return Cascade(site(units), tuple(runs), boosted, own_w, efficiency)


def _parent(rng: random.Random, name: str, tiers: dict[str, int]) -> str:
    return rng.choice(sorted(other for other, tier in tiers.items() if tier == tiers[name] - 1))


def _cable(length_m: int) -> dict[str, object]:
    return {"type": "cat6a", "length_m": length_m, "conductor": "copper", "ambient_c": 35, "rise_k": 10}


def _ohm(length_m: int, pairs: int) -> float:
    """9.38 ohm per 100 m (TIA-568.2), 0.393 %/K (IEC 60028), 0.2 ohm of connectors; half of it in four pairs."""
    return (0.0938 * length_m * (1 + 0.00393 * 25) + 0.2) * 2 / pairs
