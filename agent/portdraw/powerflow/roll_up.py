"""From leaves to sources: which leg carries each unit, and how many watts flow, for one state of the AC circuits.

Plain sums: nothing is shed, demoted or refused here. A unit whose outputs follow its input couples its ports
to its feed; that is solved by sweeps, from the leaves up and from the sources down, with a bound on the rounds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from portdraw.electrical.cable import Refusal
from portdraw.plan.load_case import Case
from portdraw.plan.site import Site, Unit
from portdraw.plan.tree import Tree
from portdraw.powerflow.planned_device import Draws, complete_draws
from portdraw.powerflow.port_link import UNDECLARED_CLASS, PortId, PortPower, port_link
from portdraw.powerflow.two_legs import (
    budget_on_ac_w,
    budget_on_feed_w,
    fed_of,
    feed_class,
    feed_power,
    on_ac_by_supply_w,
    on_feed_pd_w,
    standby_pd_w,
)
from portdraw.powerflow.unit_assumption import unit_assumptions
from portdraw.powerflow.unit_flow import CarriedBy, UnitFlow

_ROUNDS = 60
_SETTLED_V = 1e-7


def roll_up(
    site: Site,
    tree: Tree,
    draws: Mapping[PortId, float],
    lost_circuits: frozenset[str] = frozenset(),
    case: Case = Case.TYPICAL,
) -> dict[str, UnitFlow]:
    """Watts of every unit, with the given AC circuits lost.

    `draws` [W at the PSE output] holds device ports by (unit, printed port); ports without a draw take the plan's
    watts of `case` and are named in `assumed`. A UPS whose input is lost carries on.
    """
    return roll_up_draws(site, tree, complete_draws(site, draws, case), lost_circuits)


def roll_up_draws(site: Site, tree: Tree, draws: Draws, lost_circuits: frozenset[str]) -> dict[str, UnitFlow]:
    """The same for draws that are complete already."""
    legs = carrying_legs(site, tree, lost_circuits)
    return sweep(site, tree, draws, lost_circuits, legs, tree.order())


def live_supplies(site: Site, unit: Unit, lost_circuits: frozenset[str]) -> tuple[bool, ...]:
    """Which of a unit's supplies have power. A UPS carries on without its input; an undeclared source has none."""
    return tuple(
        supply.source in site.ups or (supply.source in site.circuits and supply.source not in lost_circuits)
        for supply in unit.supplies
    )


def carrying_legs(
    site: Site,
    tree: Tree,
    lost_circuits: frozenset[str],
    units: Sequence[str] | None = None,
    above: Mapping[str, CarriedBy] | None = None,
) -> dict[str, CarriedBy]:
    """Which leg carries each unit, from the sources down; of all units, or of some with the legs of those `above`."""
    legs: dict[str, CarriedBy] = dict(above or {})
    for name in reversed(tree.order() if units is None else units):
        unit = site.units[name]
        has_ac = any(live_supplies(site, unit, lost_circuits))
        has_feed = bool(live_feeds(site, tree, name, legs))
        if has_ac and has_feed and fed_of(unit).spare_feed != "hidden":
            prefers = fed_of(unit).prefers
            legs[name] = {"ac": CarriedBy.AC, "feed": CarriedBy.FEED}.get(prefers, CarriedBy.EITHER)
        elif has_ac:
            legs[name] = CarriedBy.AC
        else:
            legs[name] = CarriedBy.FEED if has_feed else CarriedBy.NONE
    return legs


def live_feeds(site: Site, tree: Tree, unit: str, legs: Mapping[str, CarriedBy]) -> tuple[PortId, ...]:
    """Feeder ports that can carry a unit: of a feeder with power, and not planned off; in the order of its inputs."""
    return tuple(
        feed
        for feed in tree.feeds_of(unit)
        if not site.units[feed[0]].ports[feed[1]].off and legs.get(feed[0], CarriedBy.NONE) is not CarriedBy.NONE
    )


def sweep(
    site: Site,
    tree: Tree,
    draws: Draws,
    lost_circuits: frozenset[str],
    legs: Mapping[str, CarriedBy],
    units: Sequence[str],
    others: Mapping[str, UnitFlow] | None = None,
) -> dict[str, UnitFlow]:
    """Sum `units` (leaves first) until the voltages of units that follow their input stand still.

    `others` are flows of units that stay as they are; they are part of the result.
    """
    volts: dict[str, float] = {}
    flows: dict[str, UnitFlow] = {}
    for _ in range(_ROUNDS):
        flows = dict(others or {})
        for name in units:
            flows[name] = _unit_flow(site, tree, draws, lost_circuits, legs, flows, volts, name)
        found = {name: flows[name].feed_pd_v for name in units if _follows_input(site.units[name], flows[name])}
        settled = {name: pd_v for name, pd_v in found.items() if pd_v is not None}
        if all(abs(pd_v - volts.get(name, 0.0)) < _SETTLED_V for name, pd_v in settled.items()):
            return flows
        volts = settled
    said = "the voltages of units that follow their input do not settle: no operating point"
    return {
        name: replace(flow, feeder_w=None, complete=False, reasons=(*flow.reasons, f"{name}: {said}"))
        if _follows_input(site.units[name], flow)
        else flow
        for name, flow in flows.items()
    }


def _unit_flow(
    site: Site,
    tree: Tree,
    draws: Draws,
    lost_circuits: frozenset[str],
    legs: Mapping[str, CarriedBy],
    flows: Mapping[str, UnitFlow],
    volts: Mapping[str, float],
    name: str,
) -> UnitFlow:
    unit = site.units[name]
    leg = legs[name]
    is_fed = tree.feeder_of(name) is not None
    said = (*unit_assumptions(name, unit, is_fed=is_fed), *draws.assumed.get(name, ()))
    if leg is CarriedBy.NONE:
        return UnitFlow(0.0, 0.0, leg, 0.0, 0.0, powered=False, assumed=said)
    outputs = _outputs(site, draws, flows, volts.get(name), name)
    live = live_supplies(site, unit, lost_circuits)
    on_ac = leg in (CarriedBy.AC, CarriedBy.EITHER)
    on_feed = leg in (CarriedBy.FEED, CarriedBy.EITHER)
    supplies_w = on_ac_by_supply_w(unit, outputs.watts, live) if on_ac else (0.0,) * len(unit.supplies)
    feeds = {
        feed: _feed_power(site, tree, name, feed, at, outputs.watts if on_feed else None, volts.get(feed[0]))
        for at, feed in enumerate(live_feeds(site, tree, name, legs))
    }
    first = next(iter(feeds), None)
    carrying = PortPower(0.0, 0.0, 0.0, None) if first is None else feeds[first]
    budgets = [budget_on_ac_w(unit, live)] if on_ac else []
    budgets += [budget_on_feed_w(site, tree, name, feed=first)] if on_feed else []
    return UnitFlow(
        outputs_w=outputs.watts,
        budget_w=min(budgets),
        leg=leg,
        ac_w=sum(supplies_w, 0.0),
        feeder_w=carrying.pse_w,
        powered=True,
        feeds_w={feed: power.pse_w for feed, power in feeds.items()},
        supplies_w=supplies_w,
        feed_pd_w=carrying.pd_w or 0.0,
        feed_pd_v=carrying.pd_v,
        feed_loss_w=carrying.loss_w or 0.0,
        complete=outputs.complete and all(power.pse_w is not None for power in feeds.values()),
        reasons=(*outputs.reasons, *(line for power in feeds.values() for line in _unpowered(power))),
        assumed=tuple(dict.fromkeys((*said, *(line for power in feeds.values() for line in power.assumed)))),
    )


def _feed_power(
    site: Site,
    tree: Tree,
    name: str,
    feed: PortId,
    at: int,
    outputs_w: float | None,
    source_v: float | None,
) -> PortPower:
    """One feed's watts: the whole on the first, standby on the others; the whole on each where they share.

    `outputs_w` None: AC carries, and every feed is spare. How shared feeds divide a load is not known.
    """
    unit = site.units[name]
    if outputs_w is not None and (at == 0 or unit.feeds_mode == "shared"):
        pd_w = on_feed_pd_w(unit, outputs_w)
    else:
        granted = feed_class(site, tree, name, feed)
        pd_w = standby_pd_w(unit, UNDECLARED_CLASS if granted is None else granted)
    power = feed_power(site, tree, name, pd_w, source_v, feed)
    assert power is not None, "a named feed exists"
    return power


@dataclass(frozen=True)
class _Outputs:
    """Sum of a unit's ports [W at the PSE output]; `complete` False where some of it is not known."""

    watts: float
    complete: bool
    reasons: tuple[str, ...]


def _outputs(site: Site, draws: Draws, flows: Mapping[str, UnitFlow], port_v: float | None, name: str) -> _Outputs:
    unit = site.units[name]
    reasons = list(draws.unknown.get(name, ()))
    complete = not reasons
    total_w = 0.0
    for key, draw_w in draws.watts.get(name, {}).items():
        if port_v is None or draw_w == 0 or key not in unit.ports:
            total_w += draw_w
            continue
        # the same constant-power device, from another voltage at the port
        link = port_link(site, name, key)
        device_pd_w = link.from_port(draw_w).pd_w
        power = link.at_voltage(port_v).carry(draw_w if device_pd_w is None else device_pd_w)
        reasons.extend(_unpowered(power))
        complete = complete and power.pse_w is not None
        total_w += 0.0 if power.pse_w is None else power.pse_w
    for key, port in unit.ports.items():
        below = port.feeds_unit
        if below is None or below not in site.units:
            continue
        flow = flows.get(below)
        feed_w = None if flow is None else flow.feeds_w.get((name, key), 0.0)
        if feed_w is None:
            reasons.append(f"{name} port {key}: the watts of {below} can't be computed")
        else:
            total_w += feed_w
        if flow is not None and not flow.complete and feed_w is not None:
            reasons.append(f"{name} port {key}: the watts of {below} are known in part only")
        complete = complete and flow is not None and flow.complete
    return _Outputs(total_w, complete, tuple(reasons))


def _unpowered(power: PortPower) -> tuple[str, ...]:
    """Why a port's load has no power; watts above its class are a limit like others, held where limits are."""
    return () if power.reason is None or power.refusal is Refusal.PORT_CLASS else (power.reason,)


def _follows_input(unit: Unit, flow: UnitFlow) -> bool:
    on_feed = flow.leg in (CarriedBy.FEED, CarriedBy.EITHER)
    return on_feed and fed_of(unit).output != "boosted"
