"""The rehearsal's own classes against the standard's: watts at both ends, demotion, volts and currents.

Watts: IEEE 802.3-2022 tables 33-1, 145-11 and 145-16 as published overviews have them. A class's PSE watts are its
PD watts behind the longest channel at the PSE's least volts, which the rehearsal's own cable works out.
"""

from __future__ import annotations

import pytest

from portdraw.rehearsal import class_power, wire


@pytest.mark.parametrize(
    ("number", "pse_v", "ohm"),
    [(3, 44, 20), (4, 50, 12.5), (5, 50, 6.25), (6, 50, 6.25), (7, 52, 6.25), (8, 52, 6.25)],
)
def test_watts_at_both_ends_belong_together(number: int, pse_v: float, ohm: float) -> None:
    point = wire.settle(pse_v, ohm, class_power.PD_W[number])
    assert point is not None
    assert point.source_w == pytest.approx(class_power.PSE_W[number], abs=0.1)


@pytest.mark.parametrize(
    ("asked", "class_max", "offers"),
    [
        (8, 8, (8, 6, 4, 3)),
        (7, 8, (7, 6, 4, 3)),
        (8, 6, (6, 4, 3)),
        (6, 8, (6, 4, 3)),
        (5, 8, (5, 4, 3)),
        (6, 4, (4, 3)),
        (4, 8, (4, 3)),
        (3, 8, (3,)),
        (2, 8, (2,)),
        (0, 8, (0,)),
        (3, 2, ()),
        (0, 2, ()),
        ((3, 3), 8, ((3, 3),)),
        ((5, 4), 4, ((4, 4),)),
    ],
)
def test_a_pse_demotes_in_the_standards_steps(
    asked: class_power.Signature, class_max: int, offers: tuple[class_power.Signature, ...]
) -> None:
    assert class_power.offers(asked, class_max) == offers


def test_volts_and_maintain_current_of_a_class() -> None:
    assert [class_power.least_v(number) for number in (0, 3, 4, 6, 7, 8)] == [37.0, 37.0, 42.5, 42.5, 41.1, 41.1]
    assert [class_power.maintain_a(number) for number in (1, 4, 5, 8)] == [0.010, 0.010, 0.016, 0.016]
    assert class_power.least_v((5, 5)) == 41.1
    assert class_power.at_pd_w((3, 3)) == pytest.approx(26.0)
    assert class_power.at_pse_w((4, 4)) == pytest.approx(60.0)
