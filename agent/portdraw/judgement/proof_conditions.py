"""With what a leg was proven: port, class, cable, supply, firmware, serial number. A change of any ends the proof."""

from __future__ import annotations

from functools import lru_cache

from portdraw.judgement.assessment import Leg
from portdraw.judgement.leg_signs import Readings
from portdraw.judgement.legs import LOCAL_AC
from portdraw.observation.record import Quantity
from portdraw.plan.load_case import signature_class
from portdraw.plan.site import Site
from portdraw.plan.site_itself import SiteItself


def proof_conditions(readings: Readings, unit: str, leg: Leg) -> dict[str, str]:
    """Return by name what a leg of a unit is carried with now; "" where that is not told."""
    firmware = _firmware(readings, unit)
    if leg.name == LOCAL_AC:
        return {
            "supply": _supply(SiteItself(readings.site), unit),
            "firmware": firmware,
            "serial number": _serial(readings, unit),
        }
    feeder, _, key = leg.source.partition(" port ")
    planned = _feed_plan(SiteItself(readings.site), unit, feeder, key)
    return {
        "feeder port": leg.source,
        **planned,
        "firmware": firmware,
        "feeder's firmware": _firmware(readings, feeder),
        "serial number": _serial(readings, unit),
        "feeder's serial number": _serial(readings, feeder),
    }


def _firmware(readings: Readings, unit: str) -> str:
    answer = readings.memory.heard.get(unit)
    return "" if answer is None else answer.text(None, Quantity.SYSTEM_DESCRIPTION) or ""


def _serial(readings: Readings, unit: str) -> str:
    answer = readings.memory.heard.get(unit)
    return "" if answer is None else answer.text(None, Quantity.UNIT_SERIAL) or ""


@lru_cache(maxsize=4096)  # the plan is the same for as long as the site file is
def _supply(of: SiteItself, unit: str) -> str:
    spec = of.site.units[unit]
    return f"{spec.supply_mode}: " + ", ".join(supply.model_dump_json() for supply in spec.supplies)


@lru_cache(maxsize=4096)
def _feed_plan(of: SiteItself, unit: str, feeder: str, key: str) -> dict[str, str]:
    site: Site = of.site
    port = site.units[feeder].ports[key]
    fed = site.units[unit].fed
    return {
        "class": str(signature_class(site, port)),
        "cable": "" if port.cable is None else port.cable.model_dump_json(),
        "supply": f"{_supply(of, feeder)}; {'' if fed is None else fed.model_dump_json()}",
    }
