"""One breaker, several units: when a circuit is probably out, and who is the odd one out."""

from __future__ import annotations

import pytest
from tests.judgement.scene import ferry_terminal

from portdraw.judgement.assessment import Availability, Carrying, Leg
from portdraw.judgement.circuit_inference import CircuitState, circuit_views, neighbours_of, stands_on
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree

BERTHS = ("berth-1", "berth-2", "entry-lanes", "exit-lanes")


def on_one_circuit() -> Site:
    """The ferry terminal with four units on quay-3."""
    site = ferry_terminal()
    supply = site.units["berth-1"].supplies
    units = {
        name: unit.model_copy(update={"supplies": supply}) for name, unit in site.units.items() if name in BERTHS
    }
    return site.model_copy(update={"units": {**site.units, **units}})


SITE = on_one_circuit()
TREE = Tree(SITE)
_STATE = {"+": Availability.BELIEVED, "-": Availability.LOST, "?": Availability.UNKNOWN}


def legs(standing: str) -> dict[str, Leg]:
    return {
        name: Leg("local AC", "quay-3", _STATE[one], Carrying.UNKNOWN)
        for name, one in zip(BERTHS, standing, strict=True)
    }


@pytest.mark.parametrize(
    ("standing", "state", "odd"),
    [
        ("++++", CircuitState.LIVE, ()),
        ("-???", CircuitState.ONE_UNIT, ()),
        ("--??", CircuitState.PROBABLY_OUT, ()),
        ("----", CircuitState.PROBABLY_OUT, ()),
        ("-+++", CircuitState.LIVE, ("berth-1",)),
        ("-+??", CircuitState.LIVE, ("berth-1",)),
        ("---+", CircuitState.PROBABLY_OUT, ("exit-lanes",)),
        ("--++", CircuitState.DISPUTED, ()),
        ("????", CircuitState.UNKNOWN, ()),
    ],
)
def test_a_circuit_as_its_units_show_it(standing: str, state: CircuitState, odd: tuple[str, ...]) -> None:
    view = circuit_views(SITE, TREE, legs(standing))["quay-3"]
    assert (view.state, view.odd) == (state, odd)


@pytest.mark.parametrize(("standing", "lost"), [("?--?", 2), ("?-??", 1), ("?--+", 0), ("-???", 0)])
def test_neighbours_speak_only_where_none_of_them_has_ac(standing: str, lost: int) -> None:
    views = circuit_views(SITE, TREE, legs(standing))
    assert neighbours_of(SITE, TREE, "berth-1", views).lost == lost


def test_a_unit_behind_a_ups_tells_nothing_of_the_circuit_before_it() -> None:
    core = SITE.units["core"]
    assert core.supplies[0].source in SITE.ups
    circuit = SITE.ups[core.supplies[0].source].input
    assert not stands_on(SITE, circuit, "core")
    assert stands_on(SITE, "quay-3", "berth-1")
