"""Which ports a unit switches off next when it runs short, by its own rule."""

from __future__ import annotations

from collections.abc import Sequence

from portdraw.rehearsal.state import PortState


def next_to_shed(rule: str, carrying: Sequence[PortState]) -> list[PortState]:
    """Return what goes next of the ports that carry current: one port, or all that the rule takes together.

    refuse-newcomers has no order of its own for ports that run already: the last to come are its newcomers.
    """
    if rule == "all-off":
        return list(carrying)
    if rule == "highest-port":
        return [max(carrying, key=lambda port: port.place)]
    if rule in ("newest-first", "refuse-newcomers"):
        return [max(carrying, key=lambda port: port.arrival)]
    if rule == "lowest-priority-bank":
        lowest = max(port.rank for port in carrying)
        return [port for port in carrying if port.rank == lowest]
    return [max(carrying, key=lambda port: (port.rank, port.place))]
