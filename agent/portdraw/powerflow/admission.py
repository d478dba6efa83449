"""Which ports a unit lets on, at which class, and what it sets aside for them.

Ports ask in the unit's order. By class, a port is let on at the highest class that still fits and not above what
was asked, else refused; what is set aside stays until the port is renegotiated or powered anew. By granted watts
the same, with the watts that are known to be granted. By drawn watts nothing is set aside.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import NamedTuple

from portdraw.plan.class_grant import SignatureClasses, granted_of
from portdraw.powerflow.network import NetUnit
from portdraw.powerflow.port_link import PortId, class_pse_w
from portdraw.powerflow.shedding import STEP_W


class Admitted(NamedTuple):
    """By place among the ports: watts set aside [W at the PSE output] and classes granted; and who was refused."""

    booked_w: tuple[float, ...]
    classes: tuple[SignatureClasses, ...]
    refused: frozenset[int]


def admit(
    unit: NetUnit,
    asking: Collection[int],
    limit_w: float,
    granted_w: Mapping[PortId, float],
    takes_w: Sequence[float],
    before: Admitted | None = None,
    staying: Collection[int] = (),
) -> Admitted:
    """Let ports on, in the unit's order, within `limit_w` less its guard band.

    With `before`, ports in `staying` keep what they have and `asking` come after them. A device that surely takes
    more [W at the PSE output, by port] than the lower class which it was granted is cut at once: its watts are free.
    """
    classes = [port.classes for port in unit.ports] if before is None else list(before.classes)
    booked = [0.0] * len(unit.ports)
    refused = set() if before is None else {at for at in before.refused if at not in asking}
    if before is not None:
        for at in staying:
            booked[at] = before.booked_w[at]
    left_w = limit_w - unit.guard_w - sum(booked)
    for at in unit.asking_order:
        if at not in asking:
            continue
        port = unit.ports[at]
        known_w = granted_w.get((unit.name, port.key)) if unit.admission == "granted" else None
        # a device that was read delivering is on, whatever its class says
        offer: SignatureClasses | None = None if port.refused and port.child >= 0 else port.classes
        while offer is not None:
            needs_w = class_pse_w(offer) if known_w is None else known_w
            if needs_w <= left_w + STEP_W:
                break
            offer = None if known_w is not None else _lower(offer)
        if offer is None:
            refused.add(at)
            continue
        classes[at] = offer
        if offer != port.classes and port.child < 0 and takes_w[at] > needs_w + STEP_W:
            continue
        booked[at] = needs_w
        left_w -= needs_w
    return Admitted(tuple(booked), tuple(classes), frozenset(refused))


def _lower(offer: SignatureClasses) -> SignatureClasses | None:
    """The next class down; class 3 and below, and dual signature, are granted or refused."""
    if isinstance(offer, tuple) or offer <= 3:
        return None
    return granted_of(offer, offer - 1)


def static_grant(unit: NetUnit) -> Admitted:
    """What ports that book by drawn watts grant: all that their hardware can, nothing set aside."""
    found = unit.memo.get("static grant")
    if not isinstance(found, Admitted):
        refused = frozenset(port.at for port in unit.feed_ports if port.refused)
        found = Admitted((), tuple(port.classes for port in unit.ports), refused)
        unit.memo["static grant"] = found
    return found
