"""Which ports go, by each of the site file's rules, worked out by hand on one unit that loses a supply module."""

from __future__ import annotations

import pytest
from tests.rehearsal.small_sites import device, site_of, unit

from portdraw.rehearsal.failure import ControllerRestart, ModuleLost
from portdraw.rehearsal.site_physics import SitePhysics

# 10 W each: 60 W in all, of which one module carries 35 W, so that three ports can stay. The fifth came last.
PRIORITIES = {"1": "low", "2": "critical", "3": "high", "4": "low", "5": "high", "6": "critical"}


def after_a_module(rule: str, watts: float = 35.0) -> SitePhysics:
    """Return the unit after the loss of one of its two modules, of which each carries `watts`."""
    ports = {key: device(f"d{key}", 10.0, priority=rank) for key, rank in PRIORITIES.items()}
    ports["5"]["start_delay_s"] = 60
    frame = unit(ports, "a", "b", pse={"shed": rule})
    for supply in frame["supplies"]:
        supply["pse_share_w"] = watts
    physics = SitePhysics(site_of({"u": frame}))
    physics.fail(ControllerRestart("u"))
    assert physics.settle()
    assert physics.dark() == set()
    physics.step(60)
    physics.fail(ModuleLost("u", 0))
    return physics


@pytest.mark.parametrize(
    ("rule", "shed"),
    [
        ("priority-then-highest-port", {"4", "1", "5"}),  # low from the top, then high from the top
        ("highest-port", {"6", "5", "4"}),
        ("newest-first", {"5", "6", "4"}),
        ("refuse-newcomers", {"5", "6", "4"}),
        ("lowest-priority-bank", {"1", "4", "3", "5"}),  # banks go whole: 40 W are still too much, then 20 W
        ("all-off", set("123456")),
    ],
)
def test_each_rule_sheds_what_it_says(rule: str, shed: set[str]) -> None:
    physics = after_a_module(rule)
    assert physics.dark() == {("u", key) for key in shed}
    assert physics.settle()
    assert physics.dark() == {("u", key) for key in shed}  # none returns without a restart


def test_equal_watts_fit() -> None:
    assert len(after_a_module("highest-port", 40.0).dark()) == 2  # 4 x 10 of 40 W
    assert len(after_a_module("highest-port", 39.99).dark()) == 3


def test_an_expensive_port_is_not_skipped_and_a_port_without_current_is() -> None:
    # 20 + 4 + 0 W; 21 W are left: port 3 gives nothing and saves nothing, port 2 with its 4 W goes first
    ports = {"1": device("d1", 20.0, 4), "2": device("d2", 4.0), "3": device("d3", 0.0)}
    frame = unit(ports, "a", "b", pse={"shed": "highest-port"})
    for supply in frame["supplies"]:
        supply["pse_share_w"] = 21
    physics = SitePhysics(site_of({"u": frame}))
    physics.fail(ModuleLost("u", 0))
    assert {key for key, port in physics.units["u"].ports.items() if port.latched} == {"2"}
