"""A device of the emulated site: how many watts it draws at its PD input, by hour, cold and age of its power-up."""

from __future__ import annotations

from dataclasses import dataclass

from portdraw.plan.load_case import Case
from portdraw.plan.site import DeviceType, Port, Site
from portdraw.rehearsal import class_power
from portdraw.rehearsal.class_power import Signature

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
    """A device: class and watts at the PD input, and the least volts that it runs from where it says so."""

    name: str
    signature: Signature
    day_w: float
    night_w: float
    frost_w: float
    startup_w: float
    startup_s: float
    max_w: float
    min_v: float | None = None

    def watts(self, night: bool, heaters: float, powered_for_s: float) -> float:
        """Return the watts drawn; `heaters` is the share of the frost watts, 0 to 1."""
        steady_w = self.night_w + heaters * (self.frost_w - self.night_w) if night else self.day_w
        return max(steady_w, self.startup_w) if powered_for_s < self.startup_s else steady_w

    def in_case(self, case: Case) -> float:
        """Return the watts drawn in a load case of the plan."""
        if case is Case.STARTUP:
            return self.startup_w if self.startup_s > 0 else max(self.day_w, self.night_w, self.frost_w)
        return {Case.NIGHT: self.night_w, Case.FROST_NIGHT: self.frost_w, Case.MAXIMUM: self.max_w}.get(
            case, self.day_w
        )


def visitor(name: str, device_class: int, watts: float) -> Load:
    """Return a device that nobody planned: the same watts by day and night."""
    return Load(name, device_class, watts, watts, watts, watts, 0.0, watts)


def load_on(site: Site, port: Port) -> Load | None:
    """Return the planned device of a port; a case that is not declared is the next lower declared one."""
    if port.device is None:
        return None
    kind = site.device_types.get(port.type) if port.type is not None else None
    own_class = port.device_class if port.device_class is not None else None if kind is None else kind.device_class
    signature: Signature = 0 if own_class is None else own_class  # as a PSE takes it (IEEE 802.3 clause 33)
    day_w = _figure(port, kind, "typical_w")
    if day_w is None:
        declared = (_figure(port, kind, case) for case in ("night_w", "frost_night_w", "max_w"))
        day_w = next((watts for watts in declared if watts is not None), class_power.at_pd_w(signature))
    night_w = _figure(port, kind, "night_w")
    night_w = day_w if night_w is None else night_w
    frost_w = _figure(port, kind, "frost_night_w")
    frost_w = night_w if frost_w is None else frost_w
    startup_w = _figure(port, kind, "startup_w")
    startup_s = _figure(port, kind, "startup_s")
    max_w = _figure(port, kind, "max_w")
    return Load(
        name=port.device,
        signature=signature,
        day_w=day_w,
        night_w=night_w,
        frost_w=frost_w,
        startup_w=0.0 if startup_w is None else startup_w,
        startup_s=(STARTUP_S if startup_s is None else startup_s) if startup_w is not None else 0.0,
        max_w=class_power.at_pd_w(signature) if max_w is None else max_w,
        min_v=_figure(port, kind, "min_v"),
    )


def _figure(port: Port, kind: DeviceType | None, field: str) -> float | None:
    own: float | None = getattr(port, field)
    if own is not None or kind is None:
        return own
    of_type: float | None = getattr(kind, field)
    return of_type
