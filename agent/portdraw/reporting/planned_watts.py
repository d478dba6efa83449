"""The load schedule's questions about watts, answered by the power flow."""

from __future__ import annotations

from portdraw.plan.load_case import Case
from portdraw.plan.planned_load import LoadSchedule, PortWatts
from portdraw.plan.schedule import load_schedule
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.powerflow.planned_device import planned_device_w
from portdraw.powerflow.two_legs import (
    budget_on_ac_w,
    budget_on_feed_w,
    feed_class,
    feed_power,
    on_ac_w,
    on_feed_pd_w,
    standby_pd_w,
)
from portdraw.powerflow.unit_assumption import unit_assumptions


class PlannedWatts:
    """A `WattModel` of one site: cables, legs and budgets as the power flow works them out."""

    def __init__(self, site: Site, tree: Tree) -> None:
        self._site = site
        self._tree = tree

    def device(self, unit: str, port_key: str, case: Case) -> PortWatts:
        """Watts of a port with a device."""
        power = planned_device_w(self._site, unit, port_key, case)
        return PortWatts(power.pse_w, power.reason, power.assumed)

    def feed(self, feeder: str, port_key: str, outputs_w: float, *, carrying: bool) -> PortWatts:
        """Watts of a feeder's port for the unit below with these outputs: standing by, or carrying it."""
        below = self._site.units[feeder].ports[port_key].feeds_unit or ""
        unit = self._site.units[below]
        granted = feed_class(self._site, self._tree, below, (feeder, port_key))
        if carrying or granted is None:
            pd_w = on_feed_pd_w(unit, outputs_w)
        else:
            pd_w = standby_pd_w(unit, granted)
        power = feed_power(self._site, self._tree, below, pd_w, feed=(feeder, port_key))
        if power is None:
            return PortWatts(None, f"{feeder} port {port_key}: its watts can't be computed")
        return PortWatts(power.pse_w, power.reason, (*power.assumed, *unit_assumptions(below, unit, is_fed=True)))

    def ac_w(self, unit: str, outputs_w: float) -> float | None:
        """Watts that a unit on its supplies takes at AC; None for a unit without supplies."""
        owner = self._site.units[unit]
        return on_ac_w(owner, outputs_w) if owner.supplies else None

    def budget_on_ac_w(self, unit: str) -> float | None:
        """PSE watts that a unit may give on its supplies, None without supplies."""
        owner = self._site.units[unit]
        return budget_on_ac_w(owner) if owner.supplies else None

    def budget_on_feed_w(self, unit: str) -> float | None:
        """PSE watts that a unit may give on its PoE feed, None without a feed."""
        if self._tree.feeder_of(unit) is None:
            return None
        return budget_on_feed_w(self._site, self._tree, unit)


def planned_loads(site: Site, tree: Tree) -> LoadSchedule:
    """Work out the load schedule of a site with the power flow's watts."""
    return load_schedule(site, tree, PlannedWatts(site, tree))
