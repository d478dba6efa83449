"""What a unit of the emulated site may give on its ports, on each leg, and which port it sheds next."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from portdraw.plan.site import Supply
from portdraw.rehearsal import class_power
from portdraw.rehearsal.wiring import PortState, UnitState


def on_ac_w(unit: UnitState, alive: Callable[[Supply], bool]) -> float:
    """Return the PoE watts [at the PSE outputs] that the live supply modules leave, by the unit's supply mode."""
    own_w = _own_w(unit)
    shares = [supply.pse_share_w for supply in unit.plan.supplies]
    if not shares or any(share is None for share in shares):
        return own_w
    every = [share for share in shares if share is not None]
    live = [s.pse_share_w for s in unit.plan.supplies if s.pse_share_w is not None and alive(s)]
    if not live:
        return 0.0
    mode = unit.plan.supply_mode
    if mode == "single":
        return min(own_w, max(live))
    if mode == "n+1":
        return min(own_w, sum(live), sum(every) - max(every))
    if mode == "n+n":
        return min(own_w, sum(live), sum(every) / 2)
    return min(own_w, sum(live))


def on_feed_w(unit: UnitState, feed_class: int) -> float:
    """Return the PoE watts [at the PSE outputs] that a feed of this class leaves: class at the PD, less own use."""
    fed = unit.plan.fed
    if fed is None:
        return 0.0
    granted_pd_w = class_power.PD_W[feed_class] * (1 - fed.guard_percent / 100)
    left_w = max(0.0, (granted_pd_w - unit.own_use_w) * fed.efficiency)
    declared = left_w if fed.budget_w is None else min(left_w, fed.budget_w)
    return min(declared, _own_w(unit))


def drawn_at_ac_w(unit: UnitState, alive: Callable[[Supply], bool]) -> float:
    """Return the watts [at AC] behind the unit's outputs and own use; live modules share by their shares."""
    pse = unit.plan.pse
    inside_w = unit.own_use_w + unit.outputs_w / (1.0 if pse is None else pse.output_efficiency)
    live = [supply for supply in unit.plan.supplies if alive(supply)]
    weights = [supply.pse_share_w or 1.0 for supply in live]
    return sum(
        inside_w * weight / sum(weights) / supply.efficiency for supply, weight in zip(live, weights, strict=True)
    )


def next_to_shed(unit: UnitState, carrying: Sequence[PortState]) -> list[PortState]:
    """Return what the unit switches off next, of the ports that carry current: one port, or all by its rule.

    Rules other than the two by port number and all at once are taken as lowest priority, then highest port.
    """
    rule = "" if unit.plan.pse is None else unit.plan.pse.shed
    if rule == "all-off":
        return list(carrying)
    if rule == "highest-port":
        return [max(carrying, key=lambda port: (port.group, port.number))]
    return [max(carrying, key=lambda port: (port.rank, port.group, port.number))]


def _own_w(unit: UnitState) -> float:
    pse = unit.plan.pse
    watts = 0.0 if pse is None else pse.budget_w
    hottest_c = unit.plan.place_max_c
    if hottest_c is not None:
        watts = min([watts, *(step.budget_w for step in unit.plan.derate if hottest_c > step.above_c)])
    return watts
