"""What the units on one breaker show together: the circuit is probably out, or one unit is the odd one out.

A circuit is probably out from two agreeing units up. One unit alone tells of its supply, its plug or its circuit, and
nobody can say which. A unit behind a UPS, or with a second circuit, tells nothing of either.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from portdraw.judgement.ac_evidence import Neighbours
from portdraw.judgement.assessment import Availability, Leg
from portdraw.judgement.wording import list_text
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree

FEWEST_AGREEING = 2


class CircuitState(StrEnum):
    """How a circuit stands, as its units show it."""

    LIVE = "live"
    PROBABLY_OUT = "probably out"
    ONE_UNIT = "supply, plug or circuit"
    DISPUTED = "its units disagree"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class CircuitView:
    """One circuit: which of its units lost local AC, which have it, which don't tell, and who is the odd one out.

    Where the circuit is live the odd ones have lost what the others have: see their own supplies and plugs. Where it
    is probably out the odd ones say that they still have it: see to which breaker they are really wired.
    """

    circuit: str
    state: CircuitState
    lost: tuple[str, ...] = ()
    have: tuple[str, ...] = ()
    silent: tuple[str, ...] = ()
    odd: tuple[str, ...] = ()


def stands_on(site: Site, circuit: str, unit: str) -> bool:
    """Say whether all supplies of a unit hang on this one circuit, with no UPS between."""
    supplies = site.units[unit].supplies
    return bool(supplies) and all(supply.source == circuit for supply in supplies)


def circuit_views(site: Site, tree: Tree, local_ac: Mapping[str, Leg]) -> dict[str, CircuitView]:
    """Return each circuit as its units show it. `local_ac` has the leg "local AC" of each unit that has one."""
    return {
        circuit: _view(circuit, [name for name in tree.units_on(circuit) if stands_on(site, circuit, name)], local_ac)
        for circuit in site.circuits
    }


def _view(circuit: str, units: list[str], local_ac: Mapping[str, Leg]) -> CircuitView:
    standing = {name: local_ac[name].availability for name in units if name in local_ac}
    lost = tuple(name for name, one in standing.items() if one is Availability.LOST)
    have = tuple(name for name, one in standing.items() if one in (Availability.PROVEN, Availability.BELIEVED))
    silent = tuple(name for name in units if name not in lost and name not in have)
    if not lost:
        state = CircuitState.LIVE if have else CircuitState.UNKNOWN
        return CircuitView(circuit, state, lost, have, silent)
    if not have:
        state = CircuitState.PROBABLY_OUT if len(lost) >= FEWEST_AGREEING else CircuitState.ONE_UNIT
        return CircuitView(circuit, state, lost, have, silent)
    if len(lost) >= FEWEST_AGREEING and len(lost) > len(have):
        return CircuitView(circuit, CircuitState.PROBABLY_OUT, lost, have, silent, odd=have)
    if len(lost) < len(have) or len(lost) < FEWEST_AGREEING:
        return CircuitView(circuit, CircuitState.LIVE, lost, have, silent, odd=lost)
    return CircuitView(circuit, CircuitState.DISPUTED, lost, have, silent)


def neighbours_of(site: Site, tree: Tree, unit: str, views: Mapping[str, CircuitView]) -> Neighbours:
    """Return what the other units on a unit's circuit say for its being out; nothing where one of them has it."""
    circuits = tree.circuits_of(unit)
    if len(circuits) != 1 or not stands_on(site, circuits[0], unit):
        return Neighbours()
    view = views[circuits[0]]
    lost = tuple(name for name in view.lost if name != unit)
    have = tuple(name for name in view.have if name != unit)
    if not lost or have:
        return Neighbours()
    return Neighbours(len(lost), f"{list_text(lost)} on the same circuit lost it too")
