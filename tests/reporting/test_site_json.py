"""The site as JSON, and back."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest
from tests.reporting.samples import (
    NOW_S,
    SCRIPT,
    ac_lost,
    all_fine,
    healthy,
    hostile,
    nothing_known,
    silent_unit,
)

from portdraw.judgement.assessment import SiteAssessment
from portdraw.reporting.site_json import health_json, site_json
from portdraw.reporting.site_json_reader import site_from_json


def told(site: SiteAssessment) -> dict[str, Any]:
    """Return the JSON as another program reads it."""
    text = json.dumps(site_json(site, NOW_S), allow_nan=False)
    read: dict[str, Any] = json.loads(text)
    return read


def figures(node: Any) -> Iterator[dict[str, Any]]:
    """Yield every object that carries watts."""
    if isinstance(node, dict):
        if "value_w" in node:
            yield node
        for child in node.values():
            yield from figures(child)
    elif isinstance(node, list):
        for child in node:
            yield from figures(child)


def test_a_port_in_full() -> None:
    port = told(all_fine())["units"][3]["ports"][0]
    assert port == {
        "port": "1",
        "label": "BE-01",
        "hangs": "berth-1-ptz-1",
        "kind": "ptz",
        "feeds_unit": None,
        "planned": True,
        "state": "delivering",
        "device_class": 5,
        "class_limit": {"value_w": 45.0, "missing": None},
        "draw": {
            "value_w": 15.0,
            "basis": "measured",
            "age_s": 6.0,
            "missing": None,
            "uncertainty_w": None,
            "source": "a private watt column",
            "read_at": "2026-03-02T14:06:04.000+00:00",
            "read_at_s": NOW_S - 6,
        },
        "planned_now": {"value_w": 15.3, "basis": "planned", "age_s": None, "missing": None},
        "planned_max": {"value_w": 30.6, "basis": "planned", "age_s": None, "missing": None},
        "denied_count": 0,
        "neighbour": None,
    }


@pytest.mark.parametrize("sample", [all_fine, ac_lost, silent_unit, nothing_known, hostile])
def test_every_unknown_watt_has_its_reason(sample: Callable[[], SiteAssessment]) -> None:
    found = list(figures(told(sample())))
    assert len(found) > 200
    for figure in found:
        assert (figure["value_w"] is None) == bool(figure["missing"])


def test_the_reason_is_the_readings_own() -> None:
    exit_lanes = next(unit for unit in told(silent_unit())["units"] if unit["unit"] == "exit-lanes")
    assert exit_lanes["ports"][0]["draw"]["missing"] == "the unit has not answered since 13:57:04"
    assert exit_lanes["draw"] == {
        "value_w": None,
        "basis": None,
        "age_s": None,
        "missing": "no answer within 8 s, 18 polls in a row: off, unreachable, or its access has changed",
        "complete": False,
    }
    assert exit_lanes["poll"]["stale"] is True


def test_not_a_number_becomes_unknown() -> None:
    site = all_fine()
    broken = replace(site.units[1], draw_w=math.nan, feed_need_w=math.inf)
    unit = told(replace(site, units=(broken,)))["units"][0]
    assert unit["draw"]["value_w"] is None
    assert unit["feed_need"]["value_w"] is None


def test_a_failure_says_who_goes_dark_and_which_limit_binds_on_each_load() -> None:
    worst = told(ac_lost())["next_failures"][0]
    assert [outlook["load"] for outlook in worst["outlooks"]] == ["now", "tonight", "design"]
    now = worst["outlooks"][0]
    assert now["outcome"] == "not survived"
    assert now["dark"] == ["foyer-sign", "office-phone-2", "office-phone-1"]
    assert now["may_go_dark"] == ["control-ap"]
    assert now["headroom"] == {"value_w": pytest.approx(440 - 460.4), "missing": None}
    assert told(silent_unit())["next_failures"][0]["outlooks"][0]["headroom"] == {
        "value_w": None,
        "missing": "exit-lanes has no reading, so its part can't be added",
    }
    assert told(all_fine())["findings"][0]["load"] == "tonight"


def test_text_from_outside_stays_text() -> None:
    text = json.dumps(site_json(hostile(), NOW_S))
    assert SCRIPT in json.loads(text)["headline"]
    assert "\\u001b" not in text
    assert "\\u202e" not in text


@pytest.mark.parametrize("sample", [all_fine, ac_lost, silent_unit, nothing_known])
def test_what_is_told_can_be_read_back(sample: Callable[[], SiteAssessment]) -> None:
    site = sample()
    back, now_s = site_from_json(told(site))
    assert now_s == NOW_S
    assert back.alarms == site.alarms
    assert back.headline == site.headline
    assert back.next_failures == site.next_failures
    assert (back.findings, back.more_failures) == (site.findings, site.more_failures)
    assert back.tonight_rests_on == site.tonight_rests_on
    for unit in site.units:
        assert back.unit(unit.unit) == unit


@pytest.mark.parametrize(
    "given", [{}, {"format": 2}, {"format": 1}, {"format": 1, "units": 3}, {"format": 1, "units": [{}]}]
)
def test_anything_else_is_refused_in_one_sentence(given: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=r"^(this is not|the state of the site can't be read)") as refused:
        site_from_json(given)
    assert "\n" not in str(refused.value)


def test_health() -> None:
    state = replace(healthy(), history_ok=False, history_error="disk full", ready=False, why_not_ready="starting")
    found = health_json(state, NOW_S)
    assert found["alive"] is True
    assert found["history"] == {"ok": False, "error": "disk full"}
    assert found["cycle_age_s"] == 4.0
    assert found["why_not_ready"] == "starting"
