"""Changes that would mend the ferry terminal, against the worked example."""

from __future__ import annotations

from typing import Any

import pytest
from tests.powerflow.sites import device, feed, ferry_terminal, site, unit
from tests.reporting.studies.depot import DEPOT

from portdraw.plan.load_case import Case
from portdraw.plan.loader import parse_site
from portdraw.plan.planned_load import STEADY
from portdraw.powerflow.failure import all_unbacked_ac, single_failures
from portdraw.powerflow.failure_result import Outcome
from portdraw.powerflow.failure_study import study_failures
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.network import Network, network_of
from portdraw.powerflow.site_mend import SiteMend, site_mends


def mends_of(network: Network, what: str = "") -> tuple[SiteMend, ...]:
    survived = {
        case: {
            result.what
            for result in study_failures(network, planned_load(network, case)).results
            if result.verdict.outcome is Outcome.SURVIVED
        }
        for case in STEADY
    }
    everything = all_unbacked_ac(network)
    assert everything is not None
    failure = next((one for one in single_failures(network) if one.what == what), everything)
    return site_mends(network, failure, STEADY, survived)


FERRY = network_of(ferry_terminal())
MENDS = mends_of(FERRY)


def one(start: str) -> SiteMend:
    return next(mend for mend in MENDS if mend.changes[0].startswith(start))


def test_a_third_module_mends_it() -> None:
    """660 W: 62, 70 and 85 %, nothing dark, 71 min on a frost night (worked example)."""
    mend = one("core: a third module of 220 W")
    assert mend.mends
    assert [round(case.need_w / case.limit_w * 100) for case in mend.cases] == [62, 70, 85]
    assert all(not case.after.dark and not case.after.may_go_dark for case in mend.cases)
    assert round(mend.cases[2].after.minutes or 0) == 71
    assert any("one module of core" in note for note in mend.notes)


def test_one_step_keeps_the_desk_phone() -> None:
    """Waiting-room's port 7 from critical to high: the phone stays, 14 dark (worked example)."""
    mend = one("core port 7")
    assert mend.changes == ("core port 7 (feed of waiting-room): priority from critical to high",)
    assert not mend.mends
    frost = mend.cases[2]
    assert frost.kept == ("desk-phone",)
    assert len(frost.after.dark) == 14


def test_priorities_by_criticality_keep_the_promise() -> None:
    mend = one("core port 6")
    assert mend.mends
    for case in mend.cases:
        level = {name: port.criticality for unit in FERRY.units for port in unit.ports if (name := port.device)}
        assert all(level[name] == 3 for name in case.after.dark)


def test_what_mends_comes_before_what_helps() -> None:
    assert [mend.mends for mend in MENDS] == sorted((mend.mends for mend in MENDS), reverse=True)


def test_nothing_is_proposed_where_the_promise_holds() -> None:
    assert mends_of(FERRY, "circuit pier-7") == ()


def yard(feed_class: int, most: int) -> Any:
    far = unit("side", {"1": device("cam-1", priority="critical"), "2": device("cam-2"), "3": device("cam-3")})
    far["pse"]["admission"] = "drawn"
    head = unit("main", {"1": feed("far", device_class=feed_class)}, fed=None)
    head["pse"]["class_max"] = most
    return site({"head": head, "far": far})


def test_a_higher_class_for_the_feed() -> None:
    """36 W of cameras and 6 W of its own do not fit class 4 (25.5 W at the PD), and do fit class 6 (51 W)."""
    found = mends_of(network_of(yard(4, 8)), "circuit side")
    changes = [mend.changes[0] for mend in found if mend.mends]
    assert changes == ["head port 1 (feed of far): class from 4 to 6"]


def test_no_class_is_proposed_that_the_feeder_cannot_grant() -> None:
    found = mends_of(network_of(yard(4, 4)), "circuit side")
    assert not any("class" in mend.changes[0] for mend in found)


@pytest.mark.parametrize("case", STEADY)
def test_a_proposal_breaks_no_other_promise(case: Case) -> None:
    usual = {result.what: result for result in study_failures(FERRY, planned_load(FERRY, case)).results}
    for mend in MENDS:
        assert all(one.before.what == usual[one.before.what].what for one in mend.cases)
        assert mend.failure in usual


DECLARED = "{spare_feed: held, on_transfer: sheds-in-time}"


@pytest.mark.parametrize("kind", ["6", "8"])
def test_what_is_undeclared_is_asked_for_and_no_more_watts(kind: str) -> None:
    """More watts (class 8) leave it open; the fields that close it are named, and close it in the file."""
    text = DEPOT.replace("class: 6", f"class: {kind}")
    network = network_of(parse_site(text))
    failure = next(one for one in single_failures(network) if one.what == "circuit c2")
    mends = site_mends(network, failure, STEADY, {})
    assert [mend.changes for mend in mends if mend.mends] == [("declare `fed` of gate: on_transfer, spare_feed",)]
    declared = network_of(
        parse_site(text.replace("supplies: [{from: c2}]", f"supplies: [{{from: c2}}]\n    fed: {DECLARED}"))
    )
    study = study_failures(declared, planned_load(declared, Case.TYPICAL))
    assert study.of("circuit c2").verdict.outcome is Outcome.SURVIVED
