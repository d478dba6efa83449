"""What the devices ask: watts of every device port, with the bounds between which the truth lies.

Watts at the PSE output; for units whose ports follow their input, at the device too. A device whose watts can't be
known counts as the most that its port can give, and as nothing on the lower side; the cause is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from portdraw.plan.load_case import Case, DeviceWatts, device_w, largest_steady_w
from portdraw.plan.site import Port
from portdraw.powerflow.network import NetPort, NetUnit, Network
from portdraw.powerflow.port_link import PortId

DARK, MAY, SURE = 0, 1, 2

Ask = Callable[[Port], DeviceWatts | None]


@dataclass(frozen=True, slots=True)
class Reading:
    """A draw read at a port [W at the PSE output] and the bounds within which the truth lies."""

    watts: float
    least_w: float
    most_w: float


@dataclass(frozen=True, slots=True)
class UnitLoad:
    """Device ports of one unit by their place among its ports. `status`: DARK can't be powered, MAY, SURE.

    `least`, `likely`, `most` are [W at the PSE output]; `pd_*` [W at the device]. `likely` takes what is not
    declared to the worse side. `reasons` says why a device can't be powered or why its watts can't be known.
    """

    least: tuple[float, ...]
    likely: tuple[float, ...]
    most: tuple[float, ...]
    pd_least: tuple[float, ...]
    pd_likely: tuple[float, ...]
    pd_most: tuple[float, ...]
    status: tuple[int, ...]
    reasons: Mapping[int, str]
    assumed: tuple[str, ...]
    sum_least_w: float
    sum_likely_w: float
    sum_most_w: float


@dataclass(frozen=True, slots=True)
class Load:
    """One load of a whole site. `exact`: least, likely and most are the same everywhere.

    `granted_w` [W at the PSE output] is what a port is known to have granted, by (unit, port).
    """

    name: str
    units: tuple[UnitLoad, ...]
    exact: bool
    granted_w: Mapping[PortId, float] = field(default_factory=dict)


def planned_load(network: Network, case: Case) -> Load:
    """The plan's watts in one case, as they are declared."""
    kept: dict[tuple[object, ...], DeviceWatts | None] = {}
    site = network.site

    def ask(port: Port) -> DeviceWatts | None:
        key = _watts_key(port)
        if key not in kept:
            kept[key] = device_w(site, port, case)
        return kept[key]

    return _load(network, case.value, ask, {}, {})


def worst_steady_load(network: Network) -> Load:
    """The largest declared steady watts of every device at once: what the design has to carry."""
    kept: dict[tuple[object, ...], DeviceWatts | None] = {}
    site = network.site

    def ask(port: Port) -> DeviceWatts | None:
        key = _watts_key(port)
        if key not in kept:
            known = device_w(site, port, Case.MAXIMUM) is not None
            kept[key] = DeviceWatts(largest_steady_w(site, port)) if known else None
        return kept[key]

    return _load(network, "design worst", ask, {}, {})


def live_load(
    network: Network,
    name: str,
    readings: Mapping[PortId, Reading],
    case: Case,
    granted_w: Mapping[PortId, float] | None = None,
) -> Load:
    """Draws as read [W at the PSE output]; a port without a reading takes the plan's watts of `case`, and says so.

    A port that was read delivering is powered, whatever its class says.
    """
    site = network.site
    return _load(network, name, lambda port: device_w(site, port, case), readings, granted_w or {})


def scaled_load(network: Network, load: Load, percent: float) -> Load:
    """The same load with every device port's watts at the PSE output taken `percent` higher, own use unchanged."""
    factor = 1 + percent / 100
    readings = {
        (unit.name, port.key): Reading(*(watts * factor for watts in (of.likely[at], of.least[at], of.most[at])))
        for unit, of in zip(network.units, load.units, strict=True)
        for at, port in enumerate(unit.ports)
        if port.device is not None and of.status[at] != DARK
    }
    return live_load(network, f"{load.name} {percent:+g} %", readings, Case.TYPICAL, load.granted_w)


def uncertain_load(network: Network, load: Load, percent: float) -> Load:
    """The same load, known to `percent` either way at every device port."""
    readings = {
        (unit.name, port.key): Reading(
            of.likely[at], of.least[at] * (1 - percent / 100), of.most[at] * (1 + percent / 100)
        )
        for unit, of in zip(network.units, load.units, strict=True)
        for at, port in enumerate(unit.ports)
        if port.device is not None and of.status[at] != DARK
    }
    return live_load(network, f"{load.name} ± {percent:g} %", readings, Case.TYPICAL, load.granted_w)


def _watts_key(port: Port) -> tuple[object, ...]:
    watts = (port.typical_w, port.night_w, port.frost_night_w, port.startup_w, port.max_w)
    return (port.type, port.device is None, port.off, port.device_class, *watts)


@dataclass(slots=True)
class _Asked:
    """What one port asks: watts at the port and at the device, least, likely, most."""

    pse: tuple[float, float, float]
    pd: tuple[float, float, float]
    status: int = SURE
    reason: str | None = None
    assumed: str | None = None


_NOTHING = _Asked((0.0, 0.0, 0.0), (0.0, 0.0, 0.0))


def _load(
    network: Network, name: str, ask: Ask, readings: Mapping[PortId, Reading], granted_w: Mapping[PortId, float]
) -> Load:
    units: list[UnitLoad] = []
    exact = network.exact
    for unit in network.units:
        made = _unit_load(unit, ask, readings)
        exact = exact and made.least == made.likely == made.most and MAY not in made.status
        units.append(made)
    return Load(name, tuple(units), exact, granted_w)


def _unit_load(unit: NetUnit, ask: Ask, readings: Mapping[PortId, Reading]) -> UnitLoad:
    asked: list[_Asked] = []
    reasons: dict[int, str] = {}
    assumed: list[str] = []
    for port in unit.ports:
        declared = unit.unit.ports[port.key]
        if port.device is None or port.off:
            asked.append(_NOTHING)
            continue
        reading = readings.get((unit.name, port.key)) if readings else None
        one = _planned(unit, port, ask(declared)) if reading is None else _read(port, reading)
        asked.append(one)
        if one.reason is not None:
            reasons[port.at] = one.reason
        if one.assumed is not None:
            assumed.append(one.assumed)
        if reading is None and readings:
            assumed.append(f"{port.where(unit)}: no reading, {one.pse[1]:.1f} W of the plan counted")
    least, likely, most = (tuple(one.pse[of] for one in asked) for of in range(3))
    pd_least, pd_likely, pd_most = (tuple(one.pd[of] for one in asked) for of in range(3))
    status = tuple(one.status for one in asked)
    return UnitLoad(
        least, likely, most, pd_least, pd_likely, pd_most, status, reasons, tuple(assumed),
        sum(least), sum(likely), sum(most),
    )  # fmt: skip


def _planned(unit: NetUnit, port: NetPort, planned: DeviceWatts | None) -> _Asked:
    where = port.where(unit)
    if port.refused:
        most = 4 if unit.unit.pse is None else unit.unit.pse.class_max
        said = f"{where}: it asks for class {port.asked}, the port grants class {most} at most and refuses it"
        return _Asked((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), DARK, said)
    if planned is None:
        most_w = port.line.most_w()
        said = f"{where}: neither watts nor a class are declared, {most_w:.1f} W counted"
        at_pd = port.line.link.from_port(most_w).pd_w or most_w
        return _Asked((0.0, most_w, most_w), (0.0, at_pd, at_pd), SURE, said)
    watts = planned.watts
    assumed = None if planned.assumed is None else f"{where}: {planned.assumed}"
    worse = port.line.carry(watts)
    if port.kinder is port.line:
        if worse.reason is None and worse.pse_w is not None:
            return _Asked((worse.pse_w,) * 3, (watts,) * 3, SURE, None, assumed)
        return _Asked((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), DARK, _renamed(where, port, worse.reason), assumed)
    better = port.kinder.carry(watts)
    if better.reason is not None:
        return _Asked((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), DARK, _renamed(where, port, better.reason), assumed)
    most_w = port.line.most_w() if worse.pse_w is None else worse.pse_w
    if worse.reason is not None:
        reason = _renamed(where, port, worse.reason)
        return _Asked((0.0, most_w, most_w), (0.0, watts, watts), MAY, reason, assumed)
    return _Asked((better.pse_w or 0.0, most_w, most_w), (watts,) * 3, SURE, None, assumed)


def _read(port: NetPort, reading: Reading) -> _Asked:
    watts = (reading.least_w, reading.watts, reading.most_w)
    at_pd = tuple(port.line.link.from_port(one).pd_w for one in watts)
    least, likely, most = (pse if pd is None else pd for pse, pd in zip(watts, at_pd, strict=True))
    return _Asked(watts, (least, likely, most))


def _renamed(where: str, port: NetPort, reason: str | None) -> str | None:
    """A run may be shared by ports of different names; its sentence begins with the first one's."""
    return None if reason is None else where + reason.removeprefix(port.line.link.name)
