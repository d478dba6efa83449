"""The rehearsal's own cable against pairs that the standard and plain algebra give."""

from __future__ import annotations

import math

import pytest

from portdraw.plan.site import Cable
from portdraw.rehearsal.wire import loop_ohm, settle


# IEEE 802.3 clauses 33 and 145 (from memory): PSE volts, channel loop, watts at the PD and at the PSE of a limit.
@pytest.mark.parametrize(
    ("source_v", "ohm", "pd_w", "pse_w"),
    [
        (44, 20, 12.95, 15.4),
        (50, 12.5, 25.5, 30.0),
        (50, 6.25, 51.0, 60.0),
        (52, 6.25, 62.0, 75.0),
        (52, 6.25, 71.3, 90.0),
    ],
)
def test_class_limits_of_the_standard(source_v: float, ohm: float, pd_w: float, pse_w: float) -> None:
    point = settle(source_v, ohm, pd_w)
    assert point is not None
    assert point.source_w == pytest.approx(pse_w, abs=0.1)


@pytest.mark.parametrize(("source_v", "ohm", "load_w"), [(54, 5.628, 25.5), (54, 4.69, 51.0), (48, 9.38, 12.95)])
def test_iteration_meets_the_quadratic(source_v: float, ohm: float, load_w: float) -> None:
    # V = (Vs + sqrt(Vs^2 - 4 P R)) / 2, the upper root of P = V (Vs - V) / R
    volts = (source_v + math.sqrt(source_v**2 - 4 * load_w * ohm)) / 2
    point = settle(source_v, ohm, load_w)
    assert point is not None
    assert point.volts == pytest.approx(volts, abs=1e-6)
    assert point.lost_w == pytest.approx((load_w / volts) ** 2 * ohm, abs=1e-6)


def test_no_current_carries_more_than_the_cable_can() -> None:
    # most that 50 V can bring through 12.5 ohm is V^2 / 4R = 50.0 W
    assert settle(50, 12.5, 50.2) is None


def test_no_load_loses_nothing() -> None:
    point = settle(54, 5, 0)
    assert point is not None
    assert (point.volts, point.lost_w, point.source_w) == (54, 0, 0)


def test_loop_of_warm_category_cable() -> None:
    # 9.38 ohm per 100 m (TIA-568.2) x 84 m at 45 °C (IEC 60028: 1.09825) + 0.2 ohm; half of it on four pairs
    cable = Cable.model_validate(
        {"type": "cat6a", "length_m": 84, "conductor": "copper", "ambient_c": 35, "rise_k": 10}
    )
    assert loop_ohm(cable, four_pairs=False) == pytest.approx(9.38 * 0.84 * 1.09825 + 0.2)
    assert loop_ohm(cable, four_pairs=True) == pytest.approx((9.38 * 0.84 * 1.09825 + 0.2) / 2)
