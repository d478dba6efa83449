"""Conditions of the ferry terminal in hand-made states, with their sentences word by word."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.judgement.scene import (
    EVERY_S,
    NIGHT_S,
    answers,
    changed,
    delivering,
    ferry_terminal,
    record,
    silence,
    with_what_fails_next,
)

from portdraw.judgement.alarm import AlarmKind, Severity
from portdraw.judgement.assessment import Availability, SiteAssessment
from portdraw.judgement.compare import assess
from portdraw.judgement.condition import Condition, Presence
from portdraw.judgement.leg_rules import COMING_BACK_S
from portdraw.judgement.memory import Memory
from portdraw.judgement.plan_sheet import plan_sheet
from portdraw.judgement.rules import site_conditions
from portdraw.observation.record import PortState, PowerSource, Quantity, Record
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree

SITE = ferry_terminal()
SHEET = plan_sheet(SITE, Tree(SITE))  # worked out once for all tests
Found = dict[str, UnitObservation]


def judge(
    found: Found, time_s: float, memory: Memory, site: Site = SITE
) -> tuple[list[Condition], SiteAssessment, Memory]:
    tree = Tree(site)
    seen, memory = assess(site, tree, found, time_s, EVERY_S, False, memory)
    return site_conditions(site, tree, seen, memory, EVERY_S), seen, memory


def after_a_good_cycle(
    found: Found, time_s: float = NIGHT_S, site: Site = SITE
) -> dict[tuple[str, str, str], Condition]:
    """Conditions at a time, with all well one interval before."""
    before_s = time_s - EVERY_S
    _, _, memory = judge(answers(site, before_s), before_s, Memory(sheet=SHEET), site)
    return {condition.key: condition for condition in judge(found, time_s, memory, site)[0]}


def on_quay_3(*names: str) -> Site:
    """The ferry terminal with more units on quay-3 than the berths."""
    supplies = SITE.units["berth-1"].supplies
    more = {name: SITE.units[name].model_copy(update={"supplies": supplies}) for name in names}
    return SITE.model_copy(update={"units": {**SITE.units, **more}})


def text(condition: Condition) -> str:
    began_s = NIGHT_S if condition.since_s is None else condition.since_s
    return condition.sentence(began_s, NIGHT_S, SITE.site.timezone)


def tonight(*records: Record, unit: str = "berth-1") -> Found:
    return changed(answers(SITE, NIGHT_S), unit, *records)


def test_all_well_is_no_condition_at_all() -> None:
    assert after_a_good_cycle(answers(SITE, NIGHT_S)) == {}


def test_local_ac_lost() -> None:
    found = after_a_good_cycle(answers(SITE, NIGHT_S, frozenset({"pier-7"})))
    assert set(found) == {("local-ac-lost", "north-pier", ""), ("local-ac-lost", "breakwater", "")}
    pier = found["local-ac-lost", "north-pier", ""]
    # 63.6 W at the feeder: the night's load by the power flow, 90 W class 8 at the PSE output (IEEE 802.3 clause 145)
    assert text(pier) == (
        "north-pier (mast 3, north pier) lost local AC at 22:06 (circuit pier-7, panel P2, breaker 7). "
        "It runs on the PoE feed from core port 1: 63.6 W of 90 W possible there. "
        "breakwater on the same circuit lost it too: the circuit is probably out."
    )
    assert pier.sure
    assert pier.witness == "core"
    assert pier.action.startswith(
        "Call the harbour electrician (ext. 204) for circuit pier-7. Find the cause first; "
        "do not re-close a tripped breaker."
    )
    assert pier.consequence == (
        "One leg is left. If the feed from core port 1 goes too, north-pier and breakwater go dark, with 7 devices: "
        "pier-lane-cam, pier-intercom, pier-ap, breakwater-cam, breakwater-sensor-1, breakwater-sensor-2 and "
        "breakwater-phone."
    )
    assert pier.severity is Severity.WARNING
    assert pier.why_severity == "all is powered, but one leg is left; the highest criticality on it is 2"


def test_local_ac_lost_while_a_neighbour_on_the_circuit_has_it() -> None:
    found = changed(
        answers(SITE, NIGHT_S),
        "core",
        record("2", Quantity.PORT_DRAW, 51.0, NIGHT_S),
        record("2", Quantity.PORT_PD_SOURCE, PowerSource.PSE, NIGHT_S),
    )
    found = changed(found, "berth-1", record(None, Quantity.UNIT_OWN_SOURCE, PowerSource.PSE, NIGHT_S))
    lost = after_a_good_cycle(found)["local-ac-lost", "berth-1", ""]
    assert text(lost).endswith(
        "51.0 W of 90 W possible there. berth-2 on the same circuit still has AC: "
        "see this unit's own supply and plug first."
    )


def test_ac_that_comes_back_unit_by_unit_sends_nobody_to_a_plug() -> None:
    """Units are read one after the other: breakwater is read again after its return, north-pier is not yet."""
    before_s, back_s = NIGHT_S - 600, NIGHT_S - 30
    _, _, memory = judge(answers(SITE, before_s - 30), before_s - 30, Memory(sheet=SHEET))
    out = answers(SITE, before_s, frozenset({"pier-7"}))
    _, _, memory = judge(out, before_s, memory)
    back = answers(SITE, back_s)
    pier = [one for one in answers(SITE, back_s, frozenset({"pier-7"}))["core"].records if one.port == "1"]
    found = changed(changed(back, "core", *pier), "north-pier")
    found["north-pier"] = changed(
        back, "north-pier", record(None, Quantity.UNIT_OWN_SOURCE, PowerSource.PSE, back_s)
    )["north-pier"]
    conditions, _, _ = judge(found, back_s, memory)
    (lost,) = [condition for condition in conditions if condition.kind is AlarmKind.LOCAL_AC_LOST]
    assert lost.unit == "north-pier"
    assert lost.tail.endswith("breakwater on the same circuit has it again: it is probably coming back here too.")


def half_back(time_s: float) -> Found:
    """pier-7 is back: breakwater has been read since, north-pier and its port at the feeder not yet."""
    out, back = answers(SITE, time_s, frozenset({"pier-7"})), answers(SITE, time_s)
    pier = [one for one in out["core"].records if one.port == "1"]
    own = record(None, Quantity.UNIT_OWN_SOURCE, PowerSource.PSE, time_s)
    return changed(changed(back, "core", *pier), "north-pier", own)


def neighbour_words(conditions: list[Condition]) -> str:
    (lost,) = [one for one in conditions if one.kind is AlarmKind.LOCAL_AC_LOST and one.presence is Presence.PRESENT]
    assert lost.unit == "north-pier"
    return lost.tail[lost.tail.index("breakwater") :]


def test_an_agent_that_starts_during_the_outage_sends_nobody_to_a_plug_when_ac_comes_back() -> None:
    start_s = NIGHT_S - 600
    first, _, memory = judge(answers(SITE, start_s, frozenset({"pier-7"})), start_s, Memory(sheet=SHEET))
    assert "was without local AC when first read" in first[0].head
    conditions, _, memory = judge(half_back(start_s + EVERY_S), start_s + EVERY_S, memory)
    assert neighbour_words(conditions) == (
        "breakwater on the same circuit has it again: it is probably coming back here too."
    )
    later_s = start_s + EVERY_S + COMING_BACK_S
    conditions, _, _ = judge(half_back(later_s), later_s, memory)
    assert neighbour_words(conditions) == (
        "breakwater on the same circuit has had AC for more than 5 minutes: see this unit's own supply and "
        "plug first."
    )


def test_a_neighbour_first_read_after_the_loss_may_have_it_again_or_still() -> None:
    conditions, _, _ = judge(half_back(NIGHT_S), NIGHT_S, Memory(sheet=SHEET))
    assert neighbour_words(conditions) == (
        "breakwater on the same circuit has AC now: it may be coming back here too; if it does not, see this unit's "
        "own supply and plug."
    )


def test_a_unit_that_is_first_read_late_is_not_said_to_have_changed_then() -> None:
    """The first cycle runs before anything is read: what is read in the next was so when first read."""
    _, _, memory = judge({}, NIGHT_S - EVERY_S, Memory(sheet=SHEET))
    conditions, _, memory = judge(answers(SITE, NIGHT_S, frozenset({"pier-7"})), NIGHT_S, memory)
    assert {one.head for one in conditions if one.unit == "north-pier"} == {
        "north-pier (mast 3, north pier) was without local AC when first read"
    }


def test_a_loss_outlasts_a_time_without_readings() -> None:
    out = answers(SITE, NIGHT_S, frozenset({"pier-7"}))
    _, _, memory = judge(answers(SITE, NIGHT_S - EVERY_S), NIGHT_S - EVERY_S, Memory(sheet=SHEET))
    _, seen, memory = judge(out, NIGHT_S, memory)
    silent_s = NIGHT_S + 5 * EVERY_S
    _, seen, memory = judge({name: silence(name, silent_s) for name in out}, silent_s, memory)
    pier = seen.unit("north-pier")
    assert pier is not None
    assert pier.legs[0].availability is Availability.UNKNOWN
    again_s = silent_s + EVERY_S
    _, seen, _ = judge(answers(SITE, again_s, frozenset({"pier-7"})), again_s, memory)
    pier = seen.unit("north-pier")
    assert pier is not None
    assert pier.legs[0].since_s == NIGHT_S


def test_what_is_only_so_now_is_not_said_when_it_is_over() -> None:
    lost = after_a_good_cycle(answers(SITE, NIGHT_S, frozenset({"pier-7"})))["local-ac-lost", "north-pier", ""]
    said = lost.summary(NIGHT_S, NIGHT_S, SITE.site.timezone)
    assert said == "north-pier (mast 3, north pier) lost local AC at 22:06 (circuit pier-7, panel P2, breaker 7)."


def test_a_unit_that_answers_and_tells_no_watts_is_not_fine() -> None:
    found = answers(SITE, NIGHT_S)
    watts = (Quantity.PORT_DRAW, Quantity.UNIT_DRAW)
    kept = tuple(one for one in found["ticket-hall"].records if one.quantity not in watts)
    found["ticket-hall"] = replace(found["ticket-hall"], records=kept)
    _, _, memory = judge(answers(SITE, NIGHT_S - EVERY_S), NIGHT_S - EVERY_S, Memory(sheet=SHEET))
    conditions, seen, _ = judge(found, NIGHT_S, memory)
    (untold,) = [condition for condition in conditions if condition.kind is AlarmKind.WATTS_UNTOLD]
    assert text(untold).startswith(
        "ticket-hall (above the counters, ticket hall) answers but has told no watts since 22:06"
    )
    assert seen.headline.startswith("ticket-hall tells no watts")
    ahead = {one.what: one.outlooks[0].assumed for one in with_what_fails_next(SITE, seen).next_failures}
    assert ahead["all local AC without a generator"] == ("ticket-hall",)
    assert ahead["supply of ticket-hall (hall-2)"] == ("ticket-hall",)


def test_local_ac_in_doubt_is_said_as_doubt() -> None:
    found = tonight(record("2", Quantity.PORT_DRAW, 51.0, NIGHT_S), unit="core")
    doubt = after_a_good_cycle(found)["local-ac-lost", "berth-1", ""]
    assert not doubt.sure
    assert text(doubt).startswith(
        "berth-1 (gantry, berth 1) may have lost local AC at 22:06 (circuit quay-3, panel P2, breaker 3). The signs "
        "contradict each other: core port 2 delivers 51.0 W, as on feed (51.2 W expected), yet the unit says: "
        "local AC and PoE feed."
    )


def test_words_against_standby_watts_raise_nothing_and_end_nothing() -> None:
    found = tonight(record(None, Quantity.UNIT_OWN_SOURCE, PowerSource.PSE, NIGHT_S))
    found = changed(found, "core", record("2", Quantity.PORT_PD_SOURCE, PowerSource.PSE, NIGHT_S))
    assert after_a_good_cycle(found)["local-ac-lost", "berth-1", ""].presence is Presence.UNKNOWN


def test_more_on_the_feed_than_it_may_carry_is_urgent() -> None:
    found = answers(SITE, NIGHT_S, frozenset({"quay-3"}))
    found = changed(found, "berth-1", *delivering("1", 43.0, NIGHT_S))
    found = changed(found, "core", record("2", Quantity.PORT_DRAW, 78.0, NIGHT_S))
    lost = after_a_good_cycle(found)["local-ac-lost", "berth-1", ""]
    assert lost.severity is Severity.URGENT
    assert lost.why_severity == "it gives 60.6 W and may give 59.6 W on its feed: devices may go off"


def test_poe_feed_lost() -> None:
    found = tonight(record("5", Quantity.PORT_STATE, PortState.SEARCHING, NIGHT_S), unit="core")
    lost = after_a_good_cycle(found)["poe-feed-lost", "exit-lanes", ""]
    assert text(lost) == (
        "exit-lanes (cabinet, exit lanes) lost its PoE feed at 22:06 (core port 5 is searching: nothing comes from "
        "it). It runs on local AC alone (circuit gate-5, panel P3, breaker 5)."
    )
    assert lost.consequence == (
        "One leg is left. If its local AC goes, exit-lanes goes dark, with 4 devices: "
        "exit-cam-1, exit-cam-2, exit-barrier and exit-sign."
    )


def test_what_was_so_when_first_read_is_said_so() -> None:
    conditions, _, _ = judge(answers(SITE, NIGHT_S, frozenset({"pier-7"})), NIGHT_S, Memory(sheet=SHEET))
    assert text(conditions[0]).startswith(
        "north-pier (mast 3, north pier) was without local AC when first read at 22:06"
    )


# watts on berth-1 port 1: a ptz of 30 W on a frost night, 30.6 W at the port, so above plan begins at 30.6 W + 5 %
@pytest.mark.parametrize(
    ("watts", "presence"),
    [(20.0, None), (30.0, None), (31.5, Presence.DEAD_BAND), (32.1, Presence.DEAD_BAND), (32.2, Presence.PRESENT)],
)
def test_port_above_plan(watts: float, presence: Presence | None) -> None:
    found = after_a_good_cycle(tonight(*delivering("1", watts, NIGHT_S))).get(("port-above-plan", "berth-1", "1"))
    assert (None if found is None else found.presence) is presence


def test_port_above_plan_in_words() -> None:
    found = after_a_good_cycle(tonight(*delivering("1", 33.0, NIGHT_S)))["port-above-plan", "berth-1", "1"]
    assert text(found) == (
        "berth-1 (gantry, berth 1) port 1 (D-01, berth-1-ptz) has drawn more than its plan since 22:06: "
        "33.0 W now, 2.4 W above the largest planned 30.6 W."
    )


# berth-1 port 4: a berth sensor, class 1, 4.0 W at the PSE output (IEEE 802.3 clause 33), plan 2.6 W
@pytest.mark.parametrize(
    ("watts", "device_class", "presence"),
    [
        (3.9, None, None),
        (3.95, None, Presence.DEAD_BAND),
        (4.1, None, Presence.PRESENT),
        (4.1, 2, None),  # the class that the switch reports counts
        (7.1, 2, Presence.PRESENT),
    ],
)
def test_port_above_class(watts: float, device_class: int | None, presence: Presence | None) -> None:
    found = after_a_good_cycle(tonight(*delivering("4", watts, NIGHT_S, device_class)))
    condition = found.get(("port-above-class", "berth-1", "4"))
    assert (None if condition is None else condition.presence) is presence


def test_port_above_class_in_words() -> None:
    found = after_a_good_cycle(tonight(*delivering("2", 15.9, NIGHT_S, 3)))["port-above-class", "berth-1", "2"]
    assert text(found) == (
        "berth-1 (gantry, berth 1) port 2 (D-02, berth-1-cam) has drawn more than its class allows since 22:06: "
        "15.9 W now, its class 3 allows 15.4 W at the port."
    )


def test_a_port_without_watts_is_not_judged() -> None:
    missing = record("2", Quantity.PORT_DRAW, None, NIGHT_S, missing="noSuchInstance")
    found = after_a_good_cycle(tonight(missing))
    assert found["port-above-plan", "berth-1", "2"].presence is Presence.UNKNOWN
    assert found["port-above-class", "berth-1", "2"].presence is Presence.UNKNOWN
    assert found["unit-over-budget", "berth-1", ""].presence is Presence.UNKNOWN


@pytest.mark.parametrize("state", [PortState.SEARCHING, PortState.DISABLED, PortState.FAULT])
def test_device_missing(state: PortState) -> None:
    found = after_a_good_cycle(tonight(record("2", Quantity.PORT_STATE, state, NIGHT_S)))[
        "planned-device-missing", "berth-1", "2"
    ]
    assert text(found) == (
        "berth-1-cam (berth-1 (gantry, berth 1), port 2, D-02) has had no power since 22:06: "
        f"the port is {state.value}."
    )
    assert (found.severity, found.why_severity) == (Severity.WARNING, "criticality 2 by the site file")


def test_the_severity_of_a_missing_device_is_its_criticality() -> None:
    searching = [record(key, Quantity.PORT_STATE, PortState.SEARCHING, NIGHT_S) for key in ("9", "10", "18")]
    found = after_a_good_cycle(tonight(*searching, unit="core"))
    severities = [found["planned-device-missing", "core", key].severity for key in ("9", "10", "18")]
    ranks = [SITE.units["core"].ports[key] for key in ("9", "10", "18")]
    expected = {1: Severity.URGENT, 2: Severity.WARNING, 3: Severity.NOTICE}
    by_priority = {"critical": 1, "high": 2, "low": 3}
    assert severities == [expected[port.criticality or by_priority[port.priority]] for port in ranks]
    assert severities[0] is Severity.URGENT


def test_device_unplanned() -> None:
    new = [*delivering("7", 6.3, NIGHT_S), record("7", Quantity.PORT_NEIGHBOUR, "kiosk\x1b[31m-2", NIGHT_S)]
    found = after_a_good_cycle(tonight(*new))["unplanned-device", "berth-1", "7"]
    assert text(found) == (
        "berth-1 (gantry, berth 1) port 7 feeds a device that is not in the site file, since 22:06: it takes 6.3 W. "
        'It calls itself "kiosk[31m-2".'
    )


def test_an_idle_port_that_the_plan_does_not_know_is_nothing() -> None:
    assert after_a_good_cycle(tonight(record("7", Quantity.PORT_STATE, PortState.SEARCHING, NIGHT_S))) == {}


def test_power_denied_and_then_given() -> None:
    memory = Memory(sheet=SHEET)
    kinds: list[list[str]] = []
    for step, (count, state) in enumerate([(5, "searching"), (8, "searching"), (8, "searching"), (8, "delivering")]):
        time_s = NIGHT_S + step * EVERY_S
        port = [record("2", Quantity.PORT_DENIED, count, time_s), record("2", Quantity.PORT_STATE, state, time_s)]
        conditions, _, memory = judge(changed(answers(SITE, time_s), "berth-1", *port), time_s, memory)
        kinds.append([f"{one.kind.value} {one.presence.value}" for one in conditions])
        for one in conditions:
            if one.kind is AlarmKind.POWER_DENIED:
                assert one.sentence(NIGHT_S + EVERY_S, time_s, SITE.site.timezone) == (
                    "berth-1 (gantry, berth 1) port 2 (D-02, berth-1-cam) has been refused power by its switch since "
                    "22:06: 3 times at the last rise, 8 in all as the switch counts."
                )
    refused = ["planned-device-missing within the dead-band", "power-denied present"]
    assert kinds == [["planned-device-missing present"], refused, refused, []]


def test_unit_into_its_margin_and_over_its_budget() -> None:
    near = after_a_good_cycle(tonight(*delivering("1", 40.0, NIGHT_S), *delivering("5", 20.0, NIGHT_S)))
    assert text(near["unit-near-budget", "berth-1", ""]) == (
        "berth-1 (gantry, berth 1) has been into its margin since 22:06: it gives 77.6 W of the 90 W it may give on "
        "local AC; 20 % of that (18 W) is to be kept free."
    )
    assert ("unit-over-budget", "berth-1", "") not in near
    over = after_a_good_cycle(tonight(*delivering("1", 40.0, NIGHT_S), *delivering("5", 40.0, NIGHT_S)))
    assert text(over["unit-over-budget", "berth-1", ""]) == (
        "berth-1 (gantry, berth 1) has been over its budget since 22:06: it gives 97.6 W, 7.6 W more than the 90 W "
        "it may give on local AC."
    )
    assert over["unit-near-budget", "berth-1", ""].presence is Presence.DEAD_BAND


def test_after_a_failure_the_lesser_margin_holds() -> None:
    # frost night on feed: 51.0 W of 58.2 W is 88 %: into a margin of 20 %, not into the 5 % to keep after a failure
    found = answers(SITE, NIGHT_S, frozenset({"gate-5"}), Case.FROST_NIGHT)
    assert ("unit-near-budget", "entry-lanes", "") not in after_a_good_cycle(found)


def test_a_partly_known_draw_proves_too_much_never_enough() -> None:
    told = [*delivering("1", 45.0, NIGHT_S), *delivering("5", 45.0, NIGHT_S)]
    told.append(record("2", Quantity.PORT_DRAW, None, NIGHT_S, missing="timeout"))
    assert after_a_good_cycle(tonight(*told))["unit-over-budget", "berth-1", ""].presence is Presence.PRESENT


def test_reading_stale() -> None:
    found = {**answers(SITE, NIGHT_S), "berth-1": silence("berth-1", NIGHT_S)}
    stale = after_a_good_cycle(found)["reading-stale", "berth-1", ""]
    assert text(stale) == (
        "berth-1 (gantry, berth 1) has not been heard since 22:05. No answer within 8 s. "
        "core port 2 delivers 1.3 W to it: unreachable, but powered."
    )
    assert (stale.value, stale.measure) == (EVERY_S, "s")


def test_a_silent_unit_whose_feed_is_off_while_its_circuit_is_out_is_probably_dark() -> None:
    """Two others on the circuit lost their AC too, and nothing comes from the feeder's port."""
    site = on_quay_3("entry-lanes", "exit-lanes")
    out = answers(site, NIGHT_S, frozenset({"quay-3"}))
    found = changed(out, "core", record("2", Quantity.PORT_STATE, PortState.SEARCHING, NIGHT_S))
    dark = after_a_good_cycle({**found, "berth-1": silence("berth-1", NIGHT_S)}, site=site)
    stale = dark["reading-stale", "berth-1", ""]
    assert text(stale).endswith(
        "core port 2 delivers nothing to it and circuit quay-3 is probably out: it is probably dark."
    )
    assert (stale.severity, stale.why_severity) == (Severity.URGENT, "nothing is left that could power it")


def test_a_silent_unit_that_is_fed_by_nothing_known_is_not_called_dark() -> None:
    found = changed(answers(SITE, NIGHT_S), "core", record("2", Quantity.PORT_STATE, PortState.SEARCHING, NIGHT_S))
    stale = after_a_good_cycle({**found, "berth-1": silence("berth-1", NIGHT_S)})["reading-stale", "berth-1", ""]
    assert text(stale).endswith("core port 2 delivers nothing to it; whether it has local AC is not known.")
    assert stale.severity is None


def test_the_odd_one_out_is_named_where_the_others_agree() -> None:
    site = on_quay_3("entry-lanes", "exit-lanes")
    out, well = answers(site, NIGHT_S, frozenset({"quay-3"})), answers(site, NIGHT_S)
    port = [one for one in well["core"].records if one.port == "5"]  # feeds exit-lanes, which still has its AC
    found = changed({**out, "exit-lanes": well["exit-lanes"]}, "core", *port)
    lost = after_a_good_cycle(found, site=site)["local-ac-lost", "berth-1", ""]
    assert lost.tail.endswith(
        "berth-2 and entry-lanes on the same circuit lost it too: the circuit is probably out, though exit-lanes has "
        "AC: see to which breaker it is really wired."
    )


def test_one_of_two_feeds_lost() -> None:
    core = SITE.units["core"]
    ports = {
        **core.ports,
        "2": core.ports["2"].model_copy(update={"feeds": "berth-1/in-1"}),
        "24": core.ports["2"].model_copy(update={"feeds": "berth-1/in-2"}),
    }
    site = SITE.model_copy(update={"units": {**SITE.units, "core": core.model_copy(update={"ports": ports})}})
    both = [*delivering("2", 1.3, NIGHT_S), *delivering("24", 1.3, NIGHT_S)]
    _, seen, memory = judge(changed(answers(site, NIGHT_S), "core", *both), NIGHT_S, Memory(), site)
    berth = seen.unit("berth-1")
    assert berth is not None
    assert [leg.name for leg in berth.legs] == ["local AC", "PoE feed", "PoE feed in-2"]
    time_s = NIGHT_S + EVERY_S
    off = [*delivering("2", 1.3, time_s), record("24", Quantity.PORT_STATE, PortState.SEARCHING, time_s)]
    conditions, _, _ = judge(changed(answers(site, time_s), "core", *off), time_s, memory, site)
    (lost,) = [one for one in conditions if one.kind is AlarmKind.POE_FEED_LOST and one.head]
    assert lost.head == "berth-1 (gantry, berth 1) lost its PoE feed from core port 24"
    assert lost.tail.startswith(
        " (core port 24 is searching: nothing comes from it). "
        "It runs on local AC, with the feed from core port 2 left"
    )
    assert lost.consequence.startswith(
        "One way less is left. If local AC and the feed from core port 2 go too, berth-1 goes dark"
    )


def test_never_heard() -> None:
    found = {**answers(SITE, NIGHT_S), "core": silence("core", NIGHT_S)}
    stale = next(one for one in judge(found, NIGHT_S, Memory(sheet=SHEET))[0] if one.kind is AlarmKind.READING_STALE)
    assert text(stale).startswith("core (control room, rack 1) has never answered: first asked at 22:05.")


def test_equipment_that_is_not_readable_is_never_stale() -> None:
    berth = SITE.units["berth-1"].model_copy(update={"access": "none"})
    site = SITE.model_copy(update={"units": {**SITE.units, "berth-1": berth}})
    found = answers(site, NIGHT_S)
    del found["berth-1"]
    conditions, seen, _ = judge(found, NIGHT_S, Memory(sheet=SHEET), site)
    assert seen.unit("berth-1").outcome is Outcome.NOT_READABLE  # type: ignore[union-attr]
    assert not [one for one in conditions if one.unit == "berth-1" and one.presence is Presence.PRESENT]
