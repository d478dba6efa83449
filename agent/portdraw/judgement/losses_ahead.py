"""What the next loss would ask, from today's state: circuits that are out, supplies and feeds that are lost."""

from __future__ import annotations

from collections.abc import Sequence, Set
from functools import lru_cache

from portdraw.judgement.assessment import Availability, Leg, NextLoss, UnitAssessment
from portdraw.judgement.legs import LOCAL_AC, POE_FEED
from portdraw.judgement.silent_ports import silent_draws
from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.plan.site_itself import SiteItself
from portdraw.plan.tree import Tree
from portdraw.powerflow.next_loss import CircuitLoss, next_losses
from portdraw.powerflow.port_link import PortId
from portdraw.powerflow.roll_up import reach

_THERE = (Availability.PROVEN, Availability.BELIEVED)


def losses_ahead(site: Site, tree: Tree, units: Sequence[UnitAssessment], case: Case) -> tuple[NextLoss, ...]:
    """Return the loss of each live circuit, then of all local AC without a generator, each on the draws of now.

    Draws that are not known are the largest planned ones: what can't be known counts as the worse, and is named.
    """
    out = circuits_out(tree, units)
    found = next_losses(*_as_it_stands(site, units, out, tree), draws_now(units), out, case)
    unread = [unit.unit for unit in units if _counts_plan(unit)]
    return tuple(_told(loss, unread, tree, site.policy.margin_after_failure_percent) for loss in found)


def _told(loss: CircuitLoss, unread: Sequence[str], tree: Tree, keep_percent: float) -> NextLoss:
    rests_on = _rests_on(loss, tree) if unread else frozenset()
    return NextLoss(
        loss.what,
        loss.limit,
        loss.need_w,
        loss.limit_w,
        loss.moved_units,
        loss.reason,
        assumed=tuple(name for name in unread if name in rests_on),
        keep_percent=keep_percent,
    )


def _counts_plan(unit: UnitAssessment) -> bool:
    """Say whether planned watts stand for some of a unit's draw: a device port is not told, nor the unit's total."""
    silent = [port for port in unit.ports if port.draw_w is None and port.feeds_unit is None]
    return unit.total_w is None and any(_largest_w(port.planned_max_w, port.class_limit_w) for port in silent)


def _rests_on(loss: CircuitLoss, tree: Tree) -> Set[str]:
    """Return the units whose draw is in the need of a loss: those below its limit; all for a UPS or a circuit."""
    subject = loss.limits[0].subject if loss.limits else ""
    names = set(tree.order())
    return {subject} | reach({subject}, tree.children) if subject in names else names


def circuits_out(tree: Tree, units: Sequence[UnitAssessment]) -> frozenset[str]:
    """Return the circuits that are probably out: a unit on it lost its local AC, and none on it still has it."""
    by_circuit: dict[str, list[Availability]] = {}
    for unit in units:
        ac = leg_of(unit, LOCAL_AC)
        circuits = tree.circuits_of(unit.unit)
        if ac is not None and len(circuits) == 1:
            by_circuit.setdefault(circuits[0], []).append(ac.availability)
    return frozenset(
        circuit
        for circuit, found in by_circuit.items()
        if Availability.LOST in found and not any(one in _THERE for one in found)
    )


def draws_now(units: Sequence[UnitAssessment]) -> dict[PortId, float]:
    """Return the draws [W at the PSE output] of all ports that feed no unit, the worse where they are not known.

    Of a unit that tells only its total, what its ports do not tell is shared out by their plan.
    """
    draws: dict[PortId, float] = {}
    for unit in units:
        told = [port for port in unit.ports if port.draw_w is not None]
        silent = [port for port in unit.ports if port.draw_w is None]
        draws.update(
            {(unit.unit, port.port): port.draw_w for port in told if port.draw_w is not None and not port.feeds_unit}
        )
        told_w = sum(port.draw_w for port in told if port.draw_w is not None)
        largest = {port.port: _largest_w(port.planned_max_w, port.class_limit_w) for port in silent}
        feeds = {port.port for port in silent if port.feeds_unit is not None}
        shared = silent_draws(largest, unit.total_w, told_w)
        draws.update({(unit.unit, port): watts for port, watts in shared.items() if port not in feeds})
    return draws


def leg_of(unit: UnitAssessment, name: str) -> Leg | None:
    """Return a unit's leg by its name, None where it has no such leg."""
    return next((leg for leg in unit.legs if leg.name == name), None)


def _largest_w(planned_max_w: float | None, class_limit_w: float | None) -> float | None:
    return planned_max_w if planned_max_w is not None else class_limit_w


def _as_it_stands(site: Site, units: Sequence[UnitAssessment], out: frozenset[str], tree: Tree) -> tuple[Site, Tree]:
    """Return the site without the supplies and feeds that are lost by themselves, not by their circuit."""
    without_ac: list[str] = []
    feeds_off: list[PortId] = []
    for unit in units:
        ac, feed = leg_of(unit, LOCAL_AC), leg_of(unit, POE_FEED)
        by_circuit = set(tree.circuits_of(unit.unit)) <= out
        if ac is not None and ac.availability is Availability.LOST and not by_circuit:
            without_ac.append(unit.unit)
        if feed is not None and feed.availability is Availability.LOST:
            feeds = tree.feeds_of(unit.unit)
            feeds_off += [(feeder, key) for feeder, key in feeds if feed.source == f"{feeder} port {key}"]
    if not without_ac and not feeds_off:
        return site, tree
    return _without(SiteItself(site), frozenset(without_ac), frozenset(feeds_off))


@lru_cache(maxsize=2)  # what is lost stays so for many cycles
def _without(of: SiteItself, without_ac: frozenset[str], feeds_off: frozenset[PortId]) -> tuple[Site, Tree]:
    changed = dict(of.site.units)
    for name in without_ac:
        changed[name] = changed[name].model_copy(update={"supplies": ()})
    for feeder, key in feeds_off:
        port = changed[feeder].ports[key].model_copy(update={"off": True})
        changed[feeder] = changed[feeder].model_copy(update={"ports": {**changed[feeder].ports, key: port}})
    today = of.site.model_copy(update={"units": changed})
    return today, Tree(today)
