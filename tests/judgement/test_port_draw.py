"""The best watt of a port: measured, then granted, else why there is none."""

from __future__ import annotations

import math

import pytest
from tests.judgement.scene import NIGHT_S, answer, delivering, ferry_terminal, record

from portdraw.judgement.port_draw import PortPlan, assess_port, class_limit_w
from portdraw.observation.record import Basis, PortState, Quantity, Record
from portdraw.plan.site import Site

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


def limited(port_limit_w: float | None, class_max: int, budget_w: float = 370.0) -> Site:
    """The site with another berth-1."""
    unit = SITE.units["berth-1"]
    assert unit.pse is not None
    pse = unit.pse.model_copy(update={"port_limit_w": port_limit_w, "class_max": class_max, "budget_w": budget_w})
    return SITE.model_copy(update={"units": {**SITE.units, "berth-1": unit.model_copy(update={"pse": pse})}})


# 99.9 W of four pairs: IEEE 802.3-2022, Table 145-16; 40 W of two pairs and 1.1 of the supply: common practice
@pytest.mark.parametrize(
    ("port_limit_w", "class_max", "budget_w", "more", "watts", "missing"),
    [
        (None, 4, 370, [], 35.0, None),  # above its class 3: kept, and reported
        (None, 4, 370, [], 43.0, "refused as impossible: 43 W, and two pairs deliver 40 W at most"),
        (None, 8, 370, [], 99.0, None),
        (None, 4, 370, [record("2", Quantity.PORT_CLASS_EXTENDED, 6, NIGHT_S)], 55.0, None),
        (60.0, 8, 370, [], 61.0, None),
        (60.0, 8, 370, [], 64.0, "refused as impossible: 64 W, and its declared limit is 60 W at most"),
        (None, 8, 50, [], 54.0, None),
        (None, 8, 50, [], 56.0, "refused as impossible: 56 W, and the unit's supply gives 50 W"),
        (
            *(None, 8, 370, [record(None, Quantity.UNIT_BUDGET, 50.0, NIGHT_S)], 56.0),
            "refused as impossible: 56 W, and the unit's supply gives 50 W",
        ),
    ],
)
def test_the_impossible_is_refused_and_the_high_is_kept(
    port_limit_w: float | None,
    class_max: int,
    budget_w: float,
    more: list[Record],
    watts: float,
    missing: str | None,
) -> None:
    found = answer("berth-1", NIGHT_S, *delivering("2", watts, NIGHT_S, device_class=3), *more)
    site = limited(port_limit_w, class_max, budget_w)
    seen = assess_port(site, "berth-1", "2", PLAN, found, NIGHT_S - 90)
    assert (seen.draw_w, seen.missing) == (None if missing else watts, missing)


# PSE output watts of classes 4, 6 and 8, and of a dual-signature 3 + 4: IEEE 802.3-2022 clause 145
@pytest.mark.parametrize(
    ("key", "class_max", "extended", "limit_w"),
    [
        ("7", 8, None, 90.0),  # nothing declared: whatever the port can
        ("7", 4, None, 30.0),
        ("7", 8, 6, 60.0),
        ("2", 8, 6, 60.0),
        ("7", 8, "3+4", 44.0),  # 14 and 30 W
        ("1", 8, 6, 45.0),  # the declared class 5
    ],
)
def test_class_four_or_above_is_as_declared_by_the_extension_or_by_the_port(
    key: str, class_max: int, extended: int | str | None, limit_w: float
) -> None:
    more = [] if extended is None else [record(key, Quantity.PORT_CLASS_EXTENDED, extended, NIGHT_S)]
    found = answer("berth-1", NIGHT_S, *delivering(key, 20.0, NIGHT_S, device_class=4), *more)
    seen = assess_port(limited(None, class_max), "berth-1", key, PLAN, found, NIGHT_S - 90)
    assert seen.class_limit_w == limit_w


def test_a_port_that_the_plan_does_not_know() -> None:
    found = assess_port(
        SITE, "berth-1", "7", PortPlan(0, 0), answer("berth-1", NIGHT_S, *delivering("7", 6.3, NIGHT_S)), NIGHT_S - 90
    )
    assert (found.planned, found.hangs, found.draw_w, found.class_limit_w) == (False, "", 6.3, None)
