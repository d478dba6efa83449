"""Before and after a transfer: what did not come back as it was, port by port and unit by unit.

Two pictures of the site are held against each other, read or worked out. What is not known in one of them is told
as not known, never as the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from portdraw.plan.class_grant import SignatureClasses
from portdraw.powerflow.load import DARK
from portdraw.powerflow.port_link import PortId
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.unit_flow import CarriedBy

SAME_W = 1.0
SAME_PERCENT = 20.0
"""Watts and share by which a draw may differ and count as the same. Common practice: devices breathe."""

_LEGS = {
    CarriedBy.AC: "local AC",
    CarriedBy.FEED: "PoE feed",
    CarriedBy.EITHER: "local AC or PoE feed",
    CarriedBy.NONE: "none",
}


@dataclass(frozen=True, slots=True)
class PortPicture:
    """One port at one time; None is not known. Watts at the PSE output, `granted_w` what the port set aside.

    `device` is what hangs on it. `fault` is what the port says of itself, empty where it says nothing.
    """

    delivering: bool | None = None
    device_class: SignatureClasses | None = None
    granted_w: float | None = None
    draw_w: float | None = None
    device: str | None = None
    fault: str = ""


@dataclass(frozen=True, slots=True)
class UnitPicture:
    """One unit at one time. `starts` counts its starts, so that one between the pictures shows; None is not known."""

    leg: CarriedBy | None = None
    budget_w: float | None = None
    starts: int | None = None


@dataclass(frozen=True, slots=True)
class SitePicture:
    """A site at one time, by unit and by (unit, printed port)."""

    units: Mapping[str, UnitPicture] = field(default_factory=dict)
    ports: Mapping[PortId, PortPicture] = field(default_factory=dict)


class Kind(StrEnum):
    """What differs."""

    STUCK = "port stuck"
    CAME_ON = "port on that was off"
    LEG = "leg"
    BUDGET = "budget"
    RESTARTED = "restarted"
    DEVICE = "device"
    CLASS = "class"
    GRANT = "grant"
    WATTS = "watts"
    NOT_KNOWN = "not known"


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that is not as it was. `port` is empty for the unit itself."""

    kind: Kind
    unit: str
    port: str
    before: str
    after: str

    @property
    def sentence(self) -> str:
        """The difference in words."""
        where = f"{self.unit} port {self.port}" if self.port else self.unit
        return f"{where}: {self.kind.value}, before {self.before}, after {self.after}"


def return_to_normal(before: SitePicture, after: SitePicture) -> tuple[Difference, ...]:
    """Everything that differs after a transfer, stuck ports first; nothing where all is as it was."""
    found = [one for name, was in before.units.items() for one in _of_unit(name, was, after.units.get(name))]
    for port, was in before.ports.items():
        found.extend(_of_port(port, was, after.ports.get(port)))
    order = list(Kind)
    return tuple(sorted(found, key=lambda one: order.index(one.kind)))


def picture_of(solution: Solution) -> SitePicture:
    """A solved state as a picture: what the site should look like then."""
    units: dict[str, UnitPicture] = {}
    ports: dict[PortId, PortPicture] = {}
    for unit in solution.network.units:
        at = unit.index
        standing, demand, lit = solution.standing(at), solution.demand(at), solution.power(at) != DARK
        units[unit.name] = UnitPicture(standing.leg if lit else CarriedBy.NONE, standing.budget_w)
        for port in unit.ports:
            if port.device is None and port.child < 0:
                continue
            on = lit and solution.port_state(at, port.at) != DARK
            if port.device is not None:
                on = on and solution.load.units[at].status[port.at] != DARK
                watts = solution.load.units[at].likely[port.at]
            else:
                watts = solution.demand(port.child).feeds[port.place].most_w
            booked = standing.grant.booked_w
            ports[(unit.name, port.key)] = PortPicture(
                delivering=on,
                device_class=standing.grant.classes[port.at] if on else None,
                granted_w=booked[port.at] if booked and on else None,
                draw_w=watts if on and port.at not in demand.cut else 0.0,
                device=port.device or solution.network.units[port.child].name,
            )
    return SitePicture(units, ports)


def _of_unit(name: str, was: UnitPicture, now: UnitPicture | None) -> Iterator[Difference]:
    if now is None:
        yield Difference(Kind.NOT_KNOWN, name, "", "read", "not read")
        return
    if was.leg is not None:
        if now.leg is None:
            yield Difference(Kind.NOT_KNOWN, name, "", f"carried by {_LEGS[was.leg]}", "not known")
        elif now.leg is not was.leg:
            yield Difference(Kind.LEG, name, "", _LEGS[was.leg], _LEGS[now.leg])
    if was.budget_w is not None and now.budget_w is not None and abs(was.budget_w - now.budget_w) > SAME_W:
        yield Difference(Kind.BUDGET, name, "", f"{was.budget_w:.1f} W", f"{now.budget_w:.1f} W")
    if was.starts is not None and now.starts is not None and was.starts != now.starts:
        yield Difference(Kind.RESTARTED, name, "", f"start {was.starts}", f"start {now.starts}")


def _of_port(port: PortId, was: PortPicture, now: PortPicture | None) -> Iterator[Difference]:
    unit, key = port
    if now is None or (now.delivering is None and was.delivering is not None):
        yield Difference(Kind.NOT_KNOWN, unit, key, _state(was), "not read")
        return
    if was.delivering and not now.delivering:
        yield Difference(Kind.STUCK, unit, key, _state(was), _state(now))
        return
    if now.delivering and was.delivering is False:
        yield Difference(Kind.CAME_ON, unit, key, _state(was), _state(now))
        return
    if was.device is not None and now.device != was.device:
        yield Difference(Kind.DEVICE, unit, key, was.device, now.device or "not known")
    if was.device_class is not None and now.device_class != was.device_class:
        said = "not known" if now.device_class is None else f"class {now.device_class}"
        yield Difference(Kind.CLASS, unit, key, f"class {was.device_class}", said)
    if was.granted_w is not None and (now.granted_w is None or abs(now.granted_w - was.granted_w) > 0.1):
        said = "not known" if now.granted_w is None else f"{now.granted_w:.1f} W"
        yield Difference(Kind.GRANT, unit, key, f"{was.granted_w:.1f} W", said)
    if was.draw_w is not None:
        if now.draw_w is None:
            yield Difference(Kind.NOT_KNOWN, unit, key, f"{was.draw_w:.1f} W", "not known")
        elif abs(now.draw_w - was.draw_w) > max(SAME_W, was.draw_w * SAME_PERCENT / 100):
            yield Difference(Kind.WATTS, unit, key, f"{was.draw_w:.1f} W", f"{now.draw_w:.1f} W")


def _state(port: PortPicture) -> str:
    if port.delivering:
        on = "on" if port.device is None else f"on ({port.device})"
        return on if port.draw_w is None else f"{on}, {port.draw_w:.1f} W"
    state = "not known" if port.delivering is None else "off"
    return f"{state} ({port.fault})" if port.fault else state
