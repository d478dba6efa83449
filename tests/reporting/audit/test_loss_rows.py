"""What the next loss would ask, held against the worked example of the ferry terminal (a second solver agrees)."""

from __future__ import annotations

from datetime import date

import pytest
from tests.powerflow.sites import device, feed, ferry_terminal, site, unit

from portdraw.history.port_day import PortDay
from portdraw.judgement.plan_sheet import plan_sheet
from portdraw.observation.record import Basis, PortState
from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.powerflow.planned_device import planned_draws
from portdraw.powerflow.port_link import PortId
from portdraw.reporting.audit.audit_rows import LossRow, LossStudy, Weight
from portdraw.reporting.audit.loss_rows import NOTHING_READ, counts_plan, loss_findings, loss_study
from portdraw.reporting.audit.unseen import Days

ALL_UNBACKED_AC = "all local AC without a generator"
DAY = date(2026, 3, 2)
SITE = ferry_terminal()
NIGHT = planned_draws(SITE, Case.NIGHT).by_port()
ROUNDED_W = 1.0  # readings are kept in 0.1 W: 48 device ports, each up to 0.05 W off, with their cables


def day(unit_name: str, port: str | None, *seconds_at: tuple[float, float]) -> PortDay:
    """Return a day of (watts, seconds)."""
    ms_at: dict[int, int] = {}
    for watts, seconds in seconds_at:
        ms_at[round(watts * 10)] = ms_at.get(round(watts * 10), 0) + round(1000 * seconds)
    whole_ms = sum(ms_at.values())
    states, basis = {PortState.DELIVERING: whole_ms}, {Basis.MEASURED: whole_ms}
    return PortDay(unit_name, port, DAY, DAY, ms_at, 0, states, basis, 1.0)


def days_of(draws: dict[PortId, float]) -> Days:
    """Return a whole day at these draws."""
    return {port: day(*port, (watts, 86_400.0)) for port, watts in draws.items()}


def study_of(days: Days, of: Site = SITE) -> LossStudy:
    """Return the study of a site."""
    tree = Tree(of)
    return loss_study(of, tree, plan_sheet(of, tree), days)


def every(study: LossStudy) -> LossRow:
    """Return the loss of all local AC without a generator."""
    return next(row for row in study.rows if row.what == ALL_UNBACKED_AC)


def test_the_plan_of_the_frost_night_is_short() -> None:
    """Worked example: 562.2 of 440 W, short 122.2 W; to look at, as it is planned."""
    study = study_of(days_of(NIGHT))
    row = every(study)
    assert study.planned_case == "frost night"
    assert (row.planned.limit, f"{row.planned.need_w:.1f}", row.planned.limit_w) == ("core budget", "562.2", 440.0)
    assert (row.planned.words, row.planned.weight) == ("short 122.2 W", Weight.LOOK)
    assert study.rows[0] is row
    # single circuits fit: north-pier asks 56.1 of its 59.6 W on the feed, which leaves more than 5 %
    pier = next(row for row in study.rows if row.what == "circuit pier-7")
    assert (pier.planned.words, pier.planned.weight) == ("fits, 3.5 W to spare", None)


def test_the_plan_of_a_site_without_frost_watts_is_its_night() -> None:
    """Worked example: 460.4 of 440 W, short 20.4 W."""
    kinds = {name: kind.model_copy(update={"frost_night_w": None}) for name, kind in SITE.device_types.items()}
    study = study_of(days_of(NIGHT), SITE.model_copy(update={"device_types": kinds}))
    assert study.planned_case == "night"
    assert every(study).planned.words == "short 20.4 W"


def test_a_night_as_drawn_is_short_and_to_act_on() -> None:
    """The night's watts read all day, 460.4 of 440 W; the largest says no more than that, so it is said once."""
    study = study_of(days_of(NIGHT))
    need = every(study).drawn_p95
    assert need.need_w == pytest.approx(460.4, abs=ROUNDED_W)
    assert need.weight is Weight.ACT
    assert (study.planned_ports, study.shared_units, need.planned_ports) == ((), (), ())
    found = [(finding.weight, finding.sentence) for where, finding in loss_findings(study) if "all local" in where]
    assert [weight for weight, _ in found] == [Weight.ACT, Weight.LOOK]
    assert found[1][1] == (
        "On the plan's frost night case: core budget, 562.2 W of 440 W: short 122.2 W; waiting-cam-1, waiting-cam-2, "
        "waiting-ap, waiting-sign, waiting-phone, desk-phone, stair-cam, quay-door-cam and 7 more go dark."
    )
    # the same example: three devices at night, fifteen on a frost night
    assert set(need.dark) == {"foyer-sign", "office-phone-1", "office-phone-2"}
    assert len(every(study).planned.dark) == 15


def test_the_95th_percentile_and_the_largest_are_apart() -> None:
    """Noon for 23 h, the night's watts for one: worked example 410.3 W, 93 %, against 460.4 W."""
    noon = planned_draws(SITE, Case.TYPICAL).by_port()
    days: Days = {port: day(*port, (noon[port], 23 * 3600.0), (NIGHT[port], 3600.0)) for port in NIGHT}
    row = every(study_of(days))
    # the foyer's signs draw less at night, so 410.3 W is the p95 and the maximum is above the night's 460.4 W
    assert row.drawn_p95.need_w == pytest.approx(410.3, abs=ROUNDED_W)
    assert row.drawn_p95.words.startswith("fits, ")
    assert row.drawn_p95.words.endswith(" W to spare")
    assert row.drawn_max.need_w is not None
    assert row.drawn_max.need_w > 460.4
    assert row.drawn_max.weight is Weight.LOOK


def test_ports_that_told_nothing_count_their_plan_and_are_named() -> None:
    """The waiting room was never read: its ports take the largest planned watts, 46.4 W together on a frost night."""
    study = study_of({port: one for port, one in days_of(NIGHT).items() if port[0] != "waiting-room"})
    ports = tuple(f"waiting-room port {key}" for key in range(1, 6))
    assert study.planned_ports == ports
    row = every(study)
    assert row.drawn_p95.planned_ports == ports
    pier = next(row for row in study.rows if row.what == "circuit pier-7")
    assert pier.drawn_p95.planned_ports == ()  # its fullest limit is north-pier's, the waiting room is not below it
    assert counts_plan(ports) == "Counts planned watts for waiting-room ports 1, 2, 3, 4, 5: not told."
    said = [finding.sentence for where, finding in loss_findings(study) if "all local" in where]
    assert said[0].endswith(" Counts planned watts for waiting-room ports 1, 2, 3, 4, 5: not told.")


def test_a_total_is_shared_out_over_silent_ports() -> None:
    """The same room tells its sum alone: the need is as if each port had told."""
    room_w = sum(watts for port, watts in NIGHT.items() if port[0] == "waiting-room")
    days = {port: one for port, one in days_of(NIGHT).items() if port[0] != "waiting-room"}
    study = study_of({**days, ("waiting-room", None): day("waiting-room", None, (room_w, 86_400.0))})
    assert (study.planned_ports, study.shared_units) == ((), ("waiting-room",))
    assert every(study).drawn_p95.need_w == pytest.approx(460.4, abs=ROUNDED_W)


def test_without_readings_nothing_is_called_drawn() -> None:
    """The plan still speaks."""
    row = every(study_of({}))
    assert (row.drawn_p95.need_w, row.drawn_p95.words, row.drawn_max.words) == (None, NOTHING_READ, NOTHING_READ)
    assert row.planned.words == "short 122.2 W"


@pytest.mark.parametrize(
    ("drawn_w", "words"),
    [
        (50.0, "fits, 10 W to spare"),
        (57.5, "fits, but less than the 5 % to be kept after a failure"),
        (63.0, "short 3 W"),
    ],
)
def test_verdicts(drawn_w: float, words: str) -> None:
    """A unit with 60 W on its feed, of which 57 W may be used after a failure."""
    low = unit("side", {"1": device("cam")})
    low["fed"]["budget_w"] = 60
    top = unit("main", {"1": feed("low", 10)}, fed=None)
    top["pse"]["admission"] = "drawn"
    found = site({"top": top, "low": low})
    row = next(row for row in study_of(days_of({("low", "1"): drawn_w}), found).rows if row.what == "circuit side")
    assert row.drawn_p95.limit == "low budget on PoE feed"
    assert (row.drawn_p95.limit_w, row.drawn_p95.words) == (60.0, words)


def test_units_without_any_other_leg_are_told_apart() -> None:
    """The top goes dark with its circuit, and what it feeds carries on by its own AC."""
    found = site({"top": unit("main", {"1": feed("low", 10)}, fed=None), "low": unit("side", {"1": device("cam")})})
    study = study_of(days_of({("low", "1"): 5.0}), found)
    row = next(row for row in study.rows if row.what == "circuit main")
    assert row.dark_units == ("top",)
    assert ("loss of circuit main", "No live leg is left for top.") in [
        (where, finding.sentence) for where, finding in loss_findings(study)
    ]
