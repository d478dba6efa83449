"""A unit and its ports in words."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.reporting.samples import NOW_S, ac_lost, all_fine, device_port, feed_port

from portdraw.judgement.assessment import PortAssessment
from portdraw.observation.record import PortState
from portdraw.reporting.unit_view import port_view, unit_view

PORT = device_port("berth-1", "1", "ptz-1", "ptz", 1.0)  # class 5: 45 W, plan at most 30.6 W


@pytest.mark.parametrize(
    ("port", "remark", "tone"),
    [
        (PORT, "", "quiet"),
        (replace(PORT, draw_w=30.66), "", "quiet"),
        (replace(PORT, draw_w=31.6), "above plan by 1.0 W", "warning"),
        (replace(PORT, draw_w=46.0), "above class by 1.0 W", "urgent"),
        (replace(PORT, planned=False), "not in the site file", "warning"),
        (replace(PORT, planned=False, draw_w=0.0, state=PortState.SEARCHING), "spare", "quiet"),
        (
            replace(PORT, planned=False, draw_w=None, state=PortState.DELIVERING, missing="no column"),
            "no column",
            "unknown",
        ),
        (replace(PORT, planned=False, draw_w=None, state=None, missing="silent"), "silent", "unknown"),
        (replace(PORT, draw_w=None, missing=None), "watts were not read", "unknown"),
    ],
)
def test_what_is_said_of_a_port(port: PortAssessment, remark: str, tone: str) -> None:
    view = port_view(port, NOW_S)
    assert (view.remark, view.tone) == (remark, tone)


def test_class_words() -> None:
    assert port_view(PORT, NOW_S).class_words == "5, 45 W"
    feed = feed_port("core", "1", "berth-1", 1.3)
    # RFC 3621 reports classes above 4 as class 4
    assert port_view(replace(feed, device_class=4), NOW_S).class_words == "4 or above, 90 W"
    assert port_view(replace(feed, device_class=4, class_limit_w=30.0), NOW_S).class_words == "4, 30 W"
    assert port_view(replace(feed, device_class=None), NOW_S).class_words == "unknown"


def test_what_the_feed_is_asked_for() -> None:
    site = ac_lost()
    unit = site.unit("berth-1")
    assert unit is not None
    notes = [
        unit_view(site, changed, 1, NOW_S).legs[1].note
        for changed in (
            unit,
            replace(unit, feed_need_w=95.5),
            replace(unit, feed_need_w=None),
            replace(unit, feed_limit_w=None),
        )
    ]
    assert notes == [
        "asks core port 2 for 66.3 of 90 W",
        "asks core port 2 for 95.5 of 90 W, short 5.5 W",
        "what it asks of core port 2 is unknown",
        "asks core port 2 for 66.3 W, limit unknown",
    ]


def test_both_bars_of_a_unit_have_one_scale() -> None:
    site = all_fine()
    unit = site.unit("berth-1")
    assert unit is not None
    ac, feed = unit_view(site, unit, 1, NOW_S).legs
    assert ac.bar.frame == 100
    assert feed.bar.frame == pytest.approx(100 * 59.6 / 90)
    assert ac.bar.fill == feed.bar.fill
