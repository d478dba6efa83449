"""What the next loss of AC would ask: every circuit that is still live, and all local AC without a generator.

Plain sums, before anything is shed: a need above its limit is what must be shed or goes dark.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.powerflow.limit_load import LimitLoad, limit_loads
from portdraw.powerflow.planned_device import Draws, complete_draws
from portdraw.powerflow.port_link import PortId
from portdraw.powerflow.roll_up import roll_up_change, roll_up_draws
from portdraw.powerflow.two_legs import own_use_w
from portdraw.powerflow.unit_flow import CarriedBy, UnitFlow

ALL_UNBACKED_AC = "all local AC without a generator"
NOTHING_MOVES = "nothing moves"
_SAME_W = 1e-6


@dataclass(frozen=True)
class CircuitLoss:
    """The loss of some AC circuits, from the state as it is.

    `limit`, `need_w` and `limit_w` are of the limit that is loaded most among those that the loss touches;
    `need_w` None: it can't be computed, `reason` says why, and it counts as the worst. `limits` has all that are
    touched, worst first. `moved_units` change legs, `dark_units` lose their last. `assumed` lists what the
    figures rest on undeclared.
    """

    what: str
    circuits: tuple[str, ...]
    limit: str
    need_w: float | None
    limit_w: float | None
    moved_units: tuple[str, ...]
    dark_units: tuple[str, ...]
    reason: str
    limits: tuple[LimitLoad, ...]
    assumed: tuple[str, ...]


def unbacked_circuits(site: Site) -> tuple[str, ...]:
    """AC circuits with no generator above their panel, in the file's order."""
    backed = {panel for generator in site.generators.values() for panel in generator.feeds}
    return tuple(name for name, circuit in site.circuits.items() if circuit.panel not in backed)


def next_losses(
    site: Site,
    tree: Tree,
    draws: Mapping[PortId, float],
    lost_circuits: frozenset[str] = frozenset(),
    case: Case = Case.TYPICAL,
) -> tuple[CircuitLoss, ...]:
    """One result for every circuit still live, in the file's order, then one for all local AC without a generator.

    `draws` and `case` as in `roll_up`; `lost_circuits` are out already. A UPS whose input goes carries on. The last
    is left out where no circuit without a generator is live.
    """
    whole = complete_draws(site, draws, case)
    flows = roll_up_draws(site, tree, whole, lost_circuits)
    loads = limit_loads(site, tree, flows, lost_circuits)
    now = _Now(lost_circuits, flows, {load.limit: load for load in loads})
    found = [
        _circuit_loss(site, tree, whole, now, f"circuit {name}", (name,))
        for name in site.circuits
        if name not in lost_circuits
    ]
    unbacked = tuple(name for name in unbacked_circuits(site) if name not in lost_circuits)
    if unbacked:
        found.append(_circuit_loss(site, tree, whole, now, ALL_UNBACKED_AC, unbacked))
    return tuple(found)


@dataclass(frozen=True)
class _Now:
    """The site as it is: its flows and its limits."""

    lost: frozenset[str]
    flows: Mapping[str, UnitFlow]
    limits: Mapping[str, LimitLoad]


def _circuit_loss(
    site: Site, tree: Tree, draws: Draws, now: _Now, what: str, circuits: tuple[str, ...]
) -> CircuitLoss:
    lost = now.lost | frozenset(circuits)
    flows, touched = roll_up_change(site, tree, draws, now.flows, lost, frozenset(circuits))
    names = tuple(name for name in site.units if name in touched)
    dark = tuple(name for name in names if now.flows[name].powered and not flows[name].powered)
    moved = tuple(name for name in names if flows[name].leg not in (now.flows[name].leg, CarriedBy.NONE))
    on_battery = {name for name, ups in site.ups.items() if ups.input in circuits}
    limits = [_darkened(site, name, now.flows[name]) for name in dark]
    limits.extend(_touched(now, limit_loads(site, tree, flows, lost, touched), moved, on_battery))
    limits.sort(key=lambda load: load.rank, reverse=True)
    worst = limits[0] if limits else LimitLoad("", NOTHING_MOVES, 0.0, 0.0)
    rests_on = {*moved, *dark, *(load.subject for load in limits if load.subject in site.units)}
    rests_on |= {below for name in rests_on for below in tree.children(name)}
    assumed = [line for name in names if name in rests_on for line in flows[name].assumed]
    return CircuitLoss(
        what,
        circuits,
        worst.limit,
        worst.need_w,
        worst.limit_w,
        moved,
        dark,
        worst.reason,
        tuple(limits),
        tuple(dict.fromkeys(assumed)),
    )


def _touched(now: _Now, then: Iterable[LimitLoad], moved: tuple[str, ...], on_battery: set[str]) -> list[LimitLoad]:
    """Limits that the loss loads more, lowers, or brings into play, and all of units that move."""
    found: list[LimitLoad] = []
    for load in then:
        was = now.limits.get(load.limit)
        touched = (
            was is None
            or load.need_w is None
            or was.need_w is None
            or load.need_w > was.need_w + _SAME_W
            or (load.limit_w or 0.0) < (was.limit_w or 0.0) - _SAME_W
        )
        if touched or load.subject in moved or load.subject in on_battery:
            found.append(load)
    return found


def _darkened(site: Site, name: str, before: UnitFlow) -> LimitLoad:
    """A unit that loses its last leg: all that it needs is lacking."""
    need_w = own_use_w(site.units[name]) + before.outputs_w if before.complete else None
    why = "" if before.complete else "; ".join(before.reasons)
    return LimitLoad(name, f"{name} has no other leg", need_w, 0.0, why)
