"""The port schedule: one line a port, with what hangs on it, its run, watts at both ends, limit and volts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from portdraw.plan.load_case import Case
from portdraw.plan.planned_load import STEADY, LoadSchedule, PlannedPort
from portdraw.plan.site import Cable, Port, Site
from portdraw.powerflow.port_link import port_link


@dataclass(frozen=True)
class PortRow:
    """One port. Watts at the PD input and at the PSE output by case; a feed's are standing by and carrying.

    `limit_w` is the lesser of the port's own limit and of what its class lets it give. `pd_v` is at the far end under
    the heaviest steady load, of a feed while it carries; None where nothing hangs or it can't be worked out.
    """

    unit: str
    port: PlannedPort
    criticality: int | None
    cable: str
    pd_w: dict[Case, float | None]
    pd_carrying_w: dict[Case, float | None]
    limit_w: float | None
    pd_v: float | None
    least_v: float | None


def port_rows(site: Site, schedule: LoadSchedule) -> Iterator[PortRow]:
    """Yield the ports of every unit, in the order of the load schedule."""
    for unit in schedule.units:
        for port in unit.ports:
            yield _row(site, unit.unit, port)


def _row(site: Site, unit: str, port: PlannedPort) -> PortRow:
    declared = site.units[unit].ports[port.port]
    if not port.hangs:
        return PortRow(unit, port, None, cable_words(declared.cable), {}, {}, _own_limit(site, unit), None, None)
    link = port_link(site, unit, port.port)
    own_w, class_w = _own_limit(site, unit), link.limits.class_pse_w
    limits = [watts for watts in (own_w, class_w) if watts is not None]
    feeds = port.kind == "feed"
    pd_w = {case: _far_w(site, unit, port, watts) for case, watts in port.pse_w.items()} if feeds else port.pd_w
    carrying = {case: _far_w(site, unit, port, watts) for case, watts in port.carrying_w.items()} if feeds else {}
    steady = [watts for case in STEADY if (watts := (carrying if feeds else pd_w).get(case)) is not None]
    heaviest = link.carry(max(steady)) if steady else None
    return PortRow(
        unit=unit,
        port=port,
        criticality=None if feeds else _criticality(declared),
        cable=cable_words(declared.cable),
        pd_w=pd_w,
        pd_carrying_w=carrying,
        limit_w=min(limits) if limits else None,
        pd_v=None if heaviest is None else heaviest.pd_v,
        least_v=link.limits.pd_min_v,
    )


def _far_w(site: Site, unit: str, port: PlannedPort, pse_w: float | None) -> float | None:
    return None if pse_w is None else port_link(site, unit, port.port).from_port(pse_w).pd_w


def _own_limit(site: Site, unit: str) -> float | None:
    pse = site.units[unit].pse
    return None if pse is None else pse.port_limit_w


def _criticality(port: Port) -> int:
    if port.criticality is not None:
        return port.criticality
    return {"critical": 1, "high": 2, "low": 3}[port.priority]


def cable_words(cable: Cable | None) -> str:
    """Return a run in words: "84 m cat6a"; what is not plain indoor copper is named."""
    if cable is None:
        return "not declared"
    said = [f"{cable.length_m:g} m {cable.type}"]
    if cable.conductor != "copper":
        said.append("copper-clad" if cable.conductor == "copper-clad" else "conductor?")
    if cable.run != "indoor":
        said.append(cable.run)
    return ", ".join(said)
