"""The tables: every row has a source and a mark, and they agree with each other."""

from __future__ import annotations

import pytest
from tests.references.reference_table import rows

from portdraw.electrical.class_table import DUAL_CLASSES, SINGLE_CLASSES
from portdraw.electrical.conductor_table import AWG_DIAMETER_MM, CABLE_TYPES
from portdraw.electrical.mark import Mark
from portdraw.electrical.type_table import PSE_TYPES


def test_every_row_has_a_source_and_a_mark() -> None:
    marked: list[tuple[str, Mark]] = [(row.source, row.mark) for row in SINGLE_CLASSES.values()]
    marked += [(row.source, row.mark) for row in DUAL_CLASSES.values()]
    marked += [(row.source, row.mark) for row in PSE_TYPES.values()]
    marked += [(row.source, row.mark) for row in CABLE_TYPES.values()]
    assert len(marked) == 9 + 5 + 4 + 7
    for source, mark in marked:
        assert source.startswith(("IEEE 802.3", "TIA-", "ISO/IEC", "IEC "))
        assert mark in Mark


def test_published_watts_of_classes() -> None:
    # IEEE 802.3bt as an overview of 2018 prints it: PSE W and PD W of classes 1 to 8
    assert [SINGLE_CLASSES[n].pse_w_clause_33 or SINGLE_CLASSES[n].pse_w_clause_145 for n in range(1, 9)] == [
        4, 7, 15.4, 30, 45, 60, 75, 90,
    ]  # fmt: skip
    assert [SINGLE_CLASSES[n].pd_w for n in range(1, 9)] == pytest.approx(
        [3.84, 6.49, 13, 25.5, 40, 51, 62, 71.3], abs=0.06
    )  # class 3: 12.95 W in clause 33


def test_rows_are_keyed_by_their_own_number() -> None:
    for table in (SINGLE_CLASSES, DUAL_CLASSES, PSE_TYPES):
        assert all(key == row.number for key, row in table.items())
    assert all(key == row.name for key, row in CABLE_TYPES.items())


def test_wire_diameters() -> None:
    # ASTM B258: 0.127 mm x 92^((36 - AWG) / 39), four printed decimals
    for row in rows("solid_copper_wire.csv"):
        assert AWG_DIAMETER_MM[int(row["awg"])] == float(row["diameter_mm"])
    for gauge, diameter_mm in AWG_DIAMETER_MM.items():
        assert diameter_mm == pytest.approx(0.127 * 92 ** ((36 - gauge) / 39), abs=0.00006)


def test_a_type_reaches_its_class_and_its_current() -> None:
    # IEEE 802.3-2022 table 33-1: full class at the least voltage is the nominal current per pairset
    assert 15.4 / PSE_TYPES[1].pse_min_v == pytest.approx(PSE_TYPES[1].pairset_max_a)
    assert 30.0 / PSE_TYPES[2].pse_min_v == pytest.approx(PSE_TYPES[2].pairset_max_a)
    assert 60.0 / PSE_TYPES[3].pse_min_v * 0.55 == pytest.approx(PSE_TYPES[3].pairset_max_a)
    assert 90.0 / PSE_TYPES[4].pse_min_v * 0.55 <= PSE_TYPES[4].pairset_max_a
