"""Watts of the sources: every AC circuit and every UPS."""

from __future__ import annotations

from collections.abc import Mapping

from portdraw.plan.site import Site
from portdraw.powerflow.unit_flow import UnitFlow


def ups_w(site: Site, flows: Mapping[str, UnitFlow]) -> dict[str, float]:
    """Watts that each UPS gives: its other load and the supplies on it. Charging is not counted."""
    found = {name: ups.other_load_w for name, ups in site.ups.items()}
    for name, flow in flows.items():
        for supply, watts in zip(site.units[name].supplies, flow.supplies_w, strict=False):
            if supply.source in found:
                found[supply.source] += watts
    return found


def circuit_w(site: Site, flows: Mapping[str, UnitFlow], lost_circuits: frozenset[str]) -> dict[str, float]:
    """Watts that each AC circuit gives: its other load, the supplies and the UPS inputs on it; 0.0 for a lost one."""
    found = {name: 0.0 if name in lost_circuits else circuit.other_load_w for name, circuit in site.circuits.items()}
    for name, flow in flows.items():
        for supply, watts in zip(site.units[name].supplies, flow.supplies_w, strict=False):
            if supply.source in found:
                found[supply.source] += watts
    for name, watts in ups_w(site, flows).items():
        ups = site.ups[name]
        if ups.input in found and ups.input not in lost_circuits:
            found[ups.input] += watts / ups.efficiency
    return found
