"""Who feeds whom: order, tiers, rings and circuits."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.plan.samples import drawn

from portdraw.plan.tree import Tree


def site_of(edges: list[tuple[str, str]], names: str = "") -> Tree:
    """A site in which each edge is a feed, from a unit to a unit."""
    units: dict[str, Any] = {
        name: {"ports": {}} for name in dict.fromkeys([*names, *(n for edge in edges for n in edge)])
    }
    for number, (feeder, below) in enumerate(edges, 1):
        units[feeder]["ports"][str(number)] = {"feeds": below}
    return Tree(drawn(units))


def test_chain() -> None:
    tree = site_of([("a", "b"), ("b", "c"), ("a", "d")])
    assert tree.order() == ("c", "d", "b", "a")
    assert [tree.tier(name) for name in "abcd"] == [1, 2, 3, 2]
    assert tree.feeder_of("c") == ("b", "2")
    assert tree.feeder_of("a") is None
    assert tree.children("a") == ("b", "d")
    assert tree.cycles() == ()


def test_rings_are_told_once_and_have_no_tier() -> None:
    tree = site_of([("a", "b"), ("b", "c"), ("c", "b"), ("d", "d"), ("e", "a")])
    assert tree.cycles() == (("b", "c"), ("d",))
    assert [tree.tier(name) for name in "eabcd"] == [1, 2, 0, 0, 0]
    assert sorted(tree.order()) == ["a", "b", "c", "d", "e"]


def test_inputs_come_in_the_order_of_their_names() -> None:
    units = {
        "a": {"ports": {"10": {"feeds": "c/in-2"}}},
        "b": {"ports": {"2": {"feeds": "c/in-1"}}},
        "c": {},
    }
    tree = Tree(drawn(units))
    assert tree.feeds_of("c") == (("b", "2"), ("a", "10"))
    assert tree.feeder_of("c") == ("b", "2")


def test_circuits_through_a_ups() -> None:
    units = {
        "a": {"supplies": [{"from": "battery"}, {"from": "slip-2"}, {"from": "slip-2"}]},
        "b": {"supplies": [{"from": "slip-1"}]},
    }
    tree = Tree(drawn(units, ups={"battery": {"input": "slip-1", "rating_w": 500, "battery_wh": 100}}))
    assert tree.circuits_of("a") == ("slip-1", "slip-2")
    assert tree.units_on("slip-1") == ("a", "b")
    assert tree.units_on("slip-2") == ("a",)


def test_a_long_chain_is_no_deep_recursion() -> None:
    names = [f"u{number}" for number in range(5000)]
    units: dict[str, Any] = {name: {} for name in names}
    for above, below in pairwise(names):
        units[above] = {"ports": {"1": {"feeds": below}}}
    tree = Tree(drawn(units))
    assert tree.tier("u4999") == 5000
    assert tree.order()[0] == "u4999"


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.sampled_from("abcdef"), st.sampled_from("abcdef")), max_size=12))
def test_order_and_rings_hold_together(edges: list[tuple[str, str]]) -> None:
    tree = site_of(edges, "abcdef")
    order = tree.order()
    assert sorted(order) == list("abcdef")
    if not tree.cycles():
        assert all(order.index(below) < order.index(feeder) for feeder, below in edges)
        assert all(tree.tier(below) > tree.tier(feeder) > 0 for feeder, below in edges)
    for ring in tree.cycles():
        assert all((one, two) in edges for one, two in zip(ring, (*ring[1:], ring[0]), strict=True))
