"""The one-line diagram: legs by line style, what is dark hatched and labelled, large sites in strips."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from tests.powerflow.sites import device, feed, ferry_terminal, site, unit

from portdraw.plan.load_case import Case
from portdraw.powerflow.failure import all_unbacked_ac
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.network import network_of
from portdraw.powerflow.solve import solve
from portdraw.powerflow.state import NOTHING_OUT, Outage
from portdraw.reporting.studies.diagram_layout import MOST_COLUMNS, strips
from portdraw.reporting.studies.diagram_shapes import Drawing, fitted
from portdraw.reporting.studies.power_diagram import power_diagrams

NETWORK = network_of(ferry_terminal())
FROST = planned_load(NETWORK, Case.FROST_NIGHT)


def drawn(outage: Outage) -> Drawing:
    (drawing,) = power_diagrams(solve(NETWORK, FROST, outage), "test")
    return drawing


def texts(drawing: Drawing) -> list[str]:
    return [label.text for label in drawing.labels]


def test_every_unit_has_a_box_with_watts_and_limit() -> None:
    """Watts and budgets of a frost night are those of the worked example."""
    said = texts(drawn(NOTHING_OUT))
    assert [name for name in NETWORK.site.units if name not in said] == []
    assert "87.3 of 440 W" in said
    assert "55.5 of 90 W" in said
    assert "62 %, on local AC" in said


def test_legs_are_told_by_line_style() -> None:
    usual, lost = drawn(NOTHING_OUT), drawn(lost_ac())
    for drawing in (usual, lost):
        assert {line.dash for line in drawing.lines} == {"", "6 4"}
    thick = [sum(line.width > 2 for line in drawing.lines if line.dash) for drawing in (usual, lost)]
    assert thick[0] == 0  # all feeds stand by
    assert thick[1] > 0


def lost_ac() -> Outage:
    everything = all_unbacked_ac(NETWORK)
    assert everything is not None
    return everything.outage


def test_what_is_dark_is_hatched_and_says_so() -> None:
    usual, lost = drawn(NOTHING_OUT), drawn(lost_ac())
    assert not [box for box in usual.boxes if box.fill == "hatch"]
    hatched = [box for box in lost.boxes if box.fill == "hatch"]
    assert len(hatched) == 2  # waiting-room whole, core's devices in part
    assert "DARK" in texts(lost)
    assert "10 of 10 DARK" in texts(lost)
    assert texts(lost).count("shed") == 1
    assert texts(lost).count("local AC out") == 8


def large(count: int) -> Any:
    units: dict[str, Any] = {
        "head": unit("main", {str(at + 1): feed(f"far-{at}") for at in range(count)}, fed=None, zone="head"),
    }
    for at in range(count):
        units[f"far-{at}"] = unit("side", {"1": device(f"cam-{at}")}, zone=f"zone-{at // 5}")
    return site(units)


def test_sixty_units_stand_in_strips_each_once() -> None:
    network = network_of(large(60))
    found = strips(network)
    assert sorted(at for strip in found for at in strip.units) == list(range(61))
    assert all(len(strip.units) <= MOST_COLUMNS for strip in found)
    drawings = power_diagrams(solve(network, planned_load(network, Case.NIGHT), NOTHING_OUT), "large")
    assert len(drawings) == len(found)
    assert "from head 60" in texts(drawings[-1])
    assert max(drawing.width for drawing in drawings) <= drawn(NOTHING_OUT).width


def test_boxes_do_not_overlap_and_names_stay_inside() -> None:
    drawing = drawn(NOTHING_OUT)
    boxes = sorted((box for box in drawing.boxes if box.height > 60), key=lambda box: box.x)
    assert len(boxes) == 9
    assert all(left.x + left.width < right.x for left, right in pairwise(boxes))
    assert all(0 <= label.x <= drawing.width and 0 <= label.y <= drawing.height for label in drawing.labels)


def test_long_names_are_cut_in_the_middle() -> None:
    cut = fitted("a-very-long-name-of-the-old-gate", 80, 10)
    assert len(cut) * 10 * 0.56 <= 80
    assert cut.startswith("a-very")
    assert cut.endswith("gate")
    assert fitted("core", 80, 10) == "core"
