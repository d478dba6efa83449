"""Watts and volts of the whole emulated site at one moment: swept from the leaves up and from the sources down."""

from __future__ import annotations

from portdraw.rehearsal import class_power, supply, transfer, wire
from portdraw.rehearsal.state import PortState, UnitState

MOST_SWEEPS = 200
SAME_V = 1e-9
CLASS_ROUNDING_W = 0.1  # 40 W at a class 5 device are 45.08 W at the PSE where the standard's table has 45
CURRENT_ROUNDING_A = 0.005  # half the last digit in which the standard prints currents
FITS_W = 1e-9
FITS_V = 1e-6


def settle(units: dict[str, UnitState], time_s: float) -> None:
    """Bring all units (leaves first) to rest with the ports and legs as they are.

    Ports of a unit that passes its input on follow the volts there, so sweeps go on until no volt moves. A load that
    no current carries is marked, and takes the most that its cable can pass.
    """
    for _ in range(MOST_SWEEPS):
        for unit in units.values():
            _load(units, unit, time_s)
        if not _pass_volts_down(units):
            return


def overloads(unit: UnitState, port: PortState) -> bool:
    """Say whether a port gives more than it, its class or its pairs may: the PSE cuts it."""
    if not port.on:
        return False
    if port.no_point or port.draw_w > port.limit_w + FITS_W:
        return True
    if port.granted is not None and port.draw_w > class_power.at_pse_w(port.granted) + CLASS_ROUNDING_W:
        return True
    share = class_power.HEAVIER_SHARE if port.four_pairs else 1.0
    return port.draw_w / port.at_v * share > class_power.trip_a(unit.pse.class_max) + CURRENT_ROUNDING_A


def starves(port: PortState) -> bool:
    """Say whether what hangs on a port has fewer volts than it needs, and shuts down."""
    return port.on and port.pd_w > 0 and port.pd_v < port.min_v - FITS_V


def is_taken_for_unplugged(units: dict[str, UnitState], port: PortState) -> bool:
    """Say whether a spare feed draws less than its maintain current, so that the PSE lets go of it."""
    if not port.on or port.feeds is None or port.feed_input in units[port.feeds].carrying:
        return False
    signature = port.signature if port.granted is None else port.granted
    return port.pd_w < class_power.maintain_a(signature) * port.pd_v


def _load(units: dict[str, UnitState], unit: UnitState, time_s: float) -> None:
    total_w = 0.0
    for port in unit.ports.values():
        if not port.on:
            continue
        pd_w = port.device_w if port.feeds is None else units[port.feeds].input_w[port.feed_input]
        if pd_w != port.pd_w or unit.live_v != port.at_v:
            _set(port, unit.live_v, pd_w)
        total_w += port.draw_w
    unit.outputs_w = total_w
    if unit.feeders:
        grants = [supply.granted_pd_w(units[name].ports[key], time_s) for name, key in unit.feeders]
        unit.input_w = transfer.inputs_w(unit, grants)


def _set(port: PortState, port_v: float, pd_w: float) -> None:
    point = wire.settle(port_v, port.ohm, pd_w)
    port.no_point = point is None
    port.at_v, port.pd_w = port_v, pd_w
    if point is None:
        point = wire.Point(port_v / 2, port_v * port_v / 4 / port.ohm, port_v * port_v / 2 / port.ohm)
    port.pd_v, port.lost_w, port.draw_w = point.volts, point.lost_w, point.source_w


def _pass_volts_down(units: dict[str, UnitState]) -> bool:
    moved = False
    for unit in reversed(units.values()):
        volts = unit.port_v
        if unit.leg == "feed" and not unit.boosted:
            inputs = (unit.feeders[at] for at in unit.carrying)
            volts = max(units[name].ports[key].pd_v for name, key in inputs)
        moved |= abs(volts - unit.live_v) > SAME_V
        unit.live_v = volts
    return moved
