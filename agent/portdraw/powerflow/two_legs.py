"""A unit's two legs: what each would have to give, and what each lets the unit give on."""

from __future__ import annotations

from collections.abc import Sequence

from portdraw.electrical.type_table import MAINTAIN_A_CLASS_1_TO_4, MAINTAIN_A_CLASS_5_TO_8, PSE_TYPES
from portdraw.plan.class_grant import SignatureClasses, class_watts_at_pd
from portdraw.plan.load_case import signature_class
from portdraw.plan.site import Fed, Site, Supply, Unit
from portdraw.plan.tree import Tree
from portdraw.powerflow.port_link import (
    UNDECLARED_CLASS,
    PortId,
    PortPower,
    granted_class,
    port_link,
)

UNDECLARED_OWN_USE_W = 13.0
"""Own use of a unit that declares none: the upper end for a small pass-through switch. Common practice."""


def own_use_w(unit: Unit) -> float:
    """Watts that the unit itself takes at its DC input."""
    return UNDECLARED_OWN_USE_W if unit.own_use_w is None else unit.own_use_w


def fed_of(unit: Unit) -> Fed:
    """How the unit takes its feed; all of it undeclared where the file says nothing."""
    return unit.fed or Fed()


def output_efficiency(unit: Unit) -> float:
    """Share of the DC input that reaches the ports while AC carries."""
    return 1.0 if unit.pse is None else unit.pse.output_efficiency


def on_ac_by_supply_w(unit: Unit, outputs_w: float, live: Sequence[bool] | None = None) -> tuple[float, ...]:
    """Watts at AC of each supply while AC carries: (own use + outputs / output efficiency) / supply efficiency.

    Live modules share the load by their declared shares, equally where none is declared; in mode "single" the first
    live one has it all. Raises ValueError for a unit without a live supply.
    """
    states = _states(unit, live)
    if not any(states):
        raise ValueError("the unit has no live AC supply")
    load_w = own_use_w(unit) + outputs_w / output_efficiency(unit)
    if unit.supply_mode == "single":
        first = states.index(True)
        states = tuple(at == first for at in range(len(states)))
    weights = [_weight(supply) if state else 0.0 for supply, state in zip(unit.supplies, states, strict=True)]
    if not _all_declared(unit) or sum(weights) == 0:
        weights = [1.0 if state else 0.0 for state in states]
    whole = sum(weights)
    return tuple(
        load_w * weight / whole / supply.efficiency for weight, supply in zip(weights, unit.supplies, strict=True)
    )


def on_ac_w(unit: Unit, outputs_w: float, live: Sequence[bool] | None = None) -> float:
    """Watts at AC while AC carries, over all supplies. Raises ValueError for a unit without a live supply."""
    return sum(on_ac_by_supply_w(unit, outputs_w, live))


def on_feed_pd_w(unit: Unit, outputs_w: float) -> float:
    """Watts at the unit's PoE input while the feed carries: own use + outputs / fed efficiency."""
    return own_use_w(unit) + outputs_w / fed_of(unit).efficiency


def standby_pd_w(unit: Unit, feed_class: SignatureClasses) -> float:
    """Watts at the PoE input while AC carries and the feed is spare.

    A hidden feed takes nothing; an undeclared one counts as held. Held without a declared figure is the maintain
    current of its class at the highest voltage (IEEE 802.3: 10 mA, 16 mA from class 5).
    """
    fed = fed_of(unit)
    if fed.spare_feed == "hidden":
        return 0.0
    if fed.standby_w is not None:
        return fed.standby_w
    four_pair = isinstance(feed_class, tuple) or feed_class >= 5
    current_a = MAINTAIN_A_CLASS_5_TO_8 if four_pair else MAINTAIN_A_CLASS_1_TO_4
    return current_a * PSE_TYPES[4].pse_max_v


def feed_class(site: Site, tree: Tree, unit: str, feed: PortId | None = None) -> SignatureClasses | None:
    """The class that a unit's feeder port can grant it, None for a unit that no other feeds.

    `feed` names the feeder's port where the unit has several; None is its first.
    """
    feeder = tree.feeder_of(unit) if feed is None else feed
    if feeder is None:
        return None
    owner = site.units[feeder[0]]
    wanted = signature_class(site, owner.ports[feeder[1]])
    return granted_class(owner, UNDECLARED_CLASS if wanted is None else wanted)


def feed_power(
    site: Site, tree: Tree, unit: str, pd_w: float, source_v: float | None = None, feed: PortId | None = None
) -> PortPower | None:
    """What `pd_w` [W at the unit's PoE input] asks of its feeder's port; None for a unit that no other feeds.

    `source_v` [V] is the feeder port's voltage where it is not the declared one; `feed` as in `feed_class`.
    """
    feeder = tree.feeder_of(unit) if feed is None else feed
    if feeder is None:
        return None
    link = port_link(site, *feeder)
    return (link if source_v is None else link.at_voltage(source_v)).carry(pd_w)


def feeder_w(site: Site, tree: Tree, unit: str, outputs_w: float) -> float | None:
    """Watts at the feeder's PSE output when the feed carries the unit with `outputs_w` on its ports.

    None where the unit has no feed, or its cable cannot carry so much (`feed_power` has the reason).
    """
    power = feed_power(site, tree, unit, on_feed_pd_w(site.units[unit], outputs_w))
    return None if power is None else power.pse_w


def standby_feeder_w(site: Site, tree: Tree, unit: str) -> float | None:
    """Watts at the feeder's PSE output while AC carries the unit; None as in `feeder_w`."""
    granted = feed_class(site, tree, unit)
    if granted is None:
        return None
    power = feed_power(site, tree, unit, standby_pd_w(site.units[unit], granted))
    return None if power is None else power.pse_w


def budget_on_ac_w(unit: Unit, live: Sequence[bool] | None = None) -> float:
    """Watts that the unit may give on its ports while AC carries, with the given supplies live (all by default).

    The modules' shares by `supply_mode`, never above `pse.budget_w`, after derating for the place's heat.
    Modules without declared shares divide the budget evenly. Zero without a PSE or without a live supply.
    """
    states = _states(unit, live)
    if unit.pse is None or not any(states):
        return 0.0
    return min(_derated_w(unit), _modules_w(unit, states))


def budget_on_feed_w(
    site: Site, tree: Tree, unit: str, granted_pd_w: float | None = None, feed: PortId | None = None
) -> float:
    """Watts that the unit may give on its ports while its feed carries.

    max(0, min(fed.budget_w, pse.budget_w after derating, (granted x (1 - guard) - own use) x fed efficiency)).
    `granted_pd_w` is the allocation in force at the PD input; None takes what the feeder port's class gives there.
    Without a PSE declared (an extender) the grant alone; zero for a unit that no other feeds. `feed` as in
    `feed_class`.
    """
    here = site.units[unit]
    granted = feed_class(site, tree, unit, feed)
    if granted is None:
        return 0.0
    if granted_pd_w is None:
        granted_pd_w = class_watts_at_pd(granted)
    fed = fed_of(here)
    by_grant_w = (granted_pd_w * (1 - fed.guard_percent / 100) - own_use_w(here)) * fed.efficiency
    limits = [by_grant_w]
    if here.pse is not None:
        limits.append(_derated_w(here))
    if fed.budget_w is not None:
        limits.append(fed.budget_w)
    return max(0.0, min(limits))


def _derated_w(unit: Unit) -> float:
    assert unit.pse is not None, "only units with a PSE have a budget"
    budget_w = unit.pse.budget_w
    if unit.place_max_c is None:
        return budget_w
    return min([budget_w, *(step.budget_w for step in unit.derate if unit.place_max_c > step.above_c)])


def _modules_w(unit: Unit, states: tuple[bool, ...]) -> float:
    assert unit.pse is not None, "only units with a PSE have modules to share"
    count = len(unit.supplies)
    declared = _all_declared(unit)
    if unit.supply_mode == "single":
        first = unit.supplies[states.index(True)].pse_share_w
        return unit.pse.budget_w if first is None else first
    kept = {"combined": count, "n+1": max(1, count - 1), "n+n": max(1, count // 2)}[unit.supply_mode]
    shares = [_weight(supply) if declared else unit.pse.budget_w / kept for supply in unit.supplies]
    live_w = sum(share for share, state in zip(shares, states, strict=True) if state)
    if unit.supply_mode == "n+1" and count > 1:
        return min(sum(shares) - max(shares), live_w)
    if unit.supply_mode == "n+n":
        return min(sum(shares) / 2, live_w)
    return live_w


def _all_declared(unit: Unit) -> bool:
    return all(supply.pse_share_w is not None for supply in unit.supplies)


def _weight(supply: Supply) -> float:
    return supply.pse_share_w or 0.0


def _states(unit: Unit, live: Sequence[bool] | None) -> tuple[bool, ...]:
    return (True,) * len(unit.supplies) if live is None else tuple(live)
