"""A site small enough to audit by hand: cables of no length, so that watts at the port are watts at the device."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

from tests.history.samples import observation

from portdraw.history.site_day import day_start_s
from portdraw.history.store import History
from portdraw.observation.unit_observation import UnitObservation
from portdraw.plan.loader import parse_site
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.reporting.audit.audit import Audit, build_audit

ZONE = ZoneInfo("Atlantic/Faroe")
DAY = date(2026, 3, 2)
START_S = day_start_s(DAY, ZONE)
HOUR_S = 3600.0
DAY_S = 24 * HOUR_S
STEP_S = 300.0

NO_CABLE = "cable: {type: cat6a, length_m: 0, conductor: copper, ambient_c: 20, rise_k: 0, connectors_ohm: 0}"
TEXT = f"""
format: 1
site: {{name: Small pier, timezone: Atlantic/Faroe, night: {{from: "20:00", to: "06:30"}}}}
policy: {{margin_percent: 20, margin_after_failure_percent: 5}}
incomers: {{town: {{rating_a: 63}}}}
panels: {{P1: {{fed_from: town}}}}
circuits:
  hall-1: {{panel: P1, breaker: "1", rating_a: 16}}
  pier-7: {{panel: P1, breaker: "7", rating_a: 16}}
device_types:
  camera: {{class: 3, typical_w: 6.8, night_w: 10.4, frost_night_w: 12.5}}
  sign: {{class: 3, typical_w: 4.0}}
units:
  core:
    address: 127.0.0.1
    access: lab
    own_use_w: 38
    supplies: [{{from: hall-1, efficiency: 0.9}}]
    pse: {{budget_w: 100, voltage_v: 54, ports: 8, class_max: 8, admission: drawn}}
    ports:
      1: {{feeds: pier, class: 4, label: A-01, {NO_CABLE}}}
  pier:
    place: mast 3
    address: 127.0.0.1
    access: lab
    own_use_w: 6.5
    supplies: [{{from: pier-7, efficiency: 0.88}}]
    pse: {{budget_w: 30, voltage_v: 54, output_efficiency: 0.97, ports: 8, class_max: 4, admission: drawn}}
    fed: {{prefers: ac, spare_feed: held, standby_w: 1.3, efficiency: 0.92, output: boosted, guard_percent: 0}}
    ports:
      1: {{device: pier-cam, type: camera, label: B-01, {NO_CABLE}}}
      2: {{device: pier-sign, type: sign, label: B-02, {NO_CABLE}}}
"""


def small_site() -> Site:
    """Return the site."""
    return parse_site(TEXT)


def one_day(history: History, day_start: float = START_S) -> None:
    """Record a day: the camera at 7.0 W until noon and 13.6 W after it, the sign at 4.0 W, a visitor from 22:00.

    The core's port 1 gives the standby of 1.3 W, but from 10:00 to 11:00 it carries the pier with 18.5 W.
    """
    for step in range(int(DAY_S / STEP_S)):
        time_s = day_start + step * STEP_S
        hour = (time_s - day_start) / HOUR_S
        draws: dict[str, float | None] = {"1": 7.0 if hour < 12 else 13.6, "2": 4.0}
        if hour >= 22:
            draws["5"] = 6.0
        feed_w = 18.5 if 10 <= hour < 11 else 1.3
        cycle: list[UnitObservation] = [
            observation("core", time_s, {"1": feed_w}),
            observation("pier", time_s, draws),
        ]
        history.record_cycle(cycle, STEP_S)


def audit_of(
    history: History, first_s: float = START_S, last_s: float = START_S + DAY_S, emulated: bool = False
) -> Audit:
    """Return the audit of the day, made at its end."""
    site = small_site()
    return build_audit(site, Tree(site), history, first_s, last_s, last_s, emulated)


def day_audit(folder: Path, emulated: bool = False) -> Audit:
    """Return the audit of `one_day`."""
    history = History.open(folder, "Atlantic/Faroe", emulated=emulated)
    one_day(history)
    lost = {"kind": "local-ac-lost", "sentence": "pier lost local AC.", "began_s": START_S + 10 * HOUR_S}
    history.add_event(START_S + 10 * HOUR_S + 60, "alarm-raised", "pier", None, "pier lost local AC.", lost)
    back = {**lost, "ended_s": START_S + 11 * HOUR_S}
    history.add_event(START_S + 11 * HOUR_S + 60, "alarm-returned", "pier", None, "pier lost local AC.", back)
    audit = audit_of(history, emulated=emulated)
    history.close()
    return audit
