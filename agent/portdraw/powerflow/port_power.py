"""Planned watts of any port, of a device or of a unit below, in normal running; and what a class allows."""

from __future__ import annotations

from portdraw.plan.class_grant import SignatureClasses
from portdraw.plan.load_case import Case, signature_class
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree, reach
from portdraw.powerflow.planned_device import planned_device_w, planned_draws
from portdraw.powerflow.port_link import PortPower, class_pse_w, granted_class
from portdraw.powerflow.roll_up import carrying_legs, sweep
from portdraw.powerflow.unit_flow import CarriedBy


def planned_port_w(site: Site, tree: Tree, unit: str, port_key: str, case: Case) -> PortPower:
    """Planned watts of a port with every AC circuit live.

    A device: its planned watts and its cable. A feed: the unit below with its own planned ports, on the leg that it
    prefers, so standby where AC carries it. Nothing on the port, or planned off: 0 W. `pse_w` None has a `reason`.
    Raises KeyError for a unit or port that the site file does not have.
    """
    port = site.units[unit].ports[port_key]
    below = port.feeds_unit
    if below is None or port.off:
        return planned_device_w(site, unit, port_key, case)
    if below not in site.units:
        return PortPower(None, None, None, None, f"{unit} port {port_key}: {below} is not declared")
    if tree.tier(below) == 0:
        return PortPower(
            None, None, None, None, f"{unit} port {port_key}: units feed each other, no watts can be computed"
        )
    inside = {below} | reach({below}, tree.children)
    units = [name for name in tree.order() if name in inside and tree.tier(name) > 0]
    feeders = {feed[0]: CarriedBy.AC for name in units for feed in tree.feeds_of(name) if feed[0] not in units}
    legs = carrying_legs(site, tree, frozenset(), units, feeders)
    flow = sweep(site, tree, planned_draws(site, case, units), frozenset(), legs, units)[below]
    feed_w = flow.feeds_w.get((unit, port_key))
    first = next(iter(flow.feeds_w), None) == (unit, port_key)
    return PortPower(
        pd_w=flow.feed_pd_w if first else None,
        pse_w=feed_w,
        loss_w=flow.feed_loss_w if first and feed_w is not None else None,
        pd_v=flow.feed_pd_v if first else None,
        reason=flow.reasons[0] if flow.reasons else None,
        assumed=flow.assumed,
    )


def port_class(site: Site, unit: str, port_key: str) -> SignatureClasses | None:
    """The class that a planned port grants to what hangs on it, None where no class is declared or nothing hangs."""
    owner = site.units[unit]
    port = owner.ports.get(port_key)
    wanted = None if port is None else signature_class(site, port)
    return None if wanted is None else granted_class(owner, wanted)


def class_limit_w(device_class: SignatureClasses | None) -> float | None:
    """Watts at the PSE output that a class allows, None without a class. A pair is dual signature, both together."""
    return None if device_class is None else class_pse_w(device_class)
