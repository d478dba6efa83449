"""What starting takes: seconds until a unit gives power, watts and seconds of a device that starts."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

from portdraw.plan.load_case import Case, declared_w
from portdraw.powerflow.load import DARK, Load, UnitLoad, planned_load
from portdraw.powerflow.network import NetPort, NetUnit, Network

UNDECLARED_BOOT_S = 180.0
"""Seconds until a unit gives power whose file declares none. Common practice: one to three minutes."""

UNDECLARED_STARTUP_S = 120.0
"""Seconds a device starts for whose file declares none. Common practice: 30 to 120 s, the longest counted."""

HIDDEN_FEED_S = 1.0
"""Seconds until a feeder finds a feed that was hidden: detection and class, once round its ports. Common practice."""

RENEGOTIATE_S = 30.0
"""Seconds until a new LLDP allocation is in force: one interval of sending (IEEE 802.1AB: 30 s by default)."""


@dataclass(frozen=True, slots=True)
class StartUp:
    """A steady load and the same devices while they start, and what both rest on undeclared."""

    steady: Load
    starting: Load
    assumed: tuple[str, ...]


def start_up_of(network: Network, steady: Load, *, declared_only: bool = False) -> StartUp:
    """Pair a steady load with the plan's start-up watts.

    A device that starts takes the larger of its start-up watts and the steady load's, as its heater or lamp is on
    at once; `declared_only` takes the declared start-up watts alone, as in a mild night.
    """
    starting = planned_load(network, Case.STARTUP)
    if not declared_only:
        units = tuple(_larger(of, beside) for of, beside in zip(starting.units, steady.units, strict=True))
        starting = replace(starting, units=units)
    return StartUp(steady, starting, tuple(_assumed(network)))


def boot_s(unit: NetUnit) -> float:
    """Seconds from power at a unit to power at its ports. An extender has nothing to start."""
    if unit.unit.boot_s is not None:
        return unit.unit.boot_s
    return 0.0 if unit.unit.extender else UNDECLARED_BOOT_S


def startup_s(network: Network, unit: NetUnit, port: NetPort) -> float:
    """Seconds from power at a device until it is in service."""
    declared = declared_w(network.site, unit.unit.ports[port.key], "startup_s")
    return UNDECLARED_STARTUP_S if declared is None else declared


def start_delay_s(unit: NetUnit, port: NetPort) -> float:
    """Seconds that a port waits after its unit's start."""
    return unit.unit.ports[port.key].start_delay_s


def mixed(steady: UnitLoad, starting: UnitLoad, ports: Collection[int], off: Collection[int] = ()) -> UnitLoad:
    """A unit's load where some ports' devices start, and some take nothing."""
    if not ports and not off:
        return steady
    least, likely, most = list(steady.least), list(steady.likely), list(steady.most)
    pd_least, pd_likely, pd_most = list(steady.pd_least), list(steady.pd_likely), list(steady.pd_most)
    status, reasons = list(steady.status), dict(steady.reasons)
    for at in ports:
        least[at], likely[at], most[at] = starting.least[at], starting.likely[at], starting.most[at]
        pd_least[at], pd_likely[at], pd_most[at] = starting.pd_least[at], starting.pd_likely[at], starting.pd_most[at]
        status[at] = min(status[at], starting.status[at])
        if at in starting.reasons:
            reasons[at] = starting.reasons[at]
    for at in off:
        least[at] = likely[at] = most[at] = pd_least[at] = pd_likely[at] = pd_most[at] = 0.0
    return UnitLoad(
        tuple(least), tuple(likely), tuple(most), tuple(pd_least), tuple(pd_likely), tuple(pd_most),
        tuple(status), reasons, steady.assumed, sum(least), sum(likely), sum(most),
    )  # fmt: skip


def _larger(starting: UnitLoad, steady: UnitLoad) -> UnitLoad:
    higher = [
        at
        for at, watts in enumerate(starting.likely)
        if starting.status[at] != DARK and steady.status[at] != DARK and steady.likely[at] > watts
    ]
    return mixed(starting, steady, higher)


def _assumed(network: Network) -> list[str]:
    said = [
        f"{unit.name}: boot_s is not declared, {UNDECLARED_BOOT_S:g} s counted"
        for unit in network.units
        if unit.unit.boot_s is None and not unit.unit.extender
    ]
    for unit in network.units:
        said.extend(
            f"{port.where(unit)}: startup_s of {port.device} is not declared, {UNDECLARED_STARTUP_S:g} s counted"
            for port in unit.ports
            if port.device is not None
            and not port.off
            and declared_w(network.site, unit.unit.ports[port.key], "startup_s") is None
        )
    return said
