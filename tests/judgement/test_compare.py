"""The ferry terminal, assessed. Figures of the worked site come from a separate solver (see each test)."""

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

from portdraw.judgement.assessment import Availability, Carrying, SiteAssessment
from portdraw.judgement.compare import assess
from portdraw.judgement.memory import Memory
from portdraw.judgement.plan_sheet import plan_sheet
from portdraw.observation.record import Basis, PortState, PowerSource, Quantity
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.load_case import Case
from portdraw.plan.tree import Tree

SITE = ferry_terminal()
TREE = Tree(SITE)
SHEET = plan_sheet(SITE, TREE)  # worked out once for all tests
PIER_OUT = frozenset({"pier-7"})
NOON_S = NIGHT_S - 9 * 3600


def look(
    found: dict[str, UnitObservation],
    time_s: float = NIGHT_S,
    memory: Memory | None = None,
    emulated: bool = False,
) -> tuple[SiteAssessment, Memory]:
    return assess(SITE, TREE, found, time_s, EVERY_S, emulated, memory or Memory(sheet=SHEET))


def headline(found: dict[str, UnitObservation], time_s: float = NIGHT_S, memory: Memory | None = None) -> str:
    """The headline once the failures were studied."""
    return with_what_fails_next(SITE, look(found, time_s, memory)[0]).headline


def test_headline_in_normal_running_at_night() -> None:
    # 460.4 W asked of 440 W: worked out for this site by a separate solver; 3 devices as read, the first of them is
    # foyer-sign, and readings 5 % lower or higher give 0 and 6
    assert headline(answers(SITE, NIGHT_S)) == (
        "All 9 units answer and none has lost a leg; if all local AC goes, core is 20 W short: "
        "foyer-sign goes dark and 3 more may."
    )


def test_headline_at_noon() -> None:
    # 410.3 W asked of 440 W by the same solver, nothing dark at readings 5 % higher
    said = headline(answers(SITE, NOON_S, case=Case.TYPICAL), NOON_S)
    assert said.endswith("if all local AC goes, core still has 30 W to spare.")
    assert not look(answers(SITE, NOON_S, case=Case.TYPICAL), NOON_S)[0].night


def test_headline_with_units_on_their_feed() -> None:
    seen, _ = look(answers(SITE, NIGHT_S, PIER_OUT), emulated=True)
    assert with_what_fails_next(SITE, seen).headline == (
        "EMULATED: 2 units run on their PoE feed; if the rest of the local AC goes, core is 20 W short: "
        "foyer-sign goes dark and 3 more may."
    )


def test_headline_with_a_unit_not_heard() -> None:
    _, memory = look(answers(SITE, NIGHT_S))
    later_s = NIGHT_S + 4 * EVERY_S
    found = answers(SITE, later_s)
    found["ticket-hall"] = silence("ticket-hall", later_s)
    found["berth-2"] = silence("berth-2", later_s, Outcome.REFUSED, "unknown user")
    # both units count with their largest planned watts, so that the shortfall is the most there can be
    assert headline(found, later_s, memory).startswith(
        "ticket-hall is not heard, berth-2 refuses our credentials; if all local AC goes, core is up to "
    )


def test_headline_before_the_first_answer() -> None:
    seen, _ = look({})
    # 562.2 W asked of 440 W in the largest case, a frost night, by the same solver: up to all that hangs there
    assert headline({}).startswith("9 units are not asked yet; if all local AC goes, core is up to 122 W short: ")
    assert all(unit.stale and unit.draw_w is None and unit.share is None for unit in seen.units)


def test_headline_with_a_lost_spare_feed() -> None:
    found = changed(answers(SITE, NIGHT_S), "core", record("5", Quantity.PORT_STATE, PortState.SEARCHING, NIGHT_S))
    # exit-lanes' four devices have no other leg then; its 49.5 W or so are no longer asked of the core, which fits
    assert headline(found).startswith("exit-lanes has lost the PoE feed; if all local AC goes, core still has ")
    assert headline(found).endswith(" to spare: 4 devices go dark.")


# outputs on AC, fed budget, watts at the feeder: the worked frost night of this site, from a separate solver
FROST = [
    ("berth-1", 55.5, 59.6, 74.4),
    ("berth-2", 49.0, 59.6, 67.2),
    ("entry-lanes", 51.0, 58.2, 68.8),
    ("exit-lanes", 51.6, 58.2, 70.5),
    ("ticket-hall", 49.6, 58.2, 64.9),
    ("waiting-room", 46.4, 58.2, 61.8),
]


@pytest.mark.parametrize(("name", "outputs_w", "budget_w", "feeder_w"), FROST)
def test_units_against_the_worked_site(name: str, outputs_w: float, budget_w: float, feeder_w: float) -> None:
    seen, _ = look(answers(SITE, NIGHT_S, case=Case.FROST_NIGHT))
    unit = seen.unit(name)
    assert unit is not None
    assert unit.draw_w == pytest.approx(outputs_w, abs=0.06)  # printed with one decimal
    assert unit.planned_max_w == pytest.approx(outputs_w, abs=0.06)
    assert unit.budget_on_feed_w == pytest.approx(budget_w, abs=0.06)
    assert unit.feed_need_w == pytest.approx(feeder_w, abs=0.06)
    assert unit.budget_w == unit.budget_on_ac_w == 90
    assert unit.share == pytest.approx(outputs_w / 90, abs=0.001)
    assert unit.feed_limit_w == 90  # class 8 at the PSE output, IEEE 802.3 clause 145


def test_the_budget_is_that_of_the_leg_that_carries() -> None:
    seen, _ = look(answers(SITE, NIGHT_S, PIER_OUT))
    pier = seen.unit("north-pier")
    assert pier is not None
    assert pier.budget_w == pier.budget_on_feed_w == pytest.approx(59.6, abs=0.06)
    feed_port = next(port for port in seen.units[0].ports if port.port == "1")
    assert feed_port.planned_now_w == pytest.approx(feed_port.draw_w)
    assert feed_port.planned_max_w == pytest.approx(76.4, abs=0.06)  # frost night, by the separate solver


def test_an_unknown_leg_gives_the_lesser_budget() -> None:
    found = answers(SITE, NIGHT_S)
    for name in ("north-pier", "core"):
        found[name] = replace(
            found[name],
            records=tuple(
                one
                for one in found[name].records
                if one.quantity not in (Quantity.PORT_PD_SOURCE, Quantity.UNIT_OWN_SOURCE)
            ),
        )
    found = changed(found, "core", record("1", Quantity.PORT_DRAW, None, NIGHT_S, missing="noSuchInstance"))
    pier = look(found)[0].unit("north-pier")
    assert pier is not None
    assert [leg.carrying for leg in pier.legs] == [Carrying.UNKNOWN, Carrying.UNKNOWN]
    assert pier.budget_w == pier.budget_on_feed_w


def test_a_granted_allocation_sets_the_budget_on_feed_while_it_carries() -> None:
    granted = record("1", Quantity.PORT_GRANTED, 51.0, NIGHT_S)
    on_ac = look(changed(answers(SITE, NIGHT_S), "core", granted))[0].unit("north-pier")
    on_feed = look(changed(answers(SITE, NIGHT_S, PIER_OUT), "core", granted))[0].unit("north-pier")
    assert on_ac is not None
    assert on_feed is not None
    assert on_ac.budget_on_feed_w == pytest.approx(59.6, abs=0.06)
    assert on_feed.budget_on_feed_w == pytest.approx((51.0 - 6.5) * 0.92)  # (granted - own use) x fed efficiency


def test_since_when_a_leg_is_lost() -> None:
    first, memory = look(answers(SITE, NIGHT_S))
    assert first.unit("north-pier").legs[0].since_s is None  # type: ignore[union-attr]
    lost_s = NIGHT_S + EVERY_S
    second, memory = look(answers(SITE, lost_s, PIER_OUT), lost_s, memory)
    third, _ = look(answers(SITE, lost_s + EVERY_S, PIER_OUT), lost_s + EVERY_S, memory)
    for seen in (second, third):
        ac = seen.unit("north-pier").legs[0]  # type: ignore[union-attr]
        assert (ac.availability, ac.since_s, ac.sure) == (Availability.LOST, lost_s, True)


def test_one_poll_that_brings_nothing_leaves_the_last_answer_for_a_while() -> None:
    _, memory = look(answers(SITE, NIGHT_S))
    soon_s = NIGHT_S + EVERY_S
    found = {**answers(SITE, soon_s), "berth-1": silence("berth-1", soon_s)}
    seen, memory = look(found, soon_s, memory)
    berth = seen.unit("berth-1")
    assert berth is not None
    assert (berth.stale, berth.outcome, berth.read_s) == (False, Outcome.SILENT, NIGHT_S)
    assert berth.draw_w is not None
    late_s = NIGHT_S + 3 * EVERY_S + 1
    berth = look({**answers(SITE, late_s), "berth-1": silence("berth-1", late_s)}, late_s, memory)[0].unit("berth-1")
    assert berth is not None
    assert berth.stale
    assert berth.draw_w is None
    assert berth.read_s == NIGHT_S
    assert {port.missing for port in berth.ports} == {"no fresh reading of the unit"}
    # its feeder still tells which leg carries it
    assert berth.legs[0].carrying is Carrying.ALL


def test_stale_records_in_a_fresh_answer_are_unknown() -> None:
    old_s = NIGHT_S - 4 * EVERY_S
    found = changed(answers(SITE, NIGHT_S), "berth-1", *delivering("1", 20.0, old_s))
    port = next(port for port in look(found)[0].unit("berth-1").ports if port.port == "1")  # type: ignore[union-attr]
    assert (port.state, port.draw_w, port.missing) == (None, None, "its last reading is too old")


def test_a_unit_that_tells_only_its_total() -> None:
    found = answers(SITE, NIGHT_S)
    told = [one for one in found["ticket-hall"].records if one.quantity is not Quantity.PORT_DRAW]
    total = record(None, Quantity.UNIT_DRAW, 45, NIGHT_S)
    found["ticket-hall"] = replace(found["ticket-hall"], records=(*told, total))
    hall = look(found)[0].unit("ticket-hall")
    assert hall is not None
    assert (hall.draw_w, hall.draw_basis, hall.draw_complete) == (45.0, Basis.MEASURED, True)
    delivering_ports = [port for port in hall.ports if port.state is PortState.DELIVERING]
    assert {port.basis for port in delivering_ports} == {Basis.ESTIMATED}
    assert {port.source for port in delivering_ports} == {
        "test: shared out; never seen to switch, so no surer than the plan"
    }
    # however the unit makes its total whole, the sum of its ports would be told as this total
    assert sum(port.draw_w or 0.0 for port in hall.ports) == pytest.approx(45.0, abs=1.0)
    assert hall.feed_need_w is not None


def test_a_lost_supply_is_not_a_lost_circuit() -> None:
    found = answers(SITE, NIGHT_S)
    alone = answers(SITE, NIGHT_S, PIER_OUT)
    core_1 = [one for one in alone["core"].records if one.port == "1"]
    # north-pier is on its feed, breakwater on the same circuit still has AC: the circuit is there for breakwater
    watts = [record("1", Quantity.PORT_DRAW, 43.0, NIGHT_S)]
    found = changed(found, "core", *core_1, *watts)
    found = changed(found, "north-pier", record(None, Quantity.UNIT_OWN_SOURCE, PowerSource.PSE, NIGHT_S))
    seen, _ = look(found)
    pier, breakwater = seen.unit("north-pier"), seen.unit("breakwater")
    assert pier is not None
    assert breakwater is not None
    assert [pier.legs[0].availability, breakwater.legs[0].availability] == [Availability.LOST, Availability.BELIEVED]
    failures = with_what_fails_next(SITE, seen).next_failures
    assert next(one for one in failures if one.what == "circuit pier-7").moved_units == ("breakwater",)


def test_a_circuit_that_is_out_is_no_next_failure() -> None:
    seen, _ = look(answers(SITE, NIGHT_S, PIER_OUT))
    assert "circuit pier-7" not in [one.what for one in with_what_fails_next(SITE, seen).next_failures]


def test_denied_counters_are_compared_from_cycle_to_cycle() -> None:
    memory: Memory | None = None
    rises = []
    for step, count in enumerate([5, 5, 8, 8, 2]):  # the last: the switch has begun anew at zero
        time_s = NIGHT_S + step * EVERY_S
        found = changed(answers(SITE, time_s), "core", record("18", Quantity.PORT_DENIED, count, time_s))
        _, memory = look(found, time_s, memory)
        kept = memory.denied["core", "18"]
        rises.append((kept.rose_s, kept.rose_by))
    third_s, last_s = NIGHT_S + 2 * EVERY_S, NIGHT_S + 4 * EVERY_S
    assert rises == [(None, 0), (None, 0), (third_s, 3), (third_s, 3), (last_s, 2)]


def test_cycles_are_counted_and_the_plan_is_worked_out_once() -> None:
    first, memory = look(answers(SITE, NIGHT_S))
    second, again = look(answers(SITE, NIGHT_S), NIGHT_S, memory)
    assert (first.cycle, second.cycle) == (1, 2)
    assert again.sheet is memory.sheet
