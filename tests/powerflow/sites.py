"""Sites for the tests: the ferry terminal as it ships, and small ones with every figure declared."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import portdraw.rehearsal
from portdraw.plan.loader import load_site
from portdraw.plan.site import Site

LOST_LOCAL_AC = frozenset({"pier-7", "quay-3", "gate-5", "hall-2"})


def ferry_terminal() -> Site:
    """The ferry terminal's site file, as the package ships it."""
    return load_site(Path(portdraw.rehearsal.__path__[0]) / "site.yaml")


def cable(length_m: float) -> dict[str, Any]:
    """A copper run with its conductors at 45 C."""
    return {"type": "cat6a", "length_m": length_m, "conductor": "copper", "ambient_c": 35, "rise_k": 10}


def device(
    name: str, length_m: float = 30, kind: str = "camera", device_class: int | list[int] | None = None, **more: Any
) -> dict[str, Any]:
    """A port with a device on it, of its type's class or its own."""
    own = {} if device_class is None else {"class": device_class}
    return {"device": name, "type": kind, "cable": cable(length_m), **own, **more}


def feed(unit: str, length_m: float = 50, device_class: int = 8, **more: Any) -> dict[str, Any]:
    """A port that feeds a unit."""
    return {"feeds": unit, "class": device_class, "cable": cable(length_m), **more}


def unit(circuit: str | None, ports: dict[str, Any], **more: Any) -> dict[str, Any]:
    """A switch that takes AC from a circuit (or none) and a feed, prefers AC, boosted, all declared."""
    whole: dict[str, Any] = {
        "own_use_w": 6.0,
        "supplies": [] if circuit is None else [{"from": circuit, "efficiency": 0.88}],
        "pse": {"budget_w": 90, "voltage_v": 54, "output_efficiency": 0.97, "ports": 8, "class_max": 8},
        "fed": {
            "prefers": "ac",
            "spare_feed": "held",
            "standby_w": 1.3,
            "efficiency": 0.92,
            "output": "boosted",
            "on_transfer": "sheds-in-time",
        },
        "ports": ports,
    }
    return {**whole, **more}


def site(units: dict[str, Any], **more: Any) -> Site:
    """A site with circuits main (panel P1) and side (panel P2), and cameras of 10 W, class 3."""
    circuit = {"breaker": "1", "rating_a": 16, "volts": 230}
    whole: dict[str, Any] = {
        "format": 1,
        "site": {"name": "test yard"},
        "incomers": {"town": {"rating_a": 63}},
        "panels": {"P1": {"fed_from": "town"}, "P2": {"fed_from": "town"}},
        "circuits": {"main": {"panel": "P1", **circuit}, "side": {"panel": "P2", **circuit}},
        "device_types": {
            "camera": {"class": 3, "typical_w": 10.0, "night_w": 11.0, "frost_night_w": 12.0},
            "light": {"class": 4, "typical_w": 25.5, "night_w": 25.5, "frost_night_w": 25.5},
        },
        "units": units,
    }
    return Site.model_validate({**whole, **more})
