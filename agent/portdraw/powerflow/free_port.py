"""Free ports of a site, and the site with a device on each of them, so that one network serves for all."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from portdraw.plan.class_grant import SignatureClasses, class_watts_at_pd
from portdraw.plan.load_case import Case
from portdraw.plan.ports import sort_key
from portdraw.plan.site import Cable, Port, Site, Unit

NEW_DEVICE = "new device"


@dataclass(frozen=True, slots=True)
class Wish:
    """A device to be added: class, watts at its PD input per case, and its cable [m].

    A case that is not given is the next lower one given. `near` is the unit where it will stand, None: anywhere.
    """

    device_class: SignatureClasses
    typical_w: float
    night_w: float | None = None
    frost_night_w: float | None = None
    startup_w: float | None = None
    length_m: float = 0.0
    cable_type: str = "cat6"
    conductor: str = "unknown"
    priority: str = "low"
    criticality: int | None = None
    near: str | None = None

    def watts(self, case: Case) -> float:
        """Watts of a case [W at the PD input]. Start-up never takes less than the largest steady case."""
        night_w = self.typical_w if self.night_w is None else self.night_w
        frost_w = night_w if self.frost_night_w is None else self.frost_night_w
        if case is Case.TYPICAL:
            return self.typical_w
        if case is Case.NIGHT:
            return night_w
        if case is Case.FROST_NIGHT:
            return frost_w
        return max(self.typical_w, night_w, frost_w, self.startup_w or 0.0)

    @property
    def above_class(self) -> str:
        """A finding where the device takes more than its class allows at its input, empty where it does not."""
        most_w, class_w = self.watts(Case.STARTUP), class_watts_at_pd(self.device_class)
        if most_w <= class_w:
            return ""
        return f"it takes {most_w:g} W, its class {self.device_class} allows {class_w:g} W at the device"

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was not given, and what is counted instead."""
        said = []
        if self.night_w is None:
            said.append(f"{NEW_DEVICE}: night watts are not given, {self.typical_w:g} W of typical counted")
        if self.frost_night_w is None:
            frost_w = self.watts(Case.FROST_NIGHT)
            said.append(f"{NEW_DEVICE}: frost night watts are not given, {frost_w:g} W of the night counted")
        if self.startup_w is None:
            most_w = self.watts(Case.STARTUP)
            said.append(f"{NEW_DEVICE}: start-up watts are not given, {most_w:g} W counted, the largest steady case")
        return tuple(said)


@dataclass(frozen=True, slots=True)
class FreePort:
    """A free port, and how many more are just like it: no port in use lies between them.

    `nearness`: 0 on the unit asked for, 1 in its zone, 2 elsewhere.
    """

    unit: str
    port: str
    label: str
    alike: int
    nearness: int


def free_ports(site: Site, near: str | None) -> tuple[FreePort, ...]:
    """Every kind of free port, the nearest first, in the file's order. Raises KeyError for an unknown unit."""
    zone = None if near is None else site.units[near].zone
    found = [free for name in site.units for free in _of_unit(site, name, near, zone)]
    return tuple(sorted(found, key=lambda free: free.nearness))


def without_free_port(site: Site) -> tuple[str, ...]:
    """Units that give power and have no port free, or of which none can be offered, each with its reason."""
    said: list[str] = []
    for name, unit in site.units.items():
        if unit.pse is None:
            said.append(f"{name}: it declares no pse, so nothing can be offered")
        elif not _free_keys(unit):
            plain = all(key.isdecimal() for key in unit.ports)
            said.append(f"{name}: no port is free" if plain else f"{name}: no spare port is declared")
    return tuple(said)


def site_with(site: Site, wish: Wish, ports: tuple[FreePort, ...]) -> Site:
    """The site with the device on every one of these ports at once; what counts is who takes watts."""
    cable = Cable.model_validate({"type": wish.cable_type, "length_m": wish.length_m, "conductor": wish.conductor})
    units = dict(site.units)
    for free in ports:
        unit = units[free.unit]
        made = Port.model_validate(
            {
                "class": wish.device_class,
                "typical_w": wish.typical_w,
                "night_w": wish.night_w,
                "frost_night_w": wish.frost_night_w,
                "startup_w": wish.watts(Case.STARTUP),
                "priority": wish.priority,
                "criticality": wish.criticality,
                "label": free.label or None,
                "cable": cable,
            }
        )
        port = made.model_copy(update={"device": NEW_DEVICE})
        units[free.unit] = unit.model_copy(update={"ports": {**unit.ports, free.port: port}})
    return site.model_copy(update={"units": units})


def _free_keys(unit: Unit) -> list[str]:
    """Spare ports that are declared, and numbers up to the unit's count that are not."""
    spare = [key for key, port in unit.ports.items() if port.hangs is None]
    if unit.pse is not None and all(key.isdecimal() for key in unit.ports):
        spare.extend(str(number) for number in range(1, unit.pse.ports + 1) if str(number) not in unit.ports)
    return sorted(spare, key=sort_key)


def _of_unit(site: Site, name: str, near: str | None, zone: str | None) -> Iterator[FreePort]:
    unit = site.units[name]
    if unit.pse is None:
        return
    nearness = 0 if near in (None, name) else 1 if zone is not None and unit.zone == zone else 2
    used = sorted(sort_key(key) for key, port in unit.ports.items() if port.hangs is not None)
    groups: dict[int, list[str]] = {}
    for key in _free_keys(unit):
        groups.setdefault(sum(one < sort_key(key) for one in used), []).append(key)
    for keys in groups.values():
        declared = unit.ports.get(keys[0])
        label = "" if declared is None or declared.label is None else declared.label
        yield FreePort(name, keys[0], label, len(keys) - 1, nearness)
