"""A device of the emulated site: how many watts it draws at its PD input, by hour, cold and age of its power-up."""

from __future__ import annotations

from dataclasses import dataclass

from portdraw.plan.site import DeviceType, Port, Site
from portdraw.rehearsal import class_power

STARTUP_S = 45.0  # taken where a device declares start-up watts and no time; common practice 30 to 120 s
NOISE_HOLD_S = 60.0  # the noise of a device changes this often
DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Creep:
    """Extra watts at the PD input that grow from a day on: a heater or a bearing that wears."""

    began_s: float
    w_per_day: float

    def watts(self, time_s: float) -> float:
        """Return the extra watts at a time."""
        return max(0.0, time_s - self.began_s) / DAY_S * self.w_per_day


@dataclass(frozen=True, slots=True)
class Load:
    """A device: class and watts at the PD input."""

    name: str
    device_class: int
    day_w: float
    night_w: float
    frost_w: float
    startup_w: float
    startup_s: float

    def watts(self, night: bool, heaters: float, powered_for_s: float) -> float:
        """Return the watts drawn; `heaters` is the share of the frost watts, 0 to 1."""
        steady_w = self.night_w + heaters * (self.frost_w - self.night_w) if night else self.day_w
        return max(steady_w, self.startup_w) if powered_for_s < self.startup_s else steady_w


def visitor(name: str, device_class: int, watts: float) -> Load:
    """Return a device that nobody planned: the same watts by day and night."""
    return Load(name, device_class, watts, watts, watts, watts, 0.0)


def load_on(site: Site, port: Port) -> Load | None:
    """Return the planned device of a port; a case that is not declared is the next lower declared one."""
    if port.device is None:
        return None
    kind = site.device_types.get(port.type) if port.type is not None else None
    own_class = port.device_class if port.device_class is not None else None if kind is None else kind.device_class
    device_class = class_power.single(own_class)
    day_w = _figure(port, kind, "typical_w")
    if day_w is None:
        declared = (_figure(port, kind, case) for case in ("night_w", "frost_night_w", "max_w"))
        day_w = next((watts for watts in declared if watts is not None), class_power.PD_W[device_class])
    night_w = _figure(port, kind, "night_w")
    night_w = day_w if night_w is None else night_w
    frost_w = _figure(port, kind, "frost_night_w")
    frost_w = night_w if frost_w is None else frost_w
    startup_w = _figure(port, kind, "startup_w")
    startup_s = _figure(port, kind, "startup_s")
    return Load(
        name=port.device,
        device_class=device_class,
        day_w=day_w,
        night_w=night_w,
        frost_w=frost_w,
        startup_w=0.0 if startup_w is None else startup_w,
        startup_s=(STARTUP_S if startup_s is None else startup_s) if startup_w is not None else 0.0,
    )


def _figure(port: Port, kind: DeviceType | None, field: str) -> float | None:
    own: float | None = getattr(port, field)
    if own is not None or kind is None:
        return own
    of_type: float | None = getattr(kind, field)
    return of_type
