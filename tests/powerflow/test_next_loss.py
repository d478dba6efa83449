"""The next loss, where something can't be computed, goes dark, or rests on an assumption."""

from __future__ import annotations

from tests.powerflow.sites import device, feed, ferry_terminal, site, unit

from portdraw.plan.load_case import Case
from portdraw.plan.site import Generator
from portdraw.plan.tree import Tree
from portdraw.powerflow.limit_load import LimitLoad, limit_loads
from portdraw.powerflow.next_loss import ALL_UNBACKED_AC, NOTHING_MOVES, next_losses, unbacked_circuits
from portdraw.powerflow.roll_up import roll_up


def test_a_unit_with_one_leg_goes_dark_and_lacks_all_it_needs() -> None:
    found = site({"top": unit("main", {"1": device("cam")}, fed=None)})
    main, side, every = next_losses(found, Tree(found), {("top", "1"): 10.4})
    assert main.dark_units == ("top",)
    assert (main.limit, main.need_w, main.limit_w) == ("top has no other leg", 16.4, 0.0)
    assert (side.limit, side.need_w, side.dark_units) == (NOTHING_MOVES, 0.0, ())
    assert every.what == ALL_UNBACKED_AC
    assert every.dark_units == ("top",)


def test_what_cannot_be_computed_counts_as_the_worst_and_has_a_reason() -> None:
    lamps = {str(number): device(f"lamp-{number}", 20, "light") for number in range(1, 6)}
    found = site({"top": unit("main", {"1": feed("low", 400)}, fed=None), "low": unit("side", lamps)})
    side = next_losses(found, Tree(found), {})[1]
    assert side.what == "circuit side"
    assert side.moved_units == ("low",)
    assert side.need_w is None
    assert "no operating point" in side.reason
    # every limit above it is as unknown, not fine
    assert {load.need_w for load in side.limits if load.subject == "top"} == {None}


def test_a_device_without_watts_or_class_makes_its_path_unknown() -> None:
    found = site({"top": unit("main", {"1": feed("low")}, fed=None), "low": unit("side", {"1": {"device": "box"}})})
    side = next_losses(found, Tree(found), {})[1]
    assert side.need_w is None
    assert "low port 1: neither watts nor a class are declared" in side.reason
    read = next_losses(found, Tree(found), {("low", "1"): 4.0})[1]  # a reading says it
    assert read.need_w is not None


def test_the_fullest_limit_is_the_one_told() -> None:
    # three lamps of 25.5 W: some 79 W on a fed budget of 60 W; its feeder's port, class 8, would give 92 of 90 W
    lamps = {str(number): device(f"lamp-{number}", 20, "light") for number in range(1, 4)}
    found = site({"top": unit("main", {"1": feed("low", 10)}, fed=None), "low": unit("side", lamps)})
    side = next_losses(found, Tree(found), {})[1]
    shares = [load.share for load in side.limits]
    assert shares == sorted(shares, reverse=True)
    assert side.limit == "low budget on PoE feed"
    assert side.need_w is not None
    assert side.limit_w is not None
    assert side.need_w / side.limit_w == shares[0]
    assert {load.limit for load in side.limits} == {
        "low budget on PoE feed",
        "class 8 of top port 1",
        "top budget",
        "circuit main",
    }


def test_assumptions_of_the_moved_units_are_listed() -> None:
    low = unit("side", {"1": device("cam")})
    del low["fed"]["on_transfer"]
    found = site({"top": unit("main", {"1": feed("low")}, fed=None), "low": low})
    _, side, _ = next_losses(found, Tree(found), {("low", "1"): 10.4})
    assert side.assumed == ("low: on_transfer is not declared, its devices may drop while it changes legs",)


def test_a_generator_backs_the_circuits_of_its_panels() -> None:
    found = site({"top": unit("main", {}, fed=None)})
    backed = found.model_copy(update={"generators": {"diesel": Generator(rating_w=5000, feeds=("P1",))}})
    assert unbacked_circuits(found) == ("main", "side")
    assert unbacked_circuits(backed) == ("side",)
    both = found.model_copy(update={"generators": {"diesel": Generator(rating_w=5000, feeds=("P1", "P2"))}})
    assert [loss.what for loss in next_losses(both, Tree(both), {})] == ["circuit main", "circuit side"]


def test_limits_sort_with_the_unknown_on_top() -> None:
    unknown = LimitLoad("a", "a", None, 10.0)
    nothing = LimitLoad("b", "b", 1.0, 0.0)
    over = LimitLoad("c", "c", 12.0, 10.0)
    idle = LimitLoad("d", "d", 0.0, 0.0)
    assert sorted([idle, over, unknown, nothing], key=lambda load: load.rank, reverse=True) == [
        unknown,
        nothing,
        over,
        idle,
    ]
    assert idle.share == 0.0


def test_limits_of_some_units_are_those_of_all_units_without_the_others() -> None:
    """What is asked of a source counts every unit on it, also those that are not asked about."""
    ferry = ferry_terminal()
    tree = Tree(ferry)
    flows = roll_up(ferry, tree, {}, frozenset({"pier-7"}), Case.NIGHT)
    whole = limit_loads(ferry, tree, flows, frozenset({"pier-7"}))
    for circuit in ferry.circuits:
        units = frozenset(tree.units_on(circuit))
        part = limit_loads(ferry, tree, flows, frozenset({"pier-7"}), units)
        assert [load for load in whole if load in part] == list(part)
        assert {load for load in part if load.subject == circuit} == {
            load for load in whole if load.subject == circuit
        }
        budgets = {load for load in whole if load.subject in units and "budget" in load.limit}
        assert budgets <= set(part)
