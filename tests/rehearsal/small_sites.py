"""Sites of two or three units, short enough to work out by hand. Without a cable a port has no loss at all."""

from __future__ import annotations

from typing import Any

from portdraw.plan.site import Site

# A cable of exactly 10 ohm on two pairs and 5 ohm on four: all of it in `series_ohm`.
TEN_OHM: dict[str, Any] = {"length_m": 0, "connectors_ohm": 0, "series_ohm": 10, "conductor": "copper"}
FED: dict[str, Any] = {
    "prefers": "ac",
    "spare_feed": "held",
    "standby_w": 1.3,
    "efficiency": 0.9,
    "output": "boosted",
    "on_transfer": "sheds-in-time",
}


def site_of(units: dict[str, Any], **parts: Any) -> Site:
    """Return a site with circuits a, b and c on panels p, q and r, each with a panel of its own."""
    return Site.model_validate(
        {
            "format": 1,
            "site": {"name": "small"},
            "incomers": {"town": {"rating_a": 63}},
            "panels": {name: {"fed_from": "town"} for name in "pqr"},
            "circuits": {
                name: {"panel": panel, "breaker": name, "rating_a": 16}
                for name, panel in zip("abc", "pqr", strict=True)
            },
            "units": units,
            **parts,
        }
    )


def device(name: str, watts: float, device_class: int | list[int] = 3, **more: Any) -> dict[str, Any]:
    """Return a port with a device of the same watts at all times."""
    return {"device": name, "class": device_class, "typical_w": watts, **more}


def unit(ports: dict[str, Any], *sources: str, own_use_w: float = 5.0, **more: Any) -> dict[str, Any]:
    """Return a unit on these sources, of 100 W, class 8, booking by what is drawn."""
    pse: dict[str, Any] = {"budget_w": 100, "voltage_v": 54, "ports": 12, "class_max": 8, "admission": "drawn"}
    return {
        "own_use_w": own_use_w,
        "supplies": [{"from": source, "efficiency": 0.8} for source in sources],
        "ports": ports,
        **more,
        "pse": {**pse, **more.get("pse", {})},
    }


def two(
    ports: dict[str, Any], *, feed: dict[str, Any] | None = None, head: dict[str, Any] | None = None, **fed: Any
) -> Site:
    """Return `head` on circuit a, whose port 1 feeds `leaf`, on circuit b; `fed` is how `leaf` takes its feed."""
    lead = unit({"1": {"feeds": "leaf", "class": 4, **(feed or {})}}, "a", **(head or {}))
    return site_of({"head": lead, "leaf": unit(ports, "b", fed={**FED, **fed})})
