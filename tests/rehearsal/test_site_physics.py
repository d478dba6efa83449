"""The emulated site in motion: legs, admission, supplies and time, against numbers worked by hand.

Class watts, detection currents and volts are those of IEEE 802.3 clauses 33 and 145; the ferry terminal's figures
were worked out by a separate solver. Where a sum is short, it stands beside the check.
"""

from __future__ import annotations

import pytest
from tests.rehearsal.random_sites import random_site
from tests.rehearsal.seeded_site import RULES, seeded_site
from tests.rehearsal.small_sites import FED, TEN_OHM, device, site_of, two, unit
from tests.rehearsal.terminal import UNBACKED, terminal

from portdraw.plan.finding import FindingSeverity
from portdraw.plan.load_case import Case
from portdraw.plan.names import check_names
from portdraw.plan.structure import check_structure
from portdraw.rehearsal.failure import (
    CircuitLost,
    ControllerRestart,
    FeedCableLost,
    FeederPortLost,
    IncomerLost,
    ModuleLost,
    PanelLost,
    UnitLost,
    UpsFlat,
    UpsInputLost,
    all_unbacked_ac,
    every_single_failure,
)
from portdraw.rehearsal.plant import CONTROLLER_S, DETECT_S, RETRY_S
from portdraw.rehearsal.site_physics import SitePhysics

B_LOST = CircuitLost("b")


def on_ports(physics: SitePhysics, name: str) -> set[str]:
    """Return the ports of a unit that give power."""
    return {key for key, port in physics.units[name].ports.items() if port.on}


# Spare feeds.


@pytest.mark.parametrize(
    ("device_class", "standby_w", "holds"),
    [
        (4, 0.53, False),  # 9.8 mA at 54 V; classes 1 to 4 must draw 10 mA
        (4, 0.55, True),  # 10.2 mA
        (8, 0.85, False),  # 15.7 mA; classes 5 to 8 must draw 16 mA
        (8, 0.88, True),  # 16.3 mA
    ],
)
def test_a_spare_feed_holds_only_above_its_maintain_current(device_class: int, standby_w: float, holds: bool) -> None:
    physics = SitePhysics(two({}, feed={"class": device_class}, standby_w=standby_w))
    assert physics.units["head"].ports["1"].on is holds
    assert physics.units["head"].outputs_w == pytest.approx(standby_w if holds else 0.0)


def test_a_feed_that_was_let_go_leaves_a_gap_until_it_asks_again() -> None:
    physics = SitePhysics(two({"1": device("camera", 6.0)}, standby_w=0.2))
    physics.fail(B_LOST)
    assert physics.dark() == {("leaf", "1")}
    assert physics.settle()
    assert physics.units["leaf"].leg == "feed"
    assert physics.dark() == set()
    assert physics.interrupted() == {("leaf", "1")}


def test_a_held_feed_takes_over_without_a_gap() -> None:
    physics = SitePhysics(two({"1": device("camera", 6.0)}))
    assert physics.units["head"].outputs_w == pytest.approx(1.3)
    physics.fail(B_LOST)
    # 5 W own use + 6 W / 0.9 at the PD, and nothing lost in the cable
    assert physics.units["head"].outputs_w == pytest.approx(5 + 6 / 0.9)
    assert (physics.dark(), physics.interrupted()) == (set(), set())


def test_a_hidden_feed_books_nothing_and_its_unit_boots() -> None:
    site = two({"1": device("camera", 6.0)}, head={"pse": {"admission": "class"}}, spare_feed="hidden")
    physics = SitePhysics(site)
    assert (physics.limits()["unit head"].booked_w, physics.limits()["unit head"].drawn_w) == (0, 0)
    physics.fail(B_LOST)
    assert physics.dark() == {("leaf", "1")}
    physics.step(DETECT_S)
    assert physics.limits()["unit head"].booked_w == 30.0  # class 4 at the PSE
    assert physics.units["head"].outputs_w == pytest.approx(5.0)  # it boots, its ports are off
    physics.step(59.0)
    assert physics.dark() == {("leaf", "1")}
    physics.step(1.0 + DETECT_S)  # no boot_s: 60 s
    assert physics.dark() == set()


def test_hidden_feeds_that_ask_together_are_admitted_as_far_as_the_budget_goes() -> None:
    # 100 W by class: class 6 books 60 W; 40 W are left, so that the second is offered class 4, the third nothing
    leaves = {
        f"leaf-{at}": unit({"1": device(f"d{at}", 4.0)}, "b", fed={**FED, "spare_feed": "hidden"}) for at in "123"
    }
    feeds = {at: {"feeds": f"leaf-{at}", "class": 6} for at in "123"}
    physics = SitePhysics(site_of({"head": unit(feeds, "a", pse={"admission": "class"}), **leaves}))
    physics.fail(B_LOST)
    assert physics.settle()
    head = physics.units["head"]
    assert [head.ports[at].granted for at in "123"] == [6, 4, None]
    assert physics.dark() == {("leaf-3", "1")}
    assert head.ports["3"].denied > 1


# Transfer.


def test_a_unit_that_sheds_in_time_loses_only_what_does_not_fit() -> None:
    # class 4 gives 25.5 W at the PD: (25.5 - 5) x 0.9 = 18.45 W; three times 7 W are 21 W
    ports = {key: device(f"d{key}", 7.0) for key in "123"}
    physics = SitePhysics(two(ports))
    physics.fail(B_LOST)
    assert physics.limits()["unit leaf"].limit_w == pytest.approx(18.45)
    assert physics.dark() == {("leaf", "3")}
    assert physics.interrupted() == {("leaf", "3")}


@pytest.mark.parametrize("told", ["drops-all", "unknown"])
def test_a_unit_that_does_not_shed_in_time_drops_all_and_lets_them_in_again(told: str) -> None:
    ports = {key: device(f"d{key}", 6.0, 2) for key in "123"}  # class 2 asks for 7 W: 6 + 6 + 7 > 18.45
    physics = SitePhysics(two(ports, on_transfer=told), class_must_fit=True)
    physics.fail(B_LOST)
    assert physics.interrupted() == {("leaf", key) for key in "123"} == physics.dark()
    assert physics.settle()
    assert physics.dark() == {("leaf", "3")}
    assert physics.units["leaf"].boots == 1  # the unit itself ran on


def test_an_old_allocation_binds_until_the_new_one_is_in_force() -> None:
    # LLDP gave 13 W: (13 - 5) x 0.9 = 7.2 W at the instant; (25.5 - 5) x 0.9 = 18.45 W ten seconds later
    ports = {key: device(f"d{key}", 3.0) for key in "123"}
    physics = SitePhysics(two(ports), lldp_pd_w={("head", "1"): 13.0}, lldp_s=10.0)
    physics.fail(B_LOST)
    assert physics.limits()["unit leaf"].limit_w == pytest.approx(7.2)
    assert physics.dark() == {("leaf", "3")}
    physics.step(10.0)
    assert physics.limits()["unit leaf"].limit_w == pytest.approx(18.45)
    assert physics.settle()
    assert physics.dark() == {("leaf", "3")}  # what was shed stays off without a restart


def test_a_new_allocation_that_the_feeder_cannot_set_aside_is_not_granted() -> None:
    # booked by what is granted: 13 W of the feed, 15.4 W of a class 3; 30 W for class 4 don't fit beside it in 40 W
    site = two(
        {"1": device("d1", 3.0)},
        feed={"class": 4},
        head={"pse": {"admission": "granted", "budget_w": 40}},
    )
    lead = site.units["head"]
    ports = {"1": lead.ports["1"], "2": site.units["leaf"].ports["1"].model_copy(update={"device": "d2"})}
    head = lead.model_copy(update={"ports": ports})
    site = site.model_copy(update={"units": {"head": head, "leaf": site.units["leaf"]}})
    physics = SitePhysics(site, lldp_pd_w={("head", "1"): 13.0})
    assert physics.limits()["unit head"].booked_w == pytest.approx(13.0 + 15.4)
    physics.fail(B_LOST)
    assert physics.settle()
    assert physics.limits()["unit leaf"].limit_w == pytest.approx((13 - 5) * 0.9)


def test_a_unit_that_prefers_its_feed_changes_to_ac_when_that_fails() -> None:
    physics = SitePhysics(two({"1": device("d1", 6.0)}, prefers="feed"))
    assert physics.units["leaf"].leg == "feed"
    physics.fail(FeedCableLost("head", "1"))
    assert (physics.units["leaf"].leg, physics.interrupted()) == ("ac", set())
    physics.restore(FeedCableLost("head", "1"))
    assert physics.settle()
    assert physics.units["leaf"].leg == "feed"


def test_a_unit_on_both_legs_takes_half_of_each() -> None:
    physics = SitePhysics(two({"1": device("d1", 9.0)}, prefers="shared"))
    # (5 + 9/0.9) / 2 at the PD; (5 + 9) / 2 / 0.8 at AC
    assert physics.units["head"].outputs_w == pytest.approx(7.5)
    assert physics.units["leaf"].ac_w == pytest.approx(8.75)


@pytest.mark.parametrize("told", ["drops-all", "sheds-in-time"])
def test_a_unit_goes_back_to_ac_without_a_gap(told: str) -> None:
    # AC is there again before the feed is left: nothing has to catch anything
    physics = SitePhysics(two({"1": device("d1", 6.0)}, on_transfer=told))
    physics.fail(B_LOST)
    assert physics.settle()
    assert physics.dark() == set()
    physics.fail()  # counts interruptions anew
    physics.restore(B_LOST)
    assert physics.settle()
    assert (physics.units["leaf"].leg, physics.interrupted()) == ("ac", set())


# Admission.


def test_the_terminal_booked_by_class_lets_in_what_example_says() -> None:
    # four times 90 W; then 80 W are left: class 6; then 20 W: class 3; then 4.6 W: nobody (4 W would be class 1)
    site = terminal()
    core = site.units["core"]
    pse = core.pse
    assert pse is not None
    by_class = core.model_copy(update={"pse": pse.model_copy(update={"admission": "class"})})
    physics = SitePhysics(site.model_copy(update={"units": {**site.units, "core": by_class}}))
    ports = physics.units["core"].ports
    assert [ports[str(at)].granted for at in range(1, 8)] == [8, 8, 8, 8, 6, 3, None]
    assert on_ports(physics, "core") == set("123456")
    assert physics.limits()["unit core"].booked_w == pytest.approx(4 * 90 + 60 + 15.4)


@pytest.mark.parametrize(
    ("order", "first"), [("port", {"1", "2"}), ("priority", {"2", "3"}), ("arrival", {"1", "2"})]
)
def test_admission_goes_by_the_units_order(order: str, first: set[str]) -> None:
    # twice class 4 fits in 70 W
    ports = {
        "1": device("d1", 20.0, 4, priority="low"),
        "2": device("d2", 20.0, 4, priority="high"),
        "3": device("d3", 20.0, 4, priority="critical"),
    }
    more = {"budget_w": 70, "admission": "class", "admission_order": order, "class_max": 4}
    site = site_of({"u": unit({**ports}, "a", pse=more)})
    physics = SitePhysics(site)
    # 10 W left over are below class 3, so that nobody is demoted
    assert on_ports(physics, "u") == first


def test_a_guard_keeps_watts_free_of_newcomers() -> None:
    for guard_w, admitted in ((0.0, {"1", "2"}), (75.0, {"1"})):
        ports = {"1": device("d1", 12.0), "2": device("d2", 12.0)}
        physics = SitePhysics(site_of({"u": unit(ports, "a", pse={"guard_w": guard_w})}), class_must_fit=True)
        assert on_ports(physics, "u") == {"1", "2"}  # what came long ago stays
        physics.fail(ControllerRestart("u"))
        physics.step(CONTROLLER_S)
        assert on_ports(physics, "u") == admitted  # 12 + 15.4 are over 100 - 75


def test_makers_differ_in_what_a_newcomer_must_find_free() -> None:
    # on its feed (25.5 - 5) x 0.9 = 18.45 W: 12 W beside 4 W fit as they are drawn; class 3 wants 15.4 W free
    ports = {"1": device("d1", 4.0, 2), "2": device("d2", 12.0)}
    for class_must_fit, dark in ((True, {("leaf", "2")}), (False, set())):
        physics = SitePhysics(two(ports, on_transfer="drops-all"), class_must_fit=class_must_fit)
        physics.fail(B_LOST)
        assert physics.settle()
        assert physics.dark() == dark


def test_what_came_on_together_and_was_too_much_is_shed_by_rule() -> None:
    # 8 + 8 + 8 W of 18.45: all ask at once, the highest port goes
    ports = {key: device(f"d{key}", 8.0) for key in "123"}
    physics = SitePhysics(two(ports, on_transfer="drops-all"), class_must_fit=False)
    physics.fail(B_LOST)
    assert physics.settle()
    assert physics.dark() == {("leaf", "3")}
    assert physics.units["leaf"].ports["3"].latched


def test_a_port_never_grants_more_than_its_class() -> None:
    ports = {"1": device("d1", 10.0, 6), "2": device("d2", 8.0, [3, 3]), "3": device("d3", 8.0, 0)}
    physics = SitePhysics(site_of({"u": unit(ports, "a", pse={"class_max": 4, "admission": "class"})}))
    assert [physics.units["u"].ports[at].granted for at in "123"] == [4, (3, 3), 0]
    # 30 + two pairsets of 14 + 15.4
    assert physics.limits()["unit u"].booked_w == pytest.approx(73.4)


def test_a_device_over_the_class_it_was_granted_is_cut() -> None:
    # class 8 wants 90 W of 80; class 6 is granted, 51 W at the PD and 60 W at the PSE, and the device takes 65 W
    ports = {"1": device("d1", 65.0, 8)}
    physics = SitePhysics(site_of({"u": unit(ports, "a", pse={"budget_w": 80, "admission": "class"})}))
    port = physics.units["u"].ports["1"]
    assert (port.on, port.faulty) == (False, True)


def test_a_port_limit_cuts_at_the_pse() -> None:
    # 20 W behind 10 ohm at 54 V: V = (54 + sqrt(54^2 - 800)) / 2 = 50.0, I = 0.4 A, so 21.6 W at the PSE
    for limit_w, on in ((21.5, False), (21.7, True)):
        ports = {"1": device("d1", 20.0, 4, cable=TEN_OHM)}
        physics = SitePhysics(site_of({"u": unit(ports, "a", pse={"port_limit_w": limit_w})}))
        assert physics.units["u"].ports["1"].on is on


# Volts.


def passing_on(output: str, min_v: float | None = None) -> SitePhysics:
    """North-pier's 47.7 V at 67.5 W, and a device of 25.5 W at 90 m behind it: 36 W of own use stand for the rest."""
    feed_cable = {"type": "cat6a", "length_m": 84, "conductor": "copper", "ambient_c": 35, "rise_k": 10}
    behind = device(
        "ptz", 25.5, 4, cable={**feed_cable, "length_m": 90}, **({} if min_v is None else {"min_v": min_v})
    )
    lead = unit({"1": {"feeds": "leaf", "class": 8, "cable": feed_cable}}, "a")
    leaf = unit({"1": behind}, "b", own_use_w=36.0, fed={**FED, "efficiency": 0.92, "output": output})
    return SitePhysics(site_of({"head": lead, "leaf": leaf}))


def test_a_unit_that_passes_its_input_on_starves_what_was_well_on_ac() -> None:
    physics = passing_on("follows-input")
    assert physics.units["leaf"].ports["1"].pd_v == pytest.approx(49.1, abs=0.05)
    physics.fail(B_LOST)
    assert physics.dark() == {("leaf", "1")}
    assert physics.settle()
    assert physics.dark() == {("leaf", "1")}  # it comes on and shuts down again


def test_a_device_that_runs_on_fewer_volts_stays() -> None:
    physics = passing_on("follows-input", min_v=37)
    physics.fail(B_LOST)
    assert physics.dark() == set()
    assert physics.units["leaf"].live_v == pytest.approx(47.7, abs=0.1)
    assert physics.units["leaf"].ports["1"].pd_v == pytest.approx(42.0, abs=0.1)


def test_a_boosted_unit_keeps_its_own_volts() -> None:
    physics = passing_on("boosted")
    physics.fail(B_LOST)
    assert physics.units["leaf"].ports["1"].pd_v == pytest.approx(49.1, abs=0.05)
    assert physics.dark() == set()


def test_a_load_beyond_what_its_cable_can_carry_is_cut() -> None:
    # 54^2 / (4 x 40) = 18.2 W is the most that 40 ohm pass
    ports = {"1": device("d1", 19.0, 4, min_v=37, cable={**TEN_OHM, "series_ohm": 40})}
    physics = SitePhysics(site_of({"u": unit(ports, "a")}))
    assert physics.units["u"].ports["1"].faulty


# Supplies.


@pytest.mark.parametrize(
    ("mode", "both_w", "without_0_w", "without_1_w"),
    [("combined", 90, 30, 60), ("n+1", 30, 30, 30), ("n+n", 45, 30, 45), ("single", 60, 30, 60)],
)
def test_budget_by_supply_mode(mode: str, both_w: float, without_0_w: float, without_1_w: float) -> None:
    frame = unit({}, "a", "b", supply_mode=mode)
    for supply, share_w in zip(frame["supplies"], (60, 30), strict=True):
        supply["pse_share_w"] = share_w
    for gone, budget_w in ((None, both_w), (0, without_0_w), (1, without_1_w)):
        physics = SitePhysics(site_of({"u": frame}))
        if gone is not None:
            physics.fail(ModuleLost("u", gone))
        assert physics.limits()["unit u"].limit_w == budget_w


def test_modules_take_by_their_shares_and_a_dead_circuit_nothing() -> None:
    frame = unit({"1": device("d1", 11.0)}, "a", "b")
    for supply, share_w in zip(frame["supplies"], (60, 30), strict=True):
        supply["pse_share_w"] = share_w
    physics = SitePhysics(site_of({"u": frame}))
    # (5 + 11) / 0.8 = 20 W at AC, two to one
    assert physics.units["u"].module_w == pytest.approx((20 * 2 / 3, 20 / 3))
    physics.fail(CircuitLost("a"))
    assert physics.limits()["circuit a"].drawn_w == 0
    assert physics.limits()["circuit b"].drawn_w == pytest.approx(20)


@pytest.mark.parametrize(("hottest_c", "budget_w"), [(None, 100), (50, 100), (51, 40), (61, 20)])
def test_heat_takes_its_share_of_the_budget(hottest_c: float | None, budget_w: float) -> None:
    derate = [{"above_c": 50, "budget_w": 40}, {"above_c": 60, "budget_w": 20}]
    frame = unit({}, "a", derate=derate, **({} if hottest_c is None else {"place_max_c": hottest_c}))
    assert SitePhysics(site_of({"u": frame})).limits()["unit u"].limit_w == budget_w


@pytest.mark.parametrize(
    ("loads", "watts", "minutes", "after_w", "after_minutes"),
    [
        (Case.TYPICAL, 190, 273, 558, 93),
        (Case.NIGHT, 192, 270, 591, 88),
        (Case.FROST_NIGHT, 199, 260, 571, 91),
    ],
)
def test_the_terminals_ups(loads: Case, watts: float, minutes: float, after_w: float, after_minutes: float) -> None:
    physics = SitePhysics(terminal(), loads)
    assert physics.limits()["ups ups-a"].drawn_w == pytest.approx(watts, abs=0.5)
    assert physics.minutes_left("ups-a") == pytest.approx(minutes, abs=0.5)
    physics.fail(*map(CircuitLost, UNBACKED))
    assert physics.limits()["ups ups-a"].drawn_w == pytest.approx(after_w, abs=0.5)
    assert physics.minutes_left("ups-a") == pytest.approx(after_minutes, abs=0.5)


def test_a_ups_without_input_carries_on_until_it_is_flat() -> None:
    physics = SitePhysics(terminal())
    lasts_s = physics.minutes_left("ups-a") * 60
    physics.fail(UpsInputLost("ups-a"))
    physics.step(lasts_s - 1)
    assert physics.dark() == set()
    physics.step(2)
    assert physics.dark() == {("core", str(at)) for at in range(9, 19)}
    physics.restore(UpsInputLost("ups-a"))
    assert physics.settle()
    assert physics.dark() == set()


def test_a_generator_carries_its_panels_once_it_runs() -> None:
    frame = unit({"1": device("d1", 6.0)}, "a", boot_s=20)
    generators = {"diesel": {"rating_w": 1000, "feeds": ["p"], "start_s": 15}}
    physics = SitePhysics(site_of({"u": frame, "v": unit({"1": device("d2", 6.0)}, "b")}, generators=generators))
    physics.fail(IncomerLost("town"))
    physics.step(14.9)
    assert not physics.units["u"].powered
    physics.step(0.2)
    assert physics.units["u"].powered
    physics.step(19.8 + 2 * DETECT_S)
    assert physics.dark() == {("v", "1")}
    assert all_unbacked_ac(site_of({"u": frame}, generators=generators)) == (CircuitLost("b"), CircuitLost("c"))


# Several feeds, extenders, restarts.


def two_feeds(mode: str) -> SitePhysics:
    """Return a leaf without AC on two heads of class 4 each."""
    leaf = {**unit({"1": device("d1", 9.0)}, fed=FED), "feeds_mode": mode}
    heads = {
        name: unit({"1": {"feeds": f"leaf/in-{at}", "class": 4}}, source)
        for name, at, source in (("head-1", 1, "a"), ("head-2", 2, "b"))
    }
    return SitePhysics(site_of({**heads, "leaf": leaf}))


def test_of_two_feeds_one_carries_and_the_other_stands_by() -> None:
    physics = two_feeds("main-standby")
    assert [physics.units[name].outputs_w for name in ("head-1", "head-2")] == pytest.approx([15.0, 1.3])
    physics.fail(FeederPortLost("head-1", "1"))
    assert [physics.units[name].outputs_w for name in ("head-1", "head-2")] == pytest.approx([0.0, 15.0])
    assert physics.interrupted() == set()


def test_shared_feeds_carry_half_each_and_their_grants_add_up() -> None:
    physics = two_feeds("shared")
    assert [physics.units[name].outputs_w for name in ("head-1", "head-2")] == pytest.approx([7.5, 7.5])
    assert physics.limits()["unit leaf"].limit_w == pytest.approx((51 - 5) * 0.9)
    physics.fail(UnitLost("head-2"))
    assert physics.limits()["unit leaf"].limit_w == pytest.approx((25.5 - 5) * 0.9)
    assert physics.units["head-1"].outputs_w == pytest.approx(15.0)


def test_an_extender_takes_its_own_use_on_top_and_falls_with_its_feed() -> None:
    extender = {"extender": True, "own_use_w": 1.5, "fed": {"efficiency": 1.0, "output": "follows-input"}}
    far = {**extender, "ports": {"1": device("far", 6.0, cable=TEN_OHM)}}
    lead = unit({"1": {"feeds": "extender", "class": 4, "cable": TEN_OHM}}, "a")
    physics = SitePhysics(site_of({"head": lead, "extender": far}))
    first, second = physics.units["head"].ports["1"], physics.units["extender"].ports["1"]
    # two runs of 10 ohm: I2 = 6 / V2, V1 = V2 + 10 I2, I1 = 1.5 / V1 + I2, 54 = V1 + 10 I1
    far_a = 6 / second.pd_v
    middle_v = second.pd_v + 10 * far_a
    assert middle_v == pytest.approx(first.pd_v)
    assert middle_v + 10 * (1.5 / middle_v + far_a) == pytest.approx(54.0)
    physics.fail(FeedCableLost("head", "1"))
    assert physics.dark() == {("extender", "1")}


def test_a_controller_restart_takes_all_ports_down_and_back() -> None:
    ports = {"1": {"feeds": "leaf", "class": 4}, "2": device("near", 6.0)}
    site = site_of({"head": unit(ports, "a"), "leaf": unit({"1": device("far", 6.0)}, "b", fed=FED)})
    physics = SitePhysics(site)
    physics.fail(ControllerRestart("head"))
    assert physics.interrupted() == {("head", "2")}  # the unit below lives from its AC
    assert on_ports(physics, "head") == set()
    physics.step(CONTROLLER_S)
    assert on_ports(physics, "head") == {"1", "2"}


def test_a_controller_restart_brings_back_what_was_shed() -> None:
    ports = {key: device(f"d{key}", 7.0) for key in "123"}
    physics = SitePhysics(two(ports))
    physics.fail(B_LOST)
    physics.restore(B_LOST)
    assert physics.settle()
    assert physics.dark() == {("leaf", "3")}
    physics.fail(ControllerRestart("leaf"))
    assert physics.settle()
    assert physics.dark() == set()


def test_devices_start_with_their_own_watts_and_after_their_delay() -> None:
    ports = {
        "1": device("d1", 4.0, startup_w=9.0, startup_s=20),
        "2": device("d2", 4.0, startup_w=9.0, startup_s=20, start_delay_s=30),
    }
    site = site_of({"u": unit(ports, "a", boot_s=40)})
    physics = SitePhysics(site)
    assert physics.units["u"].outputs_w == pytest.approx(8.0)
    physics.fail(CircuitLost("a"))
    physics.step(100)
    physics.restore(CircuitLost("a"))
    for seconds, watts in ((39, 0.0), (2, 9.0), (21, 4.0), (10, 4.0 + 9.0), (20, 8.0)):  # at 39, 41, 62, 72 and 92 s
        physics.step(seconds)
        assert physics.units["u"].outputs_w == pytest.approx(watts)


def test_a_refused_port_asks_again_and_is_let_in_when_there_is_room() -> None:
    # 15 W drawn of 30: class 3 asks for 15.4 W
    ports = {"1": device("d1", 15.0), "2": device("d2", 3.0, 3)}
    physics = SitePhysics(site_of({"u": unit(ports, "a", "b", pse={"budget_w": 30})}), class_must_fit=True)
    assert physics.dark() == set()  # 18 W are drawn, and it has stood so for long
    physics.fail(ControllerRestart("u"))
    physics.step(CONTROLLER_S)
    assert physics.dark() == {("u", "2")}
    denied = physics.units["u"].ports["2"].denied
    physics.step(3 * RETRY_S)
    assert physics.units["u"].ports["2"].denied == denied + 3


# Whole sites.


@pytest.mark.parametrize(("loads", "dark"), [(Case.TYPICAL, 0), (Case.NIGHT, 3), (Case.FROST_NIGHT, 15)])
def test_the_terminal_without_unbacked_ac(loads: Case, dark: int) -> None:
    physics = SitePhysics(terminal(), loads)
    physics.fail(*map(CircuitLost, UNBACKED))
    assert physics.settle()
    assert len(physics.dark()) == dark
    if loads is Case.NIGHT:  # foyer-sign and both office phones
        assert physics.dark() == {("core", "15"), ("core", "16"), ("core", "17")}


def test_only_the_core_and_its_ups_darken_anything_alone_on_a_frost_night() -> None:
    lost = {}
    for failure in every_single_failure(terminal()):
        physics = SitePhysics(terminal(), Case.FROST_NIGHT)
        physics.fail(failure)
        assert physics.settle()
        lost[failure] = physics.dark()
    own = {("core", str(at)) for at in range(9, 19)}
    assert lost[UnitLost("core")] == lost[UpsFlat("ups-a")] == own
    assert not lost[PanelLost("P2")]
    for failure, dark in lost.items():
        if isinstance(failure, UnitLost):
            assert {unit for unit, _ in dark} >= {failure.unit}
        elif failure not in (UpsFlat("ups-a"), IncomerLost("town-supply")):
            assert dark == set(), failure


@pytest.mark.parametrize("seed", range(20))
def test_every_single_failure_of_a_seeded_site(seed: int) -> None:
    """Balance in every state, no budget exceeded at rest, and an end to it."""
    site = random_site(seed)
    for failure in every_single_failure(site):
        physics = SitePhysics(site, Case.NIGHT, seed, noise_share=0.05)
        _assert_sound(physics)
        physics.fail(failure)
        _assert_sound(physics)
        for _ in range(8):
            physics.step(11)
            _assert_sound(physics)
        assert physics.settle()
        _assert_sound(physics)


@pytest.mark.parametrize("seed", range(20))
def test_a_seeded_site_is_valid_and_all_is_well_while_nothing_has_failed(seed: int) -> None:
    site = seeded_site(seed, delays=True)
    assert site == seeded_site(seed, delays=True)
    assert list(check_names(site)) == []
    assert not [one for one in check_structure(site) if one.severity is FindingSeverity.ERROR]
    assert 5 <= len(site.units) <= 20
    for case in (Case.TYPICAL, Case.NIGHT, Case.FROST_NIGHT):
        physics = SitePhysics(site, case)
        assert physics.settle()
        assert physics.dark() == set()
        _assert_sound(physics)


def test_seeded_sites_have_every_rule_and_go_dark_in_places() -> None:
    sites = [seeded_site(seed) for seed in range(20)]
    units = [one for site in sites for one in site.units.values()]
    assert {one.pse.shed for one in units if one.pse} == set(RULES)
    assert {one.pse.admission for one in units if one.pse} == {"drawn", "class", "granted"}
    assert {one.fed.spare_feed for one in units if one.fed} == {"held", "hidden"}
    assert {one.fed.output for one in units if one.fed} == {"boosted", "follows-input"}
    assert any(one.extender for one in units)
    shed = 0
    for site in sites:
        physics = SitePhysics(site, Case.NIGHT, class_must_fit=False)
        physics.fail(*all_unbacked_ac(site))
        assert physics.settle()
        _assert_sound(physics)
        shed += any(port.latched for one in physics.units.values() for port in one.ports.values())
    assert shed >= 10


@pytest.mark.parametrize("seed", range(5))
def test_the_same_beginning_comes_to_the_same_end_however_often_anybody_looks(seed: int) -> None:
    site = random_site(seed)
    for failure in all_unbacked_ac(site):
        often, once = (SitePhysics(site, Case.NIGHT, seed, noise_share=0.05) for _ in range(2))
        for physics in (often, once):
            physics.fail(failure)
        for _ in range(50):
            often.step(7)
        once.step(350)
        assert (often.time_s, often.dark()) == (once.time_s, once.dark())
        assert often.interrupted() == once.interrupted()
        for name, limit in often.limits().items():
            assert limit.drawn_w == pytest.approx(once.limits()[name].drawn_w, abs=1e-6)
    other = SitePhysics(site, Case.NIGHT, seed + 1, noise_share=0.05)
    assert other.limits() != SitePhysics(site, Case.NIGHT, seed, noise_share=0.05).limits()


def _assert_sound(physics: SitePhysics) -> None:
    balance = physics.balance()
    assert balance.residual_w == pytest.approx(0, abs=1e-6)
    assert balance.devices_w == pytest.approx(_device_watts(physics), abs=1e-9)
    for name, limit in physics.limits().items():
        if name.startswith("unit "):
            assert max(limit.drawn_w, limit.booked_w) <= limit.limit_w + 1e-6, name


def _device_watts(physics: SitePhysics) -> float:
    ports = [port for unit in physics.units.values() for port in unit.ports.values()]
    return sum(port.device_w for port in ports if port.on and port.load is not None)
