"""A large site: what is worst of each unit, and all units by zone, the worst first."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.reporting.samples import NOW_S, ac_lost, all_fine, fed_unit, many_units, silent_unit

from portdraw.judgement.alarm import Severity
from portdraw.judgement.assessment import Availability, Carrying, UnitAssessment
from portdraw.observation.unit_observation import Outcome
from portdraw.reporting.overview_view import MOST_UNITS_IN_FULL, overview_view
from portdraw.reporting.unit_trouble import unit_trouble, unit_troubles
from portdraw.reporting.zone_view import zone_views

UNIT = fed_unit("berth-1")
LOST = fed_unit("berth-1", on_feed=True)
DARK = replace(LOST, legs=tuple(replace(leg, availability=Availability.LOST) for leg in LOST.legs))
UNSURE = replace(UNIT, legs=(UNIT.legs[0], replace(UNIT.legs[1], availability=Availability.UNKNOWN)))
NO_LEG_CARRIES = replace(UNIT, legs=tuple(replace(leg, carrying=Carrying.UNKNOWN) for leg in UNIT.legs))


@pytest.mark.parametrize(
    ("unit", "alarm", "words", "tone"),
    [
        (UNIT, None, "", "quiet"),
        (UNIT, Severity.NOTICE, "notice", "notice"),
        (UNIT, Severity.WARNING, "warning", "warning"),
        (UNIT, Severity.URGENT, "urgent alarm", "urgent"),
        (LOST, Severity.NOTICE, "local AC lost", "urgent"),
        (DARK, None, "every leg lost", "urgent"),
        (replace(UNIT, share=1.01), None, "over budget", "urgent"),
        (replace(UNIT, share=0.81), None, "margin used", "warning"),
        (replace(UNIT, share=None), None, "draw unknown", "unknown"),
        (replace(UNIT, draw_complete=False), None, "draw in part unknown", "unknown"),
        (replace(UNIT, stale=True), None, "stale", "unknown"),
        (replace(UNIT, read_s=None), None, "unknown", "unknown"),
        (UNSURE, None, "a leg unknown", "unknown"),
        (NO_LEG_CARRIES, None, "a leg unknown", "unknown"),
        (replace(UNIT, legs=()), None, "legs unknown", "unknown"),
        (replace(UNIT, outcome=Outcome.NOT_READABLE, read_s=None), None, "not readable by design", "unknown"),
    ],
)
def test_the_worst_of_a_unit(unit: UnitAssessment, alarm: Severity | None, words: str, tone: str) -> None:
    trouble = unit_trouble(unit, alarm, 20)
    assert (trouble.words, trouble.tone) == (words, tone)
    assert trouble.needs_a_look == (words not in ("", "not readable by design"))


def test_the_most_severe_alarm_of_a_unit_counts() -> None:
    site = ac_lost()
    assert unit_troubles(site)["berth-1"].words == "local AC lost"
    warned = tuple(replace(alarm, unit="core") for alarm in site.alarms)
    assert unit_troubles(replace(site, alarms=warned))["core"].words == "urgent alarm"


def test_zones_the_worst_first() -> None:
    site = silent_unit()
    zones = zone_views(site, unit_troubles(site))
    assert zones[0].zone in ("gate", "pier")  # a silent unit in each
    assert zones[0].tone == "unknown"
    gate = next(zone for zone in zones if zone.zone == "gate")
    assert gate.words == "2 units, 1 stale, 1 draw in part unknown"
    assert [(chip.unit, chip.words) for chip in gate.units] == [
        ("exit-lanes", "stale"),
        ("entry-lanes", "draw in part unknown"),
    ]
    hall = next(zone for zone in zones if zone.zone == "hall")
    assert hall.words == "2 units, nothing wrong"
    assert [chip.words for chip in hall.units] == ["49 %", "46 %"]


def test_a_large_site_shows_what_needs_a_look_and_all_by_zone() -> None:
    site = many_units(1000)
    view = overview_view(site, NOW_S, MOST_UNITS_IN_FULL)
    assert len(view.units) == MOST_UNITS_IN_FULL
    assert sum(len(zone.units) for zone in view.zones) == 1000
    troubles = unit_troubles(site)
    assert view.more_units == sum(trouble.needs_a_look for trouble in troubles.values()) - MOST_UNITS_IN_FULL
    assert view.more_units > 0
    ranks = [troubles[unit.unit].rank for unit in view.units]
    assert ranks == sorted(ranks)
    assert ranks[-1] <= min(
        troubles[unit.unit].rank for unit in site.units if unit.unit not in {shown.unit for shown in view.units}
    )


def test_a_small_site_shows_every_unit_in_full() -> None:
    view = overview_view(all_fine(), NOW_S, MOST_UNITS_IN_FULL)
    assert (len(view.units), view.zones, view.more_units) == (9, (), 0)
