"""The emulated site as built: its units and ports, who feeds whom, and by which cable."""

from __future__ import annotations

from portdraw.plan.site import Port, Site, Unit
from portdraw.rehearsal import class_power, wire
from portdraw.rehearsal.class_power import Signature
from portdraw.rehearsal.load import load_on
from portdraw.rehearsal.state import PortState, UnitState

PORT_V = 54.0  # PSE output where the site file does not say; common practice for mains-fed units
OWN_USE_W = 6.0  # likewise
PORT_LIMIT_W = 99.9  # most that a Type 4 port delivers (IEEE 802.3-2022 table 145-16)
START = "the rehearsal can't start:"
PRIORITY_RANK = {"critical": 1, "high": 2, "low": 3}  # RFC 3621, pethPsePortPowerPriority


class RehearsalError(Exception):
    """The site can't be emulated; the text is one clear sentence."""


def build(site: Site, noise_keys: dict[tuple[str, str], int] | None = None) -> dict[str, UnitState]:
    """Return the units of a site, leaves first, all of their ports off. Raises RehearsalError."""
    inputs: dict[str, list[tuple[str, str, str]]] = {name: [] for name in site.units}
    for name, unit in site.units.items():
        for key, port in unit.ports.items():
            if port.feeds is not None and port.feeds_unit is not None:
                if port.feeds_unit not in site.units:
                    raise RehearsalError(f"{START} {name} port {key} feeds {port.feeds_unit}, no such unit")
                inputs[port.feeds_unit].append((port.feeds, name, key))
    feeders = {name: tuple((unit, key) for _, unit, key in sorted(found)) for name, found in inputs.items()}
    built = {name: _unit(site, name, unit, feeders, noise_keys or {}) for name, unit in site.units.items()}
    for state in built.values():
        state.path = _data_path(site, state.name, feeders)
    depths = {name: _depth(name, feeders, ()) for name in built}
    return {name: built[name] for name in sorted(built, key=lambda name: -depths[name])}


Feeders = dict[str, tuple[tuple[str, str], ...]]


def _unit(site: Site, name: str, unit: Unit, feeders: Feeders, noise_keys: dict[tuple[str, str], int]) -> UnitState:
    if unit.pse is None and not unit.extender:
        raise RehearsalError(f"{START} unit {name} has no pse and is no extender, so nothing says what it gives")
    declared: dict[str, Port] = dict(unit.ports)
    if unit.pse is not None and not any("/" in key for key in declared):
        for number in range(1, unit.pse.ports + 1):
            declared.setdefault(str(number), Port())
    ports = {}
    for key in sorted(declared, key=lambda text: tuple(int(part) for part in text.split("/"))):
        port = declared[key]
        below = () if port.feeds_unit is None else feeders[port.feeds_unit]
        feed_input = below.index((name, key)) if (name, key) in below else 0
        ports[key] = _port(site, key, port, unit, feed_input, noise_keys.get((name, key), 0))
    declared_v = None if unit.pse is None else unit.pse.voltage_v
    return UnitState(
        name=name,
        plan=unit,
        ports=ports,
        port_v=PORT_V if declared_v is None else declared_v,
        own_use_w=OWN_USE_W if unit.own_use_w is None else unit.own_use_w,
        feeders=feeders[name],
        input_w=[0.0] * len(feeders[name]),
    )


def _port(site: Site, key: str, port: Port, unit: Unit, feed_input: int, noise_key: int) -> PortState:
    group, number = _index(key, port)
    load = load_on(site, port)
    feed_signature: Signature = 0 if port.device_class is None else port.device_class
    signature = feed_signature if load is None else load.signature
    limit_w = None if unit.pse is None else unit.pse.port_limit_w
    return PortState(
        key=key,
        group=group,
        number=number,
        if_index=number if group == 1 else group * 1000 + number,
        label=port.label or port.hangs or "",
        rank=PRIORITY_RANK[port.priority],
        limit_w=PORT_LIMIT_W if limit_w is None else limit_w,
        ohm=wire.loop_ohm(port.cable, class_power.four_pairs(signature)),
        four_pairs=wire.on_four_pairs(port.cable, class_power.four_pairs(signature)),
        planned_off=port.off,
        start_delay_s=port.start_delay_s,
        load=load,
        feeds=port.feeds_unit,
        feed_input=feed_input,
        feed_signature=feed_signature,
        feed_min_v=port.min_v,
        noise_key=noise_key,
    )


def _index(key: str, port: Port) -> tuple[int, int]:
    """Return (group, port) as this agent counts: its explicit index, else member and last number."""
    parts = [int(part) for part in (port.snmp.split(".") if port.snmp else key.split("/"))]
    return (parts[0] if len(parts) > 1 else 1), parts[-1]


def _depth(name: str, feeders: Feeders, above: tuple[str, ...]) -> int:
    if name in above:
        raise RehearsalError(f"{START} {name} feeds itself in the end")
    return max((1 + _depth(feeder, feeders, (*above, name)) for feeder, _ in feeders[name]), default=0)


def _data_path(site: Site, name: str, feeders: Feeders) -> tuple[str, ...]:
    path: list[str] = []
    while True:
        via = site.units[name].data_via or (feeders[name][0][0] if feeders[name] else None)
        if via is None or via not in site.units or via in path:
            return tuple(path)
        path.append(via)
        name = via
