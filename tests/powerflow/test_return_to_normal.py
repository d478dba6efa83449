"""Before and after a transfer, as tables of what differs."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.powerflow.sites import ferry_terminal

from portdraw.plan.load_case import Case
from portdraw.powerflow.failure import all_unbacked_ac
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.network import network_of
from portdraw.powerflow.return_to_normal import (
    Kind,
    PortPicture,
    SitePicture,
    UnitPicture,
    picture_of,
    return_to_normal,
)
from portdraw.powerflow.solve import solve
from portdraw.powerflow.state import NOTHING_OUT
from portdraw.powerflow.unit_flow import CarriedBy

PORT = ("hall", "3")
ON = PortPicture(delivering=True, device_class=3, granted_w=15.4, draw_w=8.0, device="cam")


def kinds(before: PortPicture, after: PortPicture | None) -> list[Kind]:
    now = {} if after is None else {PORT: after}
    return [one.kind for one in return_to_normal(SitePicture({}, {PORT: before}), SitePicture({}, now))]


@pytest.mark.parametrize(
    ("after", "found"),
    [
        (ON, []),
        (replace(ON, draw_w=9.4), []),  # within a fifth
        (replace(ON, draw_w=9.7), [Kind.WATTS]),
        (replace(ON, delivering=False, draw_w=0.0, fault="overload"), [Kind.STUCK]),
        (replace(ON, device_class=2), [Kind.CLASS]),
        (replace(ON, granted_w=7.0), [Kind.GRANT]),
        (replace(ON, device="other"), [Kind.DEVICE]),
        (replace(ON, draw_w=None), [Kind.NOT_KNOWN]),
        (replace(ON, delivering=None), [Kind.NOT_KNOWN]),
        (None, [Kind.NOT_KNOWN]),
    ],
)
def test_a_port(after: PortPicture | None, found: list[Kind]) -> None:
    assert kinds(ON, after) == found


def test_a_port_that_was_off_and_is_on() -> None:
    assert kinds(PortPicture(delivering=False), ON) == [Kind.CAME_ON]


@pytest.mark.parametrize(
    ("after", "found"),
    [
        (UnitPicture(CarriedBy.AC, 90.0, 4), []),
        (UnitPicture(CarriedBy.FEED, 90.0, 4), [Kind.LEG]),
        (UnitPicture(None, 90.0, 4), [Kind.NOT_KNOWN]),
        (UnitPicture(CarriedBy.AC, 60.0, 4), [Kind.BUDGET]),
        (UnitPicture(CarriedBy.AC, 90.0, 5), [Kind.RESTARTED]),
    ],
)
def test_a_unit(after: UnitPicture, found: list[Kind]) -> None:
    before = SitePicture({"hall": UnitPicture(CarriedBy.AC, 90.0, 4)})
    assert [one.kind for one in return_to_normal(before, SitePicture({"hall": after}))] == found


def test_the_sentence() -> None:
    (one,) = return_to_normal(
        SitePicture({}, {PORT: ON}), SitePicture({}, {PORT: replace(ON, delivering=False, fault="overload")})
    )
    assert one.sentence == "hall port 3: port stuck, before on (cam), 8.0 W, after off (overload)"


def test_a_plan_against_itself_and_against_its_failure() -> None:
    network = network_of(ferry_terminal())
    load = planned_load(network, Case.NIGHT)
    before = picture_of(solve(network, load, NOTHING_OUT))
    assert return_to_normal(before, before) == ()
    failure = all_unbacked_ac(network)
    assert failure is not None
    found = return_to_normal(before, picture_of(solve(network, load, failure.outage)))
    # worked example: at night three ports of the core are shed, and eight units stand on their feeds
    assert {(one.unit, one.port) for one in found if one.kind is Kind.STUCK} == {
        ("core", "15"), ("core", "16"), ("core", "17"),
    }  # fmt: skip
    assert sum(one.kind is Kind.LEG for one in found) == 8
