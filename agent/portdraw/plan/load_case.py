"""How many watts a device is planned to take, in each load case, and which case the clock says it is.

All watts here are at the PD input. What a device does not declare is taken from what it does, always said.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, tzinfo
from enum import StrEnum
from zoneinfo import ZoneInfo

from portdraw.electrical.class_table import SINGLE_CLASSES
from portdraw.plan.class_grant import class_watts_at_pd
from portdraw.plan.site import Port, Site


class Case(StrEnum):
    """A load case of the plan."""

    TYPICAL = "typical"
    NIGHT = "night"
    FROST_NIGHT = "frost night"
    STARTUP = "start-up"
    MAXIMUM = "maximum"


@dataclass(frozen=True)
class DeviceWatts:
    """Watts at the PD input; `assumed` says what they rest on where the case is not declared."""

    watts: float
    assumed: str | None = None


# Where to look for a case that is not declared, nearest first.
_INSTEAD: dict[str, tuple[str, ...]] = {
    "typical_w": ("night_w", "frost_night_w", "max_w"),
    "night_w": ("typical_w", "frost_night_w", "max_w"),
    "frost_night_w": ("night_w", "typical_w", "max_w"),
}
_FIELD = {Case.TYPICAL: "typical_w", Case.NIGHT: "night_w", Case.FROST_NIGHT: "frost_night_w"}


def device_w(site: Site, port: Port, case: Case) -> DeviceWatts | None:
    """Return the planned watts [W at the PD input] of the device on a port, None where no device is planned.

    A steady case that is not declared is the next lower declared one (frost night, night, typical), else the
    next higher; a maximum that is not declared is the class. Start-up that is not declared is the largest
    steady case. A port that is planned off takes nothing. None also where neither watts nor a class are known.
    """
    if port.device is None:
        return None
    if port.off:
        return DeviceWatts(0.0)
    if case is Case.MAXIMUM:
        declared = declared_w(site, port, "max_w")
        if declared is not None:
            return DeviceWatts(declared)
        ceiling = class_pd_w(site, port)
        if ceiling is not None:
            return DeviceWatts(ceiling, "max_w is not declared: the class is taken")
        steady = _largest_declared(site, port)
        return (
            None
            if steady is None
            else DeviceWatts(steady, "neither max_w nor a class is declared: steady watts taken")
        )
    if case is Case.STARTUP:
        declared = declared_w(site, port, "startup_w")
        if declared is not None:
            return DeviceWatts(declared)
        steady = _largest_declared(site, port)
        if steady is not None:
            return DeviceWatts(steady, "startup_w is not declared: the largest steady watts are taken")
        return device_w(site, port, Case.MAXIMUM)
    field = _FIELD[case]
    declared = declared_w(site, port, field)
    if declared is not None:
        return DeviceWatts(declared)
    for instead in _INSTEAD[field]:
        other = declared_w(site, port, instead)
        if other is not None:
            return DeviceWatts(other, f"{field} is not declared: {instead} is taken")
    ceiling = class_pd_w(site, port)
    return None if ceiling is None else DeviceWatts(ceiling, f"{field} is not declared: the class is taken")


def largest_steady_w(site: Site, port: Port) -> float:
    """Return the largest declared steady watts [W at the PD input] of a port's device.

    Without any declared steady case it is the maximum, and without a class the most that a PD may take. A
    port without a device has none planned: 0.0.
    """
    if port.device is None or port.off:
        return 0.0
    steady = _largest_declared(site, port)
    if steady is not None:
        return steady
    most = device_w(site, port, Case.MAXIMUM)
    return max(row.pd_w for row in SINGLE_CLASSES.values()) if most is None else most.watts


def declared_w(site: Site, port: Port, field: str) -> float | None:
    """Return a declared figure of a port's device: its own, else its type's, else None."""
    own: float | None = getattr(port, field)
    if own is not None:
        return own
    kind = None if port.type is None else site.device_types.get(port.type)
    of_type: float | None = None if kind is None else getattr(kind, field)
    return of_type


def signature_class(site: Site, port: Port) -> int | tuple[int, int] | None:
    """Return the class of what hangs on a port: its own, else its type's, else None; a pair is dual signature."""
    if port.device_class is not None:
        return port.device_class
    kind = None if port.type is None else site.device_types.get(port.type)
    return None if kind is None else kind.device_class


def class_pd_w(site: Site, port: Port) -> float | None:
    """Return the most that the class of what hangs on a port allows [W at the PD input], None without one."""
    found = signature_class(site, port)
    return None if found is None else class_watts_at_pd(found)


def is_night(site: Site, time_s: float) -> bool:
    """Say whether a time [s since the epoch] is within the site's night, by the site's own clock on the wall.

    The night begins at `from` and ends just before `to`. A site without a night has none.
    """
    night = site.site.night
    if night is None:
        return False
    now = datetime.fromtimestamp(time_s, _zone(site.site.timezone)).time()
    start, end = time.fromisoformat(night.start), time.fromisoformat(night.end)
    if start <= end:
        return start <= now < end
    return now >= start or now < end


def case_now(site: Site, time_s: float) -> Case:
    """Return night within the site's night, else typical. Frost is a case of studies, not of the clock."""
    return Case.NIGHT if is_night(site, time_s) else Case.TYPICAL


def _zone(name: str) -> tzinfo:
    return UTC if name == "UTC" else ZoneInfo(name)


def _largest_declared(site: Site, port: Port) -> float | None:
    found = [declared_w(site, port, field) for field in _FIELD.values()]
    known = [watts for watts in found if watts is not None]
    return max(known) if known else None
