"""The emulated site as built: its units and ports with their running state, who feeds whom, and by which cable."""

from __future__ import annotations

from dataclasses import dataclass, field

from portdraw.plan.site import Port, Site, Unit
from portdraw.rehearsal import class_power, wire
from portdraw.rehearsal.load import Creep, Load, load_on

PORT_V = 54.0  # PSE output where the site file does not say; common practice for mains-fed units
OWN_USE_W = 6.0  # likewise
STANDBY_W = 1.3  # likewise, of a held spare feed, at the PD input
START = "the rehearsal can't start:"
PRIORITY_RANK = {"critical": 1, "high": 2, "low": 3}  # RFC 3621, pethPsePortPowerPriority


class RehearsalError(Exception):
    """The site can't be emulated; the text is one clear sentence."""


@dataclass(slots=True)
class PortState:
    """A PSE port and what hangs on it. Watts are at the PSE output unless the name says `pd`."""

    key: str
    group: int
    number: int
    if_index: int
    label: str
    rank: int
    limit_w: float
    ohm: float
    planned_off: bool
    load: Load | None
    feeds: str | None
    feed_class: int
    noise_key: int
    creep: Creep | None = None
    waiting: bool = False  # a newcomer that is not admitted yet
    retry_s: float = 0.0
    latched: bool = False  # shed: off until the unit restarts
    faulty: bool = False  # overloaded: off until the unit restarts
    since_s: float = -1e12
    draw_w: float = 0.0
    pd_w: float = 0.0
    lost_w: float = 0.0
    pd_v: float = 0.0
    denied: int = 0
    overloads: int = 0
    mps_absent: int = 0

    @property
    def enabled(self) -> bool:
        """True where the port would give power to what hangs on it."""
        return not (self.planned_off or self.latched or self.faulty or self.waiting)

    @property
    def state(self) -> str:
        """Detection status in the words of RFC 3621."""
        if self.planned_off:
            return "disabled"
        if self.faulty:
            return "other fault"
        return "delivering" if self.draw_w > 0 else "searching"

    @property
    def device_class(self) -> int:
        """Class of what hangs on the port."""
        return self.feed_class if self.load is None else self.load.device_class


@dataclass(slots=True)
class UnitState:
    """A unit as it runs. `leg` is "ac", "feed" or "none"."""

    name: str
    plan: Unit
    ports: dict[str, PortState]
    port_v: float
    own_use_w: float
    feeder: tuple[str, str] | None
    leg: str = "none"
    powered_since_s: float = 0.0
    boots: int = 1
    budget_w: float = 0.0
    outputs_w: float = 0.0
    wanted_w: float = 0.0  # outputs before anything was shed in this step
    wanted_feeder_w: float = 0.0  # at the feeder's port, likewise
    ac_w: float = 0.0
    feed_pd_w: float = 0.0
    path: tuple[str, ...] = field(default=())  # units that its data passes

    @property
    def powered(self) -> bool:
        """True while any leg carries the unit."""
        return self.leg != "none"


def build(site: Site, noise_keys: dict[tuple[str, str], int] | None = None) -> dict[str, UnitState]:
    """Return the units of a site, leaves first, all of their ports on. Raises RehearsalError."""
    feeders: dict[str, tuple[str, str]] = {}
    for name, unit in site.units.items():
        for key, port in unit.ports.items():
            if port.feeds_unit is not None:
                if port.feeds_unit not in site.units:
                    raise RehearsalError(f"{START} {name} port {key} feeds {port.feeds_unit}, no such unit")
                feeders.setdefault(port.feeds_unit, (name, key))
    keys = noise_keys or {}
    built = {name: _unit(site, name, unit, feeders.get(name), keys) for name, unit in site.units.items()}
    for state in built.values():
        state.path = _data_path(site, state.name, feeders)
    return {name: built[name] for name in sorted(built, key=lambda name: -_depth(name, feeders))}


def _unit(
    site: Site, name: str, unit: Unit, feeder: tuple[str, str] | None, noise_keys: dict[tuple[str, str], int]
) -> UnitState:
    if unit.pse is None:
        raise RehearsalError(f"{START} unit {name} has no pse, and only switches are emulated")
    if unit.fed is not None and unit.fed.output == "follows-input":
        raise RehearsalError(f"{START} the outputs of {name} follow its input; only boosted units are emulated")
    declared: dict[str, Port] = dict(unit.ports)
    if not any("/" in key for key in declared):
        for number in range(1, unit.pse.ports + 1):
            declared.setdefault(str(number), Port())
    ports = {}
    for key in sorted(declared, key=lambda text: tuple(int(part) for part in text.split("/"))):
        ports[key] = _port(site, name, key, declared[key], unit, noise_keys)
    return UnitState(
        name=name,
        plan=unit,
        ports=ports,
        port_v=unit.pse.voltage_v or PORT_V,
        own_use_w=OWN_USE_W if unit.own_use_w is None else unit.own_use_w,
        feeder=feeder,
    )


def _port(
    site: Site, unit_name: str, key: str, port: Port, unit: Unit, noise_keys: dict[tuple[str, str], int]
) -> PortState:
    group, number = _index(key, port)
    load = load_on(site, port)
    feed_class = class_power.single(port.device_class) if port.feeds is not None else 0
    hangs_class = feed_class if load is None else load.device_class
    limit_w = 99.9 if unit.pse is None or unit.pse.port_limit_w is None else unit.pse.port_limit_w
    return PortState(
        key=key,
        group=group,
        number=number,
        if_index=number if group == 1 else group * 1000 + number,
        label=port.label or port.hangs or "",
        rank=PRIORITY_RANK[port.priority],
        limit_w=limit_w,
        ohm=wire.loop_ohm(port.cable, hangs_class >= 5),
        planned_off=port.off,
        load=load,
        feeds=port.feeds_unit,
        feed_class=feed_class,
        noise_key=noise_keys.get((unit_name, key), 0),
    )


def _index(key: str, port: Port) -> tuple[int, int]:
    """Return (group, port) as this agent counts: its explicit index, else member and last number."""
    parts = [int(part) for part in (port.snmp.split(".") if port.snmp else key.split("/"))]
    return (parts[0] if len(parts) > 1 else 1), parts[-1]


def _depth(name: str, feeders: dict[str, tuple[str, str]]) -> int:
    depth, seen = 0, {name}
    while name in feeders:
        name = feeders[name][0]
        if name in seen:
            raise RehearsalError(f"{START} {name} feeds itself in the end")
        seen.add(name)
        depth += 1
    return depth


def _data_path(site: Site, name: str, feeders: dict[str, tuple[str, str]]) -> tuple[str, ...]:
    path: list[str] = []
    while True:
        via = site.units[name].data_via or (feeders[name][0] if name in feeders else None)
        if via is None or via not in site.units or via in path:
            return tuple(path)
        path.append(via)
        name = via
