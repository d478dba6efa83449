"""Watts that the plan gives a device's port, at the device and at the port."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from portdraw.plan.load_case import Case, device_w
from portdraw.plan.site import Site
from portdraw.powerflow.port_link import PortId, PortPower, port_link


@dataclass(frozen=True)
class Draws:
    """PSE output watts of every device port, complete: read where read, planned elsewhere.

    `watts` is by unit, then by printed port. `assumed` names, per unit, ports that fell back on the plan and what
    the plan itself assumed; `unknown` the ports of which nothing can be said, per unit, each as a sentence.
    """

    watts: Mapping[str, Mapping[str, float]]
    assumed: Mapping[str, tuple[str, ...]]
    unknown: Mapping[str, tuple[str, ...]]

    def by_port(self) -> dict[PortId, float]:
        """The same watts by (unit, printed port)."""
        return {(unit, key): draw_w for unit, ports in self.watts.items() for key, draw_w in ports.items()}


def planned_device_w(site: Site, unit: str, port_key: str, case: Case) -> PortPower:
    """Planned watts of a device's port in a case. A port with nothing on it, or planned off, has 0 W.

    `pse_w` None with a reason: neither watts nor class are declared, or the cable cannot carry the load.
    """
    port = site.units[unit].ports[port_key]
    if port.device is None or port.off:
        return PortPower(0.0, 0.0, 0.0, None)
    planned = device_w(site, port, case)
    if planned is None:
        return PortPower(None, None, None, None, f"{unit} port {port_key}: neither watts nor a class are declared")
    power = port_link(site, unit, port_key).carry(planned.watts)
    if planned.assumed is None:
        return power
    said = f"{unit} port {port_key}: {planned.assumed}"
    return replace(power, assumed=(said, *power.assumed))


def planned_draws(site: Site, case: Case, units: Iterable[str] | None = None) -> Draws:
    """PSE output watts of every device port of the plan in one case, of all units or of some."""
    return complete_draws(site, {}, case, units, say_missing=False)


def complete_draws(
    site: Site,
    live: Mapping[PortId, float],
    case: Case,
    units: Iterable[str] | None = None,
    *,
    say_missing: bool = True,
) -> Draws:
    """Fill live draws [W at the PSE output] up with the plan's, port by port.

    Live watts of ports that the plan does not know count too. A port that feeds a unit is never taken from `live`:
    it follows from the unit below. `say_missing` names each port without a live draw among the assumptions.
    """
    watts: dict[str, dict[str, float]] = {name: {} for name in (site.units if units is None else units)}
    assumed: dict[str, tuple[str, ...]] = {}
    unknown: dict[str, tuple[str, ...]] = {}
    for name, ports_w in watts.items():
        said: list[str] = []
        missing: list[str] = []
        for key, port in site.units[name].ports.items():
            if port.feeds_unit is not None or (name, key) in live:
                continue
            power = planned_device_w(site, name, key, case)
            said.extend(power.assumed)
            if power.pse_w is None:
                missing.append(power.reason or f"{name} port {key}: watts are unknown")
                continue
            ports_w[key] = power.pse_w
            if say_missing and port.device is not None and not port.off:
                said.append(f"{name} port {key}: no reading, {power.pse_w:.1f} W of the plan counted ({case.value})")
        assumed[name] = tuple(dict.fromkeys(said))
        unknown[name] = tuple(missing)
    for (name, key), draw_w in live.items():
        if name not in watts:
            continue
        declared = site.units[name].ports.get(key)
        if declared is None or declared.feeds_unit is None:
            watts[name][key] = draw_w
    return Draws(watts, assumed, unknown)
