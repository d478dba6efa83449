"""Offers of fit written into the site file: no new finding, nobody else dark; and that short cuts hold."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.powerflow.random_sites import small_site
from tests.powerflow.sites import device, site, unit
from tests.powerflow.test_fit import STEADY, put, with_third_module
from tests.powerflow.test_flow_properties import relabelled

from portdraw.plan.site import Site
from portdraw.plan.structure import check_structure
from portdraw.plan.tree import Tree
from portdraw.powerflow import fit as fit_module
from portdraw.powerflow import fit_states
from portdraw.powerflow.failure import FailureKind
from portdraw.powerflow.failure_study import FailureStudy, study_failures
from portdraw.powerflow.fit import study_fit
from portdraw.powerflow.fit_result import Fit
from portdraw.powerflow.free_port import Wish
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.network import network_of
from portdraw.reporting.studies.limit_margins import Mark, limit_margins

PHONE = Wish(2, 3.0, 4.0, 5.0, 5.0, length_m=20, cable_type="cat6a", conductor="copper")
SENSOR = Wish(1, 2.0, 2.0, 2.0, 2.5, length_m=15, cable_type="cat6a", conductor="copper")
CAMERA = Wish(3, 7.0, 9.0, 12.0, 12.0, length_m=30, cable_type="cat6a", conductor="copper")


def dark_or_may(study: FailureStudy, what: str, new: str = "added") -> set[str]:
    result = study.of(what)
    return {*result.dark, *result.may_go_dark, *study.dark, *study.may_be_dark} - {new}


def others_dark(before: Site, after: Site, *, promised: bool) -> Iterator[str]:
    """Devices that go dark, or may, in a failure with the new device and surely did not without it."""
    for case in STEADY:
        old, new = network_of(before), network_of(after)
        was, now = study_failures(old, planned_load(old, case)), study_failures(new, planned_load(new, case))
        known = {one.what for one in was.results}
        yield from {*now.dark, *now.may_be_dark} - {*was.dark, *was.may_be_dark} - {"added"}
        for result in now.results:
            if result.failure.kind is FailureKind.ALL_UNBACKED_AC and not promised:
                continue
            if result.what in known:
                yield from dark_or_may(now, result.what) - dark_or_may(was, result.what)


def margins_used(of: Site) -> set[str]:
    """Limits of the plan with a margin used or exceeded, in any state and load."""
    return {
        f"{row.limit}, {cell.state}, {cell.case}"
        for row in limit_margins(of)
        for cell in row.cells
        if cell.mark in (Mark.MARGIN, Mark.OVER, Mark.UNKNOWN)
    }


@pytest.mark.parametrize("wish", [PHONE, SENSOR, CAMERA])
def test_an_offer_on_the_ferry_terminal_adds_no_finding(wish: Wish) -> None:
    """With the mend of the worked example: structure, margins of the plan, and the failure study stay clean."""
    of = with_third_module()
    offered = [port for port in study_fit(of, wish).ports if port.fits]
    assert offered
    for port in (offered[0], offered[-1]):
        now = put(of, port, wish)
        old = {(one.where, one.sentence) for one in check_structure(of, Tree(of))}
        new = {(one.where, one.sentence) for one in check_structure(now, Tree(now))}
        assert new <= old
        assert margins_used(now) <= margins_used(of)
        assert list(others_dark(of, now, promised=True)) == []


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("plain", [True, False])
def test_an_offer_on_any_site_darkens_nobody(seed: int, plain: bool) -> None:
    """On sites that leave things undeclared as well: nobody who surely stayed may go dark."""
    of = small_site(seed, plain=plain)
    offered = [port for port in study_fit(of, CAMERA).ports if port.fits]
    for port in {id(one): one for one in (*offered[:1], *offered[-1:])}.values():
        assert list(others_dark(of, put(of, port, CAMERA), promised=False)) == [], port.free


def answers(fit: Fit) -> dict[tuple[str, str], bool]:
    return {(port.free.unit, port.free.port): port.fits for port in fit.ports}


@pytest.mark.parametrize("seed", range(6))
def test_states_that_are_left_out_tell_nothing_new(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same answer on every port with every state worked out, start-ups beside every load included."""
    of = small_site(seed)
    wish = Wish(4, 12.0, 14.0, 16.0, 22.0, length_m=60)
    short = answers(study_fit(of, wish))
    monkeypatch.setattr(fit_states.SiteStates, "deciding", lambda self, path: tuple(self.all))
    monkeypatch.setattr(
        fit_module._Study, "_deciding", lambda self, beside, case, path, asked: iter(self._states[beside].all)
    )
    assert answers(study_fit(of, wish)) == short


@settings(max_examples=3, deadline=None, derandomize=True)
@given(st.integers(0, 400))
def test_names_change_nothing(seed: int) -> None:
    of = small_site(seed, plain=True)
    names = dict(zip(of.units, (f"z{97 - number} {name}" for number, name in enumerate(of.units)), strict=True))
    one, other = answers(study_fit(of, PHONE)), answers(study_fit(relabelled(of), PHONE))
    assert {(names[name], port): fits for (name, port), fits in one.items()} == other


def test_a_failure_that_takes_the_device_away_is_named() -> None:
    yard = site({"hub": unit("main", {"1": device("cam")}, fed=None)})
    (port,) = study_fit(yard, SENSOR).ports
    assert port.fits
    assert "circuit main" in port.dark_with
    assert "unit hub" in port.dark_with
    assert "circuit side" not in port.dark_with


def test_a_device_that_sheds_itself_does_not_fit() -> None:
    """Two cameras of 12 W and 15 W of a limit of 30 W: with a third of 12 W the highest port goes, the new one."""
    hub = unit("main", {"1": device("one"), "2": device("two")}, fed=None)
    hub["pse"] = {**hub["pse"], "budget_w": 30, "admission": "drawn"}
    (port,) = study_fit(site({"hub": hub}), CAMERA).ports
    assert not port.fits
    assert any("the device itself goes dark" in line for line in port.darkens)
    assert {room.limit.limit for room in port.binding} == {"hub budget"}


def test_a_unit_that_books_by_class_refuses_it() -> None:
    """Class 3 sets aside 15.4 W (IEEE 802.3, clause 33): of 50 W three fit, whatever is drawn; a fourth does not."""
    ports = {str(at): device(f"cam-{at}") for at in (1, 2, 3)}
    for count, fits in ((2, True), (3, False)):
        hub = unit("main", dict(list(ports.items())[:count]), fed=None)
        hub["pse"] = {**hub["pse"], "budget_w": 50, "ports": 4, "admission": "class"}
        of = site({"hub": hub}, policy={"margin_percent": 0})
        (port,) = study_fit(of, CAMERA).ports
        assert port.fits is fits, (count, port.refusal)
    assert "nothing is left to set aside for it" in port.refusal


def test_no_other_free_port_counts() -> None:
    """Six free ports of a unit that books by class: each is held against the unit as if it were the only one."""
    hub = unit("main", {"3": device("one"), "6": device("two")}, fed=None)
    hub["pse"] = {**hub["pse"], "budget_w": 50, "ports": 8, "admission": "class"}
    fit = study_fit(site({"hub": hub}, policy={"margin_percent": 0}), CAMERA)
    assert [(port.free.port, port.fits) for port in fit.ports] == [("1", True), ("4", True), ("7", True)]
