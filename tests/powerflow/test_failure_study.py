"""The failure study: the ferry terminal against its worked example, overlay against from scratch on any site."""

from __future__ import annotations

import pytest
from tests.powerflow.random_sites import large_site, small_site
from tests.powerflow.sites import ferry_terminal
from tests.references.reference_table import rows

from portdraw.plan.load_case import Case
from portdraw.plan.site import Generator, Site, Supply
from portdraw.powerflow.failure import FailureKind, all_unbacked_ac, circuit_pairs, single_failures
from portdraw.powerflow.failure_result import FailureResult, Outcome
from portdraw.powerflow.failure_study import FailureStudy, base_state, study_failures, study_one
from portdraw.powerflow.limit_state import LimitKind, limit_states
from portdraw.powerflow.load import Load, planned_load, scaled_load, uncertain_load, worst_steady_load
from portdraw.powerflow.network import Network, network_of
from portdraw.powerflow.redundancy import Grade, false_redundancy
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.solve import solve
from portdraw.powerflow.source_load import battery_minutes
from portdraw.powerflow.state import today

NETWORK = network_of(ferry_terminal())
ALL_AC = "all local AC without a generator"
SHED_AT_NIGHT = {"foyer-sign", "office-phone-2", "office-phone-1"}
SHED_ON_A_FROST_NIGHT = SHED_AT_NIGHT | {
    "office-ap", "foyer-cam", "control-ap", "store-cam", "quay-door-cam", "stair-cam", "desk-phone",
    "waiting-cam-1", "waiting-cam-2", "waiting-ap", "waiting-sign", "waiting-phone",
}  # fmt: skip


def study(case: Case, network: Network = NETWORK) -> FailureStudy:
    return study_failures(network, planned_load(network, case), pairs=True)


def all_ac(network: Network, load: Load) -> FailureResult:
    failure = all_unbacked_ac(network)
    assert failure is not None
    return study_one(base_state(network, load), failure)


@pytest.mark.parametrize("row", [pytest.param(row, id=row["case"]) for row in rows("ferry_terminal_ac_loss.csv")])
def test_loss_of_all_unbacked_ac(row: dict[str, str]) -> None:
    load = planned_load(NETWORK, Case(row["case"]))
    base = base_state(NETWORK, load)
    found = all_ac(NETWORK, load)
    core = next(limit for limit in limit_states(base.likely) if limit.limit == "core budget")
    before = next(limit for limit in limit_states(base.likely) if limit.limit == "ups-a rating")
    touched = [found.worst, *found.over]
    worst = next(limit for limit in touched if limit is not None and limit.limit == "core budget")
    after = next(limit for limit in limit_states(lost(load)) if limit.limit == "ups-a rating")
    assert f"{core.need_w:.1f}" == row["normal_w"]
    assert f"{worst.need_w:.1f}" == row["all_lost_w"]
    assert f"{100 * worst.share:.0f}" == row["percent"]
    assert f"{worst.short_w:.1f}" == row["short_w"]
    assert (f"{before.need_w:.0f}", f"{after.need_w:.0f}") == (row["ups_before_w"], row["ups_after_w"])
    assert f"{battery_minutes(base.likely, 'ups-a'):.0f}" == row["minutes_before"]
    assert found.minutes is not None
    assert f"{found.minutes:.0f}" == row["minutes_after"]
    dark = [len(all_ac(NETWORK, scaled_load(NETWORK, load, percent)).dark) for percent in (-5, 5)]
    assert [str(dark[0]), str(len(found.dark)), str(dark[1])] == row["dark"].split("/")


def lost(load: Load, circuits: frozenset[str] | None = None, network: Network = NETWORK) -> Solution:
    """The state without some circuits, without any by default."""
    gone = frozenset(network.site.circuits) if circuits is None else circuits
    return solve(network, load, today(network, circuits=gone))


def test_who_goes_dark_by_name() -> None:
    assert all_ac(NETWORK, planned_load(NETWORK, Case.TYPICAL)).dark == ()
    assert set(all_ac(NETWORK, planned_load(NETWORK, Case.NIGHT)).dark) == SHED_AT_NIGHT
    frost = all_ac(NETWORK, planned_load(NETWORK, Case.FROST_NIGHT))
    assert set(frost.dark) == SHED_ON_A_FROST_NIGHT
    assert frost.may_go_dark == ()
    assert frost.dark_units == ("waiting-room",)
    assert set(frost.stays) | set(frost.dark) == {
        port.device for unit in NETWORK.site.units.values() for port in unit.ports.values() if port.device
    }


def test_readings_that_are_known_to_five_percent() -> None:
    # worked example: 15 dark at readings 5 % lower, 21 at readings 5 % higher
    load = uncertain_load(NETWORK, planned_load(NETWORK, Case.FROST_NIGHT), 5)
    found = all_ac(NETWORK, load)
    assert (len(found.dark), len(found.may_go_dark), len(found.stays)) == (15, 6, 24)
    assert len(all_ac(NETWORK, uncertain_load(NETWORK, planned_load(NETWORK, Case.NIGHT), 5)).may_go_dark) == 6


@pytest.mark.parametrize("case", [Case.TYPICAL, Case.NIGHT, Case.FROST_NIGHT])
def test_no_single_circuit_pair_or_panel_darkens_anything(case: Case) -> None:
    for result in study(case).results:
        if result.failure.kind in (FailureKind.CIRCUIT, FailureKind.PAIR, FailureKind.PANEL, FailureKind.UPS_INPUT):
            assert result.dark == (), result.what


def test_verdicts_on_the_promise_of_the_site() -> None:
    # worked example: every single failure passes; all unbacked AC passes at noon and fails at night by three devices
    for case, outcome in ((Case.TYPICAL, Outcome.SURVIVED), (Case.NIGHT, Outcome.NOT_SURVIVED)):
        for result in study(case).results:
            if result.what == ALL_AC:
                assert result.verdict.outcome is outcome
            else:
                assert result.verdict.outcome in (Outcome.SURVIVED, Outcome.NOT_JUDGED), result.what
    assert set(study(Case.NIGHT).of(ALL_AC).verdict.broken_by) == SHED_AT_NIGHT


def test_the_core_or_its_ups_takes_ten_devices() -> None:
    found = study(Case.FROST_NIGHT)
    for what in ("unit core", "ups-a run flat"):
        result = found.of(what)
        assert len(result.dark) == 10
        assert result.dark_units == ("core",)
        assert set(result.unreachable) == set(NETWORK.site.units) - {"core"}
        assert result.verdict.outcome is Outcome.NOT_JUDGED


def test_a_circuit_moves_its_units_and_leaves_them_one_leg() -> None:
    result = study(Case.NIGHT).of("circuit pier-7")
    assert set(result.moved) == {"north-pier", "breakwater"}
    assert set(result.on_one_leg) == {"north-pier", "breakwater"}
    assert result.worst is not None
    assert result.worst.limit == "north-pier budget on PoE feed"


def test_a_cable_takes_the_data_and_a_port_does_not() -> None:
    found = study(Case.NIGHT)
    cable, port = found.of("feed cable of north-pier (core port 1)"), found.of("core port 1, feed of north-pier")
    assert set(cable.unreachable) == {"north-pier", "breakwater"}
    assert port.unreachable == ()
    assert cable.dark == port.dark == ()
    assert cable.on_one_leg == port.on_one_leg == ("north-pier",)


def test_the_limit_that_shed_is_named() -> None:
    # worked example: at night the core is asked for more than its 440 W once all local AC is gone, at noon it is not
    load = planned_load(NETWORK, Case.NIGHT)
    found = all_ac(NETWORK, load)
    assert [(limit.subject, limit.kind) for limit in found.shed_by] == [("core", LimitKind.BUDGET)]
    assert found.shed_by[0].over
    assert all_ac(NETWORK, planned_load(NETWORK, Case.TYPICAL)).shed_by == ()


def test_what_shed_while_a_generator_started_is_named() -> None:
    network = network_of(backed_hall())
    found = study_failures(network, planned_load(network, Case.FROST_NIGHT)).of("incomer town-supply")
    assert [limit.limit for limit in found.shed_by] == ["core budget"]


def test_progress_ends_at_all() -> None:
    told: list[tuple[int, int]] = []
    found = study_failures(
        NETWORK, planned_load(NETWORK, Case.NIGHT), progress=lambda done, count: told.append((done, count))
    )
    assert told[-1] == (len(found.results), len(found.results))


def test_what_is_out_already_makes_the_next_failure_worse() -> None:
    load = planned_load(NETWORK, Case.FROST_NIGHT)
    outage = today(NETWORK, feeds=frozenset({("core", "1")}))
    found = study_failures(NETWORK, load, outage)
    gone = found.of("circuit pier-7")
    assert {"pier-lane-cam", "breakwater-cam"} <= set(gone.dark)
    assert gone.verdict.outcome is Outcome.SURVIVED  # nothing but the circuit could power them
    assert set(gone.verdict.alone) == set(gone.dark)
    assert all(result.failure.subject != "north-pier" for result in found.results if "cable" in result.what)


def mended() -> Site:
    """The ferry terminal with a third module of 220 W, 660 W in all."""
    site = NETWORK.site
    core = site.units["core"]
    assert core.pse is not None
    third = Supply.model_validate({"from": "ups-a", "efficiency": 0.9, "pse_share_w": 220})
    core = core.model_copy(
        update={"supplies": (*core.supplies, third), "pse": core.pse.model_copy(update={"budget_w": 660.0})}
    )
    return site.model_copy(update={"units": {**site.units, "core": core}})


def test_the_mend() -> None:
    # worked example: a third module: noon 62 %, night 70 %, frost 85 %, nothing dark at +/- 5 %, UPS 81 %, 71 min;
    # the new weak point is one module and all AC together
    network = network_of(mended())
    shares = []
    for case in (Case.TYPICAL, Case.NIGHT, Case.FROST_NIGHT):
        found = all_ac(network, uncertain_load(network, planned_load(network, case), 5))
        assert found.dark == found.may_go_dark == ()
        assert found.verdict.outcome is Outcome.SURVIVED
        likely = all_ac(network, planned_load(network, case))
        core = next(
            limit
            for limit in limit_states(lost(planned_load(network, case), None, network))
            if limit.limit == "core budget"
        )
        shares.append(f"{100 * core.share:.0f}")
        last = likely
    assert shares == ["62", "70", "85"]
    assert last.minutes is not None
    assert f"{last.minutes:.0f}" == "71"
    ups = next(
        limit
        for limit in limit_states(lost(planned_load(network, Case.FROST_NIGHT), None, network))
        if limit.limit == "ups-a rating"
    )
    assert f"{100 * ups.share:.0f}" == "81"
    outage = today(network, supplies=frozenset({("core", 0)}))
    weak = study_failures(network, planned_load(network, Case.FROST_NIGHT), outage).of(ALL_AC)
    assert weak.verdict.outcome is Outcome.NOT_SURVIVED


def backed_hall() -> Site:
    """The ferry terminal with circuit hall-2 behind a generator of its own panel."""
    site = NETWORK.site
    return site.model_copy(
        update={
            "panels": {**site.panels, "P4": site.panels["P1"]},
            "circuits": {**site.circuits, "hall-2": site.circuits["hall-2"].model_copy(update={"panel": "P4"})},
            "generators": {"diesel": Generator(rating_w=5000, feeds=("P4",))},
        }
    )


def test_backing_one_circuit_fits_but_uses_the_margin() -> None:
    # worked example: 438.1 of 440 W: fits, but fails a 5 % margin
    network = network_of(backed_hall())
    found = all_ac(network, planned_load(network, Case.FROST_NIGHT))
    assert found.dark == ()
    assert found.worst is not None
    assert (found.worst.limit, f"{found.worst.need_w:.1f}") == ("core budget", "438.1")
    assert found.margin_used


def test_what_was_shed_while_a_generator_started_stays_off() -> None:
    network = network_of(backed_hall())
    found = study_failures(network, planned_load(network, Case.FROST_NIGHT)).of("incomer town-supply")
    # all is on the feeds until the generator carries: 562 W, so the ten devices of the core are shed and stay off
    assert found.failure.start_s == 30
    assert set(found.dark) == SHED_ON_A_FROST_NIGHT - {
        "waiting-cam-1", "waiting-cam-2", "waiting-ap", "waiting-sign", "waiting-phone",
    }  # fmt: skip


def test_the_design_worst_is_the_frost_night_here() -> None:
    worst, frost = worst_steady_load(NETWORK), planned_load(NETWORK, Case.FROST_NIGHT)
    assert [unit.likely for unit in worst.units] == [unit.likely for unit in frost.units]


def test_where_the_legs_meet() -> None:
    # ticket-hall and waiting-room: hall-2 and the core's UPS-A both hang on panel P1, the rest meet at the incomer
    found = false_redundancy(NETWORK, planned_load(NETWORK, Case.FROST_NIGHT))
    assert [(one.grade, one.unit, one.meets_at) for one in found] == [
        (Grade.TIME_LIMITED, "ticket-hall", "panel P1"),
        (Grade.TIME_LIMITED, "waiting-room", "panel P1"),
        (Grade.INCOMER_ONLY, "", "town-supply"),
    ]
    assert found[0].minutes is not None
    # 1200 Wh x 0.9 x 0.8 / W x 60, W = 60 + (38 + core with two units on their feeds) / 0.9
    core_w = next(
        limit.need_w
        for limit in limit_states(lost(planned_load(NETWORK, Case.FROST_NIGHT), frozenset({"hall-1", "hall-2"})))
        if limit.limit == "core budget"
    )
    assert found[0].minutes == pytest.approx(1200 * 0.9 * 0.8 / (60 + (38 + core_w) / 0.9) * 60)


@pytest.mark.parametrize("same", ["circuit", "panel", "ups"])
def test_legs_that_meet_below_any_battery_are_false(same: str) -> None:
    site = ferry_terminal()
    source = {"circuit": "quay-3", "panel": "pier-7", "ups": "ups-a"}[same]
    of_core = "quay-3" if same == "panel" else source
    core = site.units["core"].model_copy(update={"supplies": tuple(
        one.model_copy(update={"source": of_core}) for one in site.units["core"].supplies
    )})  # fmt: skip
    berth = site.units["berth-1"]
    berth = berth.model_copy(update={"supplies": tuple(
        one.model_copy(update={"source": source}) for one in berth.supplies
    )})  # fmt: skip
    network = network_of(site.model_copy(update={"units": {**site.units, "core": core, "berth-1": berth}}))
    found = {one.unit: one for one in false_redundancy(network, planned_load(network, Case.NIGHT))}
    where = {"circuit": "circuit quay-3", "panel": "panel P2", "ups": "ups-a"}[same]
    assert (found["berth-1"].grade, found["berth-1"].meets_at) == (Grade.FALSE, where)


def same(one: FailureResult, other: FailureResult) -> None:
    for field in (
        "dark_ports", "may_ports", "dark_unit_numbers", "unreachable_numbers", "degraded_numbers", "moved_numbers",
        "one_leg_numbers", "restart_numbers", "verdict",
    ):  # fmt: skip
        assert getattr(one, field) == getattr(other, field), f"{one.what}: {field}"
    assert (one.worst is None) == (other.worst is None)
    if one.worst is not None and other.worst is not None:
        assert one.worst.limit == other.worst.limit
        assert one.worst.need_w == pytest.approx(other.worst.need_w, abs=1e-5)
    assert one.minutes == (None if other.minutes is None else pytest.approx(other.minutes))


@pytest.mark.parametrize("seed", range(40))
def test_overlay_and_from_scratch_are_the_same_on_small_sites(seed: int) -> None:
    network = network_of(small_site(seed, plain=seed % 2 == 0))
    planned = planned_load(network, Case.FROST_NIGHT)
    for load in (planned, uncertain_load(network, planned, 5)):
        base = base_state(network, load)
        for failure in (*single_failures(network), *circuit_pairs(network)):
            same(study_one(base, failure), study_one(base, failure, whole=True))


def test_overlay_and_from_scratch_are_the_same_on_a_large_site() -> None:
    network = network_of(large_site(1000))
    base = base_state(network, planned_load(network, Case.FROST_NIGHT))
    failures = single_failures(network)
    for failure in failures[:: len(failures) // 60][:60]:
        same(study_one(base, failure), study_one(base, failure, whole=True))
