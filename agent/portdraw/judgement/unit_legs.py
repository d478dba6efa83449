"""The legs of units as they were judged: one by its name, and the circuits that are out by all of them."""

from __future__ import annotations

from collections.abc import Sequence

from portdraw.judgement.assessment import Availability, Leg, UnitAssessment
from portdraw.judgement.legs import LOCAL_AC
from portdraw.plan.tree import Tree

_THERE = (Availability.PROVEN, Availability.BELIEVED)


def leg_of(unit: UnitAssessment, name: str) -> Leg | None:
    """Return a unit's leg by its name, None where it has no such leg."""
    return next((leg for leg in unit.legs if leg.name == name), None)


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
