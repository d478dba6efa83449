"""The cable formulas against the standard's own tables and copper's."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.references.reference_table import rows

from portdraw.electrical.cable import (
    PortLimits,
    Refusal,
    conductor_ohm_per_100m,
    loop_ohm,
    operating_point,
    point_from_port,
    refusal,
    temperature_factor,
)
from portdraw.electrical.type_table import PSE_TYPES

CLASS_PAIRS = rows("ieee8023_class_pairs.csv")
BY_CASE = [pytest.param(row, id=row["case"]) for row in CLASS_PAIRS]


@pytest.mark.parametrize("row", BY_CASE)
def test_from_device_watts_to_the_standards_pse_watts(row: dict[str, str]) -> None:
    # IEEE 802.3-2022 clauses 33 and 145; 0.1 W is the rounding of the printed tables
    point = operating_point(float(row["pd_w"]), float(row["source_v"]), float(row["run_ohm"]))
    assert point is not None
    assert point.pse_w == pytest.approx(float(row["pse_w"]), abs=0.1)
    assert point.pse_w == pytest.approx(float(row["solved_pse_w"]), abs=0.0006)  # three printed decimals
    assert point.pd_v == pytest.approx(float(row["pd_v"]), abs=0.006)  # two printed decimals


@pytest.mark.parametrize("row", BY_CASE)
def test_from_pse_watts_to_the_standards_device_watts(row: dict[str, str]) -> None:
    # the same tables the other way: watts at the switch less I^2 R is what the class gives at the device
    point = point_from_port(float(row["pse_w"]), float(row["source_v"]), float(row["run_ohm"]))
    assert point is not None
    assert point.pd_w == pytest.approx(float(row["pd_w"]), abs=0.1)


@pytest.mark.parametrize("row", BY_CASE)
def test_the_standards_own_worst_case_is_powered(row: dict[str, str]) -> None:
    # a device that takes all its class gives, at the end of the longest channel, conforms: nothing may refuse it
    pse_type = PSE_TYPES[int(row["type"])]
    limits = PortLimits(
        min(pse_type.pd_min_v, float(row["pd_v"])), pse_type.pairset_max_a, int(row["pairs"]), float(row["pse_w"])
    )
    point = operating_point(float(row["pd_w"]), float(row["source_v"]), float(row["run_ohm"]))
    assert refusal(point, limits) is None


def test_the_standards_current_in_class_3_and_4() -> None:
    # IEEE 802.3-2022 table 33-1: 0.35 A for Type 1, 0.60 A for Type 2, reached at full class load
    class_3, class_4 = operating_point(12.95, 44.0, 20.0), operating_point(25.5, 50.0, 12.5)
    assert class_3 is not None
    assert class_4 is not None
    assert (class_3.current_a, class_3.loss_w) == pytest.approx((0.350, 2.45), abs=1e-6)
    assert (class_4.current_a, class_4.loss_w) == pytest.approx((0.600, 4.50), abs=1e-6)


def test_the_edge_of_what_a_cable_can_pass() -> None:
    # algebra of V^2 = 4 P R: at 50 V behind 12.5 ohm 50 W meets at half the voltage, a tenth more has no solution
    edge = operating_point(50.0, 50.0, 12.5)
    assert edge is not None
    assert edge.pd_v == 25.0
    assert edge.pse_w == 100.0
    assert operating_point(50.1, 50.0, 12.5) is None
    assert point_from_port(100.0, 50.0, 12.5) is not None
    assert point_from_port(100.1, 50.0, 12.5) is None


def test_no_load_and_no_length() -> None:
    idle = operating_point(0.0, 54.0, 12.5)
    assert idle is not None
    assert (idle.pd_v, idle.current_a, idle.pse_w) == (54.0, 0.0, 0.0)
    assert loop_ohm("cat6", 0.0, 2, 45.0) == 0.2  # the connectors stay
    direct = operating_point(25.5, 54.0, 0.0)
    assert direct is not None
    assert direct.pse_w == 25.5


@pytest.mark.parametrize("row", [pytest.param(row, id=row["awg"]) for row in rows("solid_copper_wire.csv")])
def test_wire_resistance(row: dict[str, str]) -> None:
    # ASTM B258 and IEC 60028; the diameter's four printed decimals leave 0.03 % of resistance open
    found_ohm_per_km = conductor_ohm_per_100m(f"awg{row['awg']}", ceiling=False) * 10
    assert found_ohm_per_km == pytest.approx(float(row["ohm_per_km"]), rel=3e-4)


@pytest.mark.parametrize(
    ("conductor_c", "expected_ohm"),
    [(20, 9.380), (30, 9.749), (40, 10.117), (45, 10.302), (50, 10.486), (60, 10.855)],
)
def test_temperature(conductor_c: float, expected_ohm: float) -> None:
    # IEC 60028: 0.393 % per kelvin, on TIA-568.2's 9.38 ohm
    assert 9.38 * temperature_factor(conductor_c) == pytest.approx(expected_ohm, abs=0.0006)
    assert loop_ohm("cat6", 100, 2, conductor_c, connectors_ohm=0) == pytest.approx(expected_ohm, abs=0.0006)


def test_the_runs_of_three_worked_cables() -> None:
    # solved by hand from the formula at 9.38 ohm per 100 m and 20 C, no connectors
    for pd_w, source_v, length_m, pairs, pd_v, loss_w, pse_w in (
        (25.5, 54.0, 60.0, 2, 51.197, 1.396, 26.896),
        (51.0, 54.0, 100.0, 4, 49.132, 5.054, 56.054),
        (12.95, 48.0, 100.0, 2, 45.320, 0.766, 13.716),
    ):
        point = operating_point(pd_w, source_v, loop_ohm("cat6", length_m, pairs, 20.0, connectors_ohm=0.0))
        assert point is not None
        assert (point.pd_v, point.loss_w, point.pse_w) == pytest.approx((pd_v, loss_w, pse_w), abs=0.0006)


def test_what_else_is_in_a_run() -> None:
    # cords of 14 ohm per 100 m (TIA-568.2), copper-clad at 1.6 times copper, all of it halved in four pairs
    assert loop_ohm("cat6", 90, 2, 20, cord_m=10, connectors_ohm=0) == pytest.approx(8.442 + 1.4)
    assert loop_ohm("cat6", 100, 2, 20, copper=False, connectors_ohm=0) == pytest.approx(9.38 * 1.6)
    assert loop_ohm("cat6", 100, 4, 20, connectors_ohm=0.2, series_ohm=2) == pytest.approx((9.38 + 2.2) / 2)


def test_nonsense_is_refused_in_words() -> None:
    with pytest.raises(ValueError, match="2 or 4 pairs"):
        loop_ohm("cat6", 10, 3, 20)
    with pytest.raises(ValueError, match="negative"):
        loop_ohm("cat6", -1, 2, 20)
    with pytest.raises(ValueError, match="never negative"):
        operating_point(-1, 54, 1)
    with pytest.raises(ValueError, match="has volts"):
        point_from_port(1, 0, 1)


def test_reasons_come_in_their_order() -> None:
    # each limit is broken together with all below it, and only the most fundamental is told
    assert refusal(None, PortLimits(57.0, 0.0, 2, 0.0)) is Refusal.NO_OPERATING_POINT
    point = operating_point(25.5, 50.0, 12.5)
    assert refusal(point, PortLimits(43.0, 0.35, 2, 15.4)) is Refusal.VOLTAGE
    assert refusal(point, PortLimits(37.0, 0.35, 2, 15.4)) is Refusal.PAIRSET_CURRENT
    assert refusal(point, PortLimits(37.0, 0.60, 2, 15.4)) is Refusal.PORT_CLASS
    assert refusal(point, PortLimits(37.0, 0.60, 2, None)) is None
    assert refusal(point, PortLimits(37.0, 0.35, 4, None)) is None  # 55 % of 0.6 A on the heavier pairset


SEEDED = settings(deadline=None, derandomize=True)
WATTS = st.floats(0, 100)
VOLTS = st.floats(37, 57)
OHMS = st.floats(0, 40)


@SEEDED
@given(WATTS, VOLTS, OHMS, OHMS)
def test_more_cable_never_more_volts(pd_w: float, source_v: float, ohm: float, more_ohm: float) -> None:
    near, far = operating_point(pd_w, source_v, ohm), operating_point(pd_w, source_v, ohm + more_ohm)
    if far is not None:
        assert near is not None
        assert far.pd_v <= near.pd_v
        assert far.pse_w >= near.pse_w


@SEEDED
@given(WATTS, VOLTS, OHMS)
def test_watts_at_the_port_are_watts_at_the_device_and_heat(pd_w: float, source_v: float, ohm: float) -> None:
    point = operating_point(pd_w, source_v, ohm)
    if point is None:
        assert source_v**2 < 4 * pd_w * ohm
        return
    # Kirchhoff: the drop along the loop is what the device lacks, and the port gives all the current at its voltage
    assert point.pd_v + point.current_a * ohm == pytest.approx(source_v, rel=1e-6)
    assert point.current_a * source_v == pytest.approx(point.pse_w, rel=1e-6, abs=1e-9)
    back = point_from_port(point.pse_w * (1 - 1e-12), source_v, ohm)
    assert back is not None
    assert math.isclose(back.pd_w, pd_w, rel_tol=1e-5, abs_tol=1e-9)
