"""Units in tree order."""

from __future__ import annotations

from dataclasses import replace

from tests.reporting.samples import all_fine

from portdraw.reporting.unit_order import in_tree_order


def test_each_unit_stands_below_its_feeder_in_port_order() -> None:
    site = all_fine()
    shuffled = replace(site, units=tuple(reversed(site.units)))
    assert [(unit.unit, depth) for unit, depth in in_tree_order(shuffled)] == [
        ("core", 0),
        ("north-pier", 1),
        ("breakwater", 2),
        ("berth-1", 1),
        ("berth-2", 1),
        ("entry-lanes", 1),
        ("exit-lanes", 1),
        ("ticket-hall", 1),
        ("waiting-room", 1),
    ]


def test_a_ring_and_an_unknown_feeder_lose_no_unit() -> None:
    site = all_fine()
    units = list(site.units)
    units[1] = replace(units[1], fed_by="breakwater")
    units[2] = replace(units[2], fed_by="north-pier")
    units[3] = replace(units[3], fed_by="nowhere port 4")
    listed = in_tree_order(replace(site, units=tuple(units)))
    assert sorted(unit.unit for unit, _ in listed) == sorted(unit.unit for unit in site.units)
    assert {unit.unit: depth for unit, depth in listed}["berth-1"] == 0
