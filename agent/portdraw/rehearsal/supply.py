"""What a unit may give on its ports, on AC and on its feed, and what its supply modules then take at AC."""

from __future__ import annotations

from collections.abc import Sequence

from portdraw.plan.site import Supply
from portdraw.rehearsal import class_power
from portdraw.rehearsal.state import PortState, UnitState


def on_ac_w(unit: UnitState, live: Sequence[bool]) -> float:
    """Return the PoE watts [at the PSE outputs] that the live supply modules leave, by the unit's supply mode."""
    if not any(live):
        return 0.0
    shares = _shares_w(unit)
    live_w = [share for share, alive in zip(shares, live, strict=True) if alive]
    mode = unit.plan.supply_mode
    if mode == "single":
        modules_w = live_w[0]
    elif mode == "n+1" and len(shares) > 1:
        modules_w = min(sum(live_w), sum(shares) - max(shares))
    elif mode == "n+n" and len(shares) > 1:
        modules_w = min(sum(live_w), sum(shares) / 2)
    else:
        modules_w = sum(live_w)
    return min(own_w(unit), modules_w)


def on_feed_w(unit: UnitState, granted_pd_w: float) -> float:
    """Return the PoE watts [at the PSE outputs] that a grant [at the PD input] leaves: less guard and own use."""
    left_w = granted_pd_w * (1 - unit.fed.guard_percent / 100) - unit.own_use_w
    left_w *= unit.fed.efficiency
    if unit.fed.budget_w is not None:
        left_w = min(left_w, unit.fed.budget_w)
    return max(0.0, min(left_w, own_w(unit)))


def own_w(unit: UnitState) -> float:
    """Return the PoE watts that the unit's PSE can give in the heat of its place."""
    watts = unit.pse.budget_w
    hottest_c = unit.plan.place_max_c
    if hottest_c is not None:
        watts = min([watts, *(step.budget_w for step in unit.plan.derate if hottest_c > step.above_c)])
    return watts


def granted_pd_w(port: PortState, time_s: float) -> float:
    """Return what a feeder's port grants at the PD input: LLDP's old word until the new one, else the class."""
    if port.granted is None:
        return 0.0
    if port.lldp_pd_w is not None and time_s < port.lldp_until_s:
        return port.lldp_pd_w
    return class_power.at_pd_w(port.granted)


def drawn_at_ac_w(unit: UnitState, share: float, live: Sequence[bool]) -> tuple[float, ...]:
    """Return the watts [at AC] of each module, with `share` of the unit's load on AC, split by their shares."""
    inside_w = share * (unit.own_use_w + unit.outputs_w / unit.pse.output_efficiency)
    weights = [watts if alive else 0.0 for watts, alive in zip(_shares_w(unit), live, strict=True)]
    if unit.plan.supply_mode == "single" and True in live:
        weights = [1.0 if at == list(live).index(True) else 0.0 for at in range(len(live))]
    if sum(weights) == 0:
        weights = [1.0 if alive else 0.0 for alive in live]
    whole = sum(weights)
    return tuple(
        inside_w * weight / whole / supply.efficiency if whole else 0.0
        for supply, weight in zip(unit.plan.supplies, weights, strict=True)
    )


def _shares_w(unit: UnitState) -> list[float]:
    """Return the modules' shares; where one does not say, all are equal and make up the unit's budget."""
    supplies: tuple[Supply, ...] = unit.plan.supplies
    declared = [supply.pse_share_w for supply in supplies if supply.pse_share_w is not None]
    if len(declared) == len(supplies):
        return declared
    count = len(supplies)
    counted = {"single": 1, "combined": count, "n+1": max(1, count - 1), "n+n": max(1, count // 2)}
    return [unit.pse.budget_w / counted[unit.plan.supply_mode]] * count
