"""What holds on any site: the balance, and what other names and more cable can never do."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.powerflow.balance import check_balance
from tests.powerflow.sites import device, feed, site, unit

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.powerflow.planned_device import planned_draws
from portdraw.powerflow.roll_up import roll_up
from portdraw.powerflow.unit_flow import UnitFlow

SEEDED = settings(deadline=None, derandomize=True, max_examples=150)
LENGTHS = st.integers(5, 100)
LOST = st.sampled_from([frozenset(), frozenset({"main"}), frozenset({"side"}), frozenset({"main", "side"})])


@st.composite
def trees(draw: st.DrawFn, *, boosted_only: bool = False) -> dict[str, Any]:
    """Units by name: a root on a UPS, the others each below an earlier one, with up to three devices."""
    units: dict[str, Any] = {"u0": unit("ups", {"1": device("d0-1")}, fed=None)}
    for number in range(1, draw(st.integers(1, 6))):
        kinds = draw(st.lists(st.sampled_from(["camera", "camera", "light"]), max_size=3))
        ports = {str(at): device(f"d{number}-{at}", draw(LENGTHS), kind) for at, kind in enumerate(kinds, 1)}
        name = f"u{number}"
        units[name] = unit(draw(st.sampled_from(["main", "side", None])), ports)
        units[name]["fed"]["prefers"] = draw(st.sampled_from(["ac", "feed"]))
        if not boosted_only:
            units[name]["fed"]["output"] = draw(st.sampled_from(["boosted", "follows-input"]))
        above = units[f"u{draw(st.integers(0, number - 1))}"]
        above["ports"][str(len(above["ports"]) + 10)] = feed(name, draw(LENGTHS))
    return units


def build(units: dict[str, Any]) -> Site:
    """The site of such units."""
    return site(copy.deepcopy(units), ups={"ups": {"input": "main", "rating_w": 5000, "battery_wh": 1000}})


def flows_of(found: Site, lost: frozenset[str]) -> dict[str, UnitFlow]:
    """Noon, as planned."""
    return roll_up(found, Tree(found), planned_draws(found, Case.TYPICAL).by_port(), lost)


@SEEDED
@given(trees(boosted_only=True), LOST)
def test_the_balance_closes(units: dict[str, Any], lost: frozenset[str]) -> None:
    found = build(units)
    flows = flows_of(found, lost)
    if all(flow.complete for flow in flows.values()):
        check_balance(found, flows, Case.TYPICAL)
    else:
        assert any("no operating point" in reason for flow in flows.values() for reason in flow.reasons)


@SEEDED
@given(trees(), LOST)
def test_names_do_not_matter(units: dict[str, Any], lost: frozenset[str]) -> None:
    names = {name: f"z{97 - number} {name}" for number, name in enumerate(units)}
    renamed: dict[str, Any] = {}
    for name, part in reversed(copy.deepcopy(units).items()):
        for port in part["ports"].values():
            if "feeds" in port:
                port["feeds"] = names[port["feeds"]]
        renamed[names[name]] = part
    one, other = flows_of(build(units), lost), flows_of(build(renamed), lost)
    for name, flow in one.items():
        twin = other[names[name]]
        assert (flow.leg, flow.powered, flow.complete) == (twin.leg, twin.powered, twin.complete)
        assert flow.outputs_w == pytest.approx(twin.outputs_w)
        assert flow.budget_w == pytest.approx(twin.budget_w)
        assert flow.feeder_w == pytest.approx(twin.feeder_w)
        assert flow.ac_w == pytest.approx(twin.ac_w)


@SEEDED
@given(trees(), LOST, st.integers(1, 50))
def test_more_cable_never_more_volts(units: dict[str, Any], lost: frozenset[str], more_m: int) -> None:
    longer = copy.deepcopy(units)
    for part in longer.values():
        for port in part["ports"].values():
            port["cable"]["length_m"] += more_m
    near, far = flows_of(build(units), lost), flows_of(build(longer), lost)
    for name, flow in far.items():
        near_v = near[name].feed_pd_v
        if flow.feed_pd_v is not None and flow.complete:
            assert near_v is not None
            assert flow.feed_pd_v <= near_v + 1e-6
