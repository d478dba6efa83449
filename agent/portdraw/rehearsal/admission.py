"""Who is switched on: what a port sets aside, in which order ports are asked, and which class each is granted."""

from __future__ import annotations

from collections.abc import Sequence

from portdraw.rehearsal import class_power, supply, wire
from portdraw.rehearsal.class_power import Signature
from portdraw.rehearsal.state import PortState, UnitState

FITS_W = 1e-9  # an equal sum fits


def booked_w(unit: UnitState, port: PortState, time_s: float) -> float:
    """Return the watts [at the PSE output] that a port has set aside, by the unit's way of booking."""
    if not port.on or port.granted is None:
        return 0.0
    if unit.pse.admission == "drawn":
        return port.draw_w
    class_w = class_power.at_pse_w(port.granted)
    if unit.pse.admission == "granted" and port.lldp_pd_w is not None and time_s < port.lldp_until_s:
        point = wire.settle(unit.live_v, port.ohm, supply.granted_pd_w(port, time_s))
        return class_w if point is None else min(class_w, point.source_w)
    return class_w


def in_order(unit: UnitState, asking: Sequence[PortState]) -> list[PortState]:
    """Return the ports that ask, in the order in which the unit takes them."""
    if unit.pse.admission_order == "priority":
        return sorted(asking, key=lambda port: (port.rank, port.place))
    if unit.pse.admission_order == "arrival":
        return sorted(asking, key=lambda port: (port.first_ask_s, port.place))
    return sorted(asking, key=lambda port: port.place)


def grant(unit: UnitState, asked: Signature, taken_w: float) -> Signature | None:
    """Return the best class that fits beside `taken_w`, demoted where it must be; None where it is refused."""
    free_w = unit.budget_w - unit.pse.guard_w - taken_w
    for offer in class_power.offers(asked, unit.pse.class_max):
        if class_power.at_pse_w(offer) <= free_w + FITS_W:
            return offer
    return None
