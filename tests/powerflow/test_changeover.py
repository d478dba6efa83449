"""The change of legs: the ferry terminal against its worked example, and each behaviour on a site of two units."""

from __future__ import annotations

from typing import Any

import pytest
from tests.powerflow.sites import device, feed, ferry_terminal, site, unit

from portdraw.plan.load_case import Case
from portdraw.powerflow.changeover import Changeover, StageName, study_changeover
from portdraw.powerflow.failure import Failure, all_unbacked_ac, single_failures
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.network import Network, network_of
from portdraw.powerflow.start_up import start_up_of

NETWORK = network_of(ferry_terminal())
# worked example, frost night: fed need at the PD, W
NEED_PD_W = {
    "north-pier": 67.5, "breakwater": 19.6, "berth-1": 66.8, "berth-2": 59.8, "entry-lanes": 63.5,
    "exit-lanes": 64.1, "ticket-hall": 61.9, "waiting-room": 58.5,
}  # fmt: skip


def stepped(network: Network, failure: Failure, case: Case, **allocated: float) -> Changeover:
    start_up = start_up_of(network, planned_load(network, case))
    ports = {(name.partition("__")[0], name.partition("__")[2]): watts for name, watts in allocated.items()}
    return study_changeover(network, start_up, failure, allocated_pd_w=ports)


def unbacked(network: Network) -> Failure:
    found = all_unbacked_ac(network)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("case", "asked_w", "dark"),
    [(Case.TYPICAL, "410.3", 0), (Case.NIGHT, "460.4", 3), (Case.FROST_NIGHT, "562.2", 15)],
)
def test_the_instant_of_the_worked_example(case: Case, asked_w: str, dark: int) -> None:
    found = stepped(NETWORK, unbacked(NETWORK), case)
    instant = found.stage(StageName.INSTANT)
    core = next(limit for limit in instant.limits if limit.limit == "core budget")
    assert f"{core.need_w:.1f}" == asked_w
    assert len(instant.dark) == dark
    # nothing that was shed comes back by itself
    assert set(found.stage(StageName.SETTLED).dark) == set(instant.dark)
    assert all(one.seconds is None for one in found.dark_for)


def test_feeds_of_the_worked_example() -> None:
    found = stepped(NETWORK, unbacked(NETWORK), Case.FROST_NIGHT)
    steps = {step.unit: step for step in found.feeds}
    assert set(steps) == set(NEED_PD_W)
    for name, step in steps.items():
        assert step.asked_w == pytest.approx(NEED_PD_W[name], abs=0.05), name
        assert not step.hidden
        assert step.before_w == 1.3
        assert step.stays_in_class is (name != "waiting-room")
    assert steps["waiting-room"].granted_class is None
    assert steps["breakwater"].allowed_w == 25.5
    assert steps["berth-1"].allowed_w == 71.3


def yard(fed: dict[str, Any] | None = None, **pse: Any) -> Network:
    """A hub on circuit main, and a lamp post on circuit side with two cameras and a feed from the hub."""
    camera = {"class": 3, "typical_w": 10.0, "startup_w": 12.0, "startup_s": 30}
    post = unit("side", {"1": device("cam-1"), "2": device("cam-2")}, boot_s=40)
    post["fed"] = {**post["fed"], **(fed or {})}
    post["pse"] = {**post["pse"], "admission": "drawn"}
    hub = unit("main", {"1": feed("post", device_class=5)}, boot_s=20)
    hub["pse"] = {**hub["pse"], **pse}
    return network_of(site({"hub": hub, "post": post}, device_types={"camera": camera}))


def side(network: Network) -> Failure:
    return next(failure for failure in single_failures(network) if failure.what == "circuit side")


def test_a_unit_that_sheds_in_time_loses_nothing_that_fits() -> None:
    network = yard()
    found = stepped(network, side(network), Case.TYPICAL)
    assert found.dark_for == ()
    assert found.sentences[-1] == "no device loses power"
    (step,) = found.feeds
    assert not step.restarts


def test_a_unit_that_drops_all_starts_anew() -> None:
    network = yard({"on_transfer": "drops-all"})
    found = stepped(network, side(network), Case.TYPICAL)
    assert set(found.stage(StageName.INSTANT).dark) == {"cam-1", "cam-2"}
    assert found.stage(StageName.SETTLED).dark == ()
    # by hand: 40 s of boot, 30 s of start-up
    assert {one.device: one.seconds for one in found.dark_for} == {"cam-1": 70.0, "cam-2": 70.0}


def test_an_undeclared_transfer_counts_as_dropping_all() -> None:
    network = yard({"on_transfer": "unknown"})
    assert set(stepped(network, side(network), Case.TYPICAL).stage(StageName.INSTANT).dark) == {"cam-1", "cam-2"}


def test_a_hidden_feed_is_found_and_starts_anew() -> None:
    network = yard({"spare_feed": "hidden", "standby_w": 0})
    found = stepped(network, side(network), Case.TYPICAL)
    (step,) = found.feeds
    assert step.hidden
    assert step.restarts
    assert step.before_w == 0.0
    # by hand: a second until the feeder finds it, 40 s of boot, 30 s of start-up
    assert {one.seconds for one in found.dark_for} == {71.0}


def test_a_hidden_feed_that_is_refused() -> None:
    # by class: the hub may set 20 W aside, class 5 is 45 W and 4 is 30 W, so class 3 with 15.4 W is what is left
    network = yard({"spare_feed": "hidden", "standby_w": 0}, budget_w=20, admission="class")
    (step,) = stepped(network, side(network), Case.TYPICAL).feeds
    assert step.granted_class == 3
    assert not step.stays_in_class
    nothing = yard({"spare_feed": "hidden", "standby_w": 0}, budget_w=10, admission="class")
    found = stepped(nothing, side(nothing), Case.TYPICAL)
    (step,) = found.feeds
    assert step.granted_class is None
    assert set(found.stage(StageName.SETTLED).dark) == {"cam-1", "cam-2"}
    assert all(one.seconds is None for one in found.dark_for)


def test_many_hidden_feeds_ask_at_once_and_one_is_left_out() -> None:
    camera = {"class": 3, "typical_w": 10.0, "startup_s": 30}
    hidden = {"spare_feed": "hidden", "standby_w": 0}
    units: dict[str, Any] = {}
    for name in ("a", "b", "c"):
        post = unit("side", {"1": device(f"cam-{name}")}, boot_s=40)
        units[name] = {**post, "fed": {**post["fed"], **hidden}}
    hub = unit("main", {str(at): feed(name, device_class=4) for at, name in enumerate("abc", start=1)}, boot_s=20)
    hub["pse"] = {**hub["pse"], "budget_w": 65, "admission": "class"}
    network = network_of(site({"hub": hub, **units}, device_types={"camera": camera}))
    found = stepped(network, side(network), Case.TYPICAL)
    # by hand, class 4 is 30 W (Table 145-11): 30 + 30 of 65 W, nothing of 5 W left for the third
    assert {step.unit: step.granted_class for step in found.feeds} == {"a": 4, "b": 4, "c": None}
    assert found.stage(StageName.SETTLED).dark == ("cam-c",)


def test_the_old_allocation_holds_at_the_instant_and_the_new_one_later() -> None:
    network = yard()
    # by hand: 20 W allocated at the PD leave (20 - 6) x 0.92 = 12.9 W for two cameras of more than 10 W each
    found = stepped(network, side(network), Case.TYPICAL, hub__1=20.0)
    (step,) = found.feeds
    assert step.allowed_w == 20.0
    assert not step.stays_in_class
    instant = next(
        limit for limit in found.stage(StageName.INSTANT).limits if limit.limit == "post budget on PoE feed"
    )
    assert instant.limit_w == pytest.approx((20 - 6) * 0.92)
    assert found.stage(StageName.INSTANT).dark == ("cam-2",)
    settled = next(limit for limit in found.stage(StageName.SETTLED).limits if limit.limit == instant.limit)
    assert settled.limit_w > 20
    assert found.stage(StageName.SETTLED).dark == ("cam-2",)


def test_stages_follow_each_other() -> None:
    for failure in single_failures(NETWORK):
        found = stepped(NETWORK, failure, Case.NIGHT)
        assert [stage.name for stage in found.stages] == list(StageName)
        ends = [stage.until_s for stage in found.stages]
        assert ends == sorted(ends)
