"""The best watt of a port: measured, then granted, else why there is none."""

from __future__ import annotations

import math

import pytest
from tests.judgement.scene import NIGHT_S, answer, delivering, ferry_terminal, record

from portdraw.judgement.port_draw import PortPlan, assess_port, class_limit_w
from portdraw.observation.record import Basis, PortState, Quantity, Record

SITE = ferry_terminal()
PLAN = PortPlan(10.0, 12.0)


def port(*records: Record, key: str = "2") -> tuple[float | None, Basis | None, str | None]:
    found = assess_port(SITE, "berth-1", key, PLAN, answer("berth-1", NIGHT_S, *records), NIGHT_S - 90)
    return found.draw_w, found.basis, found.missing


def test_measured_before_granted() -> None:
    granted = record("2", Quantity.PORT_GRANTED, 12.0, NIGHT_S)
    assert port(*delivering("2", 9.5, NIGHT_S), granted) == (9.5, Basis.MEASURED, None)


def test_granted_is_at_the_device_and_shown_at_the_port() -> None:
    watts, basis, _ = port(*delivering("2", None, NIGHT_S), record("2", Quantity.PORT_GRANTED, 12.95, NIGHT_S))
    assert basis is Basis.GRANTED
    # P_PSE = V (V - sqrt(V^2 - 4 R P_PD)) / 2R, the formula of IEEE 802.3bt (from memory), worked out by hand:
    # the loop of two pairs has two conductors each way: 30 m at 9.38 ohm/100 m and 45 C (x 1.09825), and with
    # 0.2 ohm of connectors 3.2905 ohm; V = 54 V
    assert watts == pytest.approx(13.145, abs=0.001)


@pytest.mark.parametrize("state", [PortState.SEARCHING, PortState.DISABLED, PortState.FAULT, PortState.OTHER_FAULT])
def test_a_port_that_delivers_nothing_draws_zero_by_its_state(state: PortState) -> None:
    assert port(record("2", Quantity.PORT_STATE, state, NIGHT_S)) == (0.0, Basis.MEASURED, None)


@pytest.mark.parametrize(
    ("records", "missing"),
    [
        ([], "the unit does not tell the watts of this port"),
        ([record("2", Quantity.PORT_DRAW, None, NIGHT_S, missing="noSuchInstance")], "noSuchInstance"),
        ([record("2", Quantity.PORT_DRAW, -1.0, NIGHT_S)], "refused as impossible: -1 W"),
        ([record("2", Quantity.PORT_DRAW, math.inf, NIGHT_S)], "refused as impossible: inf W"),
        (
            [record("2", Quantity.PORT_DRAW, 9500.0, NIGHT_S)],
            "refused as impossible: 9500 W is more than any port can deliver",
        ),
        ([record("2", Quantity.PORT_DRAW, 9.5, NIGHT_S - 91)], "its last reading is too old"),
        ([record(None, Quantity.UNIT_DRAW, 40.0, NIGHT_S)], "this unit tells only its total"),
    ],
)
def test_no_watts_and_why(records: list[Record], missing: str) -> None:
    assert port(*delivering("2", None, NIGHT_S), *records) == (None, None, missing)


def test_no_answer_is_not_zero() -> None:
    found = assess_port(SITE, "berth-1", "2", PLAN, None, NIGHT_S)
    assert (found.state, found.draw_w, found.missing) == (None, None, "no fresh reading of the unit")


def test_a_state_that_nobody_knows_is_no_state() -> None:
    assert port(record("2", Quantity.PORT_STATE, "sleeping", NIGHT_S))[0] is None


def test_class_counts_only_while_delivering() -> None:
    idle = [record("2", Quantity.PORT_STATE, "searching", NIGHT_S), record("2", Quantity.PORT_CLASS, 4, NIGHT_S)]
    found = assess_port(SITE, "berth-1", "2", PLAN, answer("berth-1", NIGHT_S, *idle), NIGHT_S - 90)
    assert found.device_class is None
    assert found.class_limit_w == 15.4  # the declared class 3


# PSE output watts of classes: IEEE 802.3-2022 clause 33 (0 to 4) and 145 (5 to 8)
@pytest.mark.parametrize(
    ("key", "told", "limit_w"),
    [
        ("1", None, 45.0),
        ("1", 4, 45.0),
        ("1", 3, 15.4),
        ("2", 4, 30.0),
        ("2", 2, 7.0),
        ("4", None, 4.0),
        ("2", 9, None),
    ],
)
def test_class_four_of_the_old_mib_is_four_or_above(key: str, told: int | None, limit_w: float | None) -> None:
    assert class_limit_w(SITE, "berth-1", SITE.units["berth-1"].ports[key], told) == limit_w


def test_a_port_that_the_plan_does_not_know() -> None:
    found = assess_port(
        SITE, "berth-1", "7", PortPlan(0, 0), answer("berth-1", NIGHT_S, *delivering("7", 6.3, NIGHT_S)), NIGHT_S - 90
    )
    assert (found.planned, found.hangs, found.draw_w, found.class_limit_w) == (False, "", 6.3, None)
