"""Watts per load case, what stands in for undeclared ones, and the site's night."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from tests.plan.samples import drawn

from portdraw.plan.load_case import Case, DeviceWatts, case_now, device_w, is_night, largest_steady_w
from portdraw.plan.site import Port, Site


def watts(case: Case, **fields: Any) -> DeviceWatts | None:
    port = Port.model_validate({"device": "cam"} | fields)
    return device_w(drawn({"a": {}}), port, case)


# what is declared, the case, the watts that count (class 3: 12.95 W at the PD input, IEEE 802.3), whether assumed
@pytest.mark.parametrize(
    ("declared", "case", "expected_w", "assumed"),
    [
        ({"typical_w": 5.0, "night_w": 8.0, "frost_night_w": 9.0}, Case.FROST_NIGHT, 9.0, False),
        ({"typical_w": 5.0, "night_w": 8.0}, Case.FROST_NIGHT, 8.0, True),
        ({"typical_w": 5.0}, Case.FROST_NIGHT, 5.0, True),
        ({"typical_w": 5.0}, Case.NIGHT, 5.0, True),
        ({"night_w": 8.0}, Case.TYPICAL, 8.0, True),
        ({"max_w": 11.0}, Case.TYPICAL, 11.0, True),
        ({}, Case.TYPICAL, 12.95, True),
        ({"max_w": 11.0}, Case.MAXIMUM, 11.0, False),
        ({"typical_w": 5.0}, Case.MAXIMUM, 12.95, True),
        ({"startup_w": 7.0, "typical_w": 5.0}, Case.STARTUP, 7.0, False),
        ({"typical_w": 5.0, "night_w": 8.0}, Case.STARTUP, 8.0, True),
        ({}, Case.STARTUP, 12.95, True),
        ({"typical_w": 5.0, "off": True}, Case.TYPICAL, 0.0, False),
    ],
)
def test_case(declared: dict[str, Any], case: Case, expected_w: float, assumed: bool) -> None:
    found = watts(case, **{"class": 3}, **declared)
    assert found is not None
    assert found.watts == expected_w
    assert (found.assumed is not None) is assumed


def test_nothing_is_known_without_class_and_watts() -> None:
    assert watts(Case.TYPICAL) is None
    assert watts(Case.MAXIMUM) is None


def test_a_dual_signature_maximum_is_the_sum_of_both() -> None:
    # IEEE 802.3-2022 clause 145, dual signature: class 3 is 13.0 W, class 5 is 35.6 W a pairset
    found = watts(Case.MAXIMUM, **{"class": [3, 5]})
    assert found is not None
    assert found.watts == pytest.approx(48.6)


def test_own_watts_go_before_the_type_s() -> None:
    site = drawn({"a": {}}, device_types={"camera": {"class": 3, "typical_w": 5, "night_w": 8}})
    port = Port(device="cam", type="camera", typical_w=6.5)
    assert device_w(site, port, Case.TYPICAL) == DeviceWatts(6.5)
    assert device_w(site, port, Case.NIGHT) == DeviceWatts(8.0)
    assert largest_steady_w(site, port) == 8.0
    assert largest_steady_w(site, Port()) == 0.0
    assert device_w(site, Port(), Case.TYPICAL) is None


def lit(night: dict[str, str] | None, clock: str, zone: str = "Atlantic/Faroe") -> bool:
    site = Site.model_validate(
        {"format": 1, "site": {"name": "x", "timezone": zone, "night": night}, "units": {"a": {}}}
    )
    time_s = datetime.fromisoformat(clock).replace(tzinfo=ZoneInfo(zone)).timestamp()
    assert case_now(site, time_s) is (Case.NIGHT if is_night(site, time_s) else Case.TYPICAL)
    return is_night(site, time_s)


@pytest.mark.parametrize(
    ("clock", "expected"),
    [
        ("2026-01-10T19:59:59", False),
        ("2026-01-10T20:00:00", True),
        ("2026-01-11T00:00:00", True),
        ("2026-01-11T06:29:59", True),
        ("2026-01-11T06:30:00", False),
        ("2026-07-10T20:00:00", True),  # summer time: still by the clock on the wall
        ("2026-07-10T19:30:00", False),
    ],
)
def test_night_past_midnight(clock: str, expected: bool) -> None:
    assert lit({"from": "20:00", "to": "06:30"}, clock) is expected


def test_night_within_one_day_and_none() -> None:
    assert lit({"from": "01:00", "to": "05:00"}, "2026-01-10T03:00:00")
    assert not lit({"from": "01:00", "to": "05:00"}, "2026-01-10T05:00:00")
    assert not lit(None, "2026-01-10T03:00:00")
