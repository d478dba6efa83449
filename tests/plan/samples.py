"""A small site that is whole and finds no fault with itself; tests change one thing in it."""

from __future__ import annotations

from typing import Any

from portdraw.plan.site import Site

SMALL = """\
format: 1
site: {name: Skarholm slipway, timezone: Atlantic/Faroe, night: {from: "20:00", to: "06:30"}}
incomers: {town-supply: {rating_a: 63}}
panels: {P1: {fed_from: town-supply}}
circuits:
  slip-1: {panel: P1, breaker: "1", rating_a: 16}
  slip-2: {panel: P1, breaker: "2", rating_a: 16}
device_types:
  camera: {class: 3, typical_w: 6, night_w: 9}
units:
  winch-house:
    supplies: [{from: slip-1}]
    pse: {budget_w: 120, voltage_v: 54, ports: 8, class_max: 8}
    ports:
      1: {feeds: slip, class: 4, priority: critical, cable: {length_m: 60, conductor: copper}}
      2: {device: winch-cam, type: camera, cable: {length_m: 20, conductor: copper}}
  slip:
    supplies: [{from: slip-2}]
    pse: {budget_w: 30, voltage_v: 54, ports: 4, class_max: 4}
    fed: {prefers: ac, spare_feed: held, standby_w: 1.0, output: boosted}
    ports:
      1: {device: slip-cam, type: camera, cable: {length_m: 30, conductor: copper}}
"""


def changed(old: str, new: str) -> str:
    """Return the small site's text with one thing changed, which must be there exactly once."""
    assert SMALL.count(old) == 1, f"{old!r} is {SMALL.count(old)} times in the small site"
    return SMALL.replace(old, new)


def where(text: str, part: str, offset: int = 0) -> str:
    """Return "line:column" of the only place of a part in a text, `offset` characters further on."""
    assert text.count(part) == 1, f"{part!r} is {text.count(part)} times in the text"
    at = text.index(part) + offset
    return f"{text.count(chr(10), 0, at) + 1}:{at - text.rfind(chr(10), 0, at)}"


def drawn(units: dict[str, Any], **more: Any) -> Site:
    """Build a site from its parts, typed but without the checks of names: as partial as a test needs."""
    whole: dict[str, Any] = {
        "format": 1,
        "site": {"name": "Skarholm slipway"},
        "incomers": {"town-supply": {"rating_a": 63}},
        "panels": {"P1": {"fed_from": "town-supply"}},
        "circuits": {name: {"panel": "P1", "breaker": "1", "rating_a": 16} for name in ("slip-1", "slip-2")},
        "units": units,
    }
    return Site.model_validate(whole | more)
