"""The maintenance sheet: what an action means, and what it leaves on one leg."""

from __future__ import annotations

import pytest
from tests.powerflow.sites import ferry_terminal

from portdraw.plan.load_case import Case
from portdraw.powerflow.network import network_of
from portdraw.reporting.studies.maintenance import ActionError, failure_of, maintenance_sheet
from portdraw.reporting.studies.maintenance_json import sheet_document
from portdraw.reporting.studies.maintenance_tables import sheet_text

FERRY = ferry_terminal()
NETWORK = network_of(FERRY)


@pytest.mark.parametrize(
    ("action", "what"),
    [
        ("switch off north-pier", "unit north-pier"),
        ("Switch off unit north-pier", "unit north-pier"),
        ("restart core", "unit core"),
        ("switch off pier-7", "circuit pier-7"),
        ("open circuit pier-7", "circuit pier-7"),
        ("switch off panel P2", "panel P2"),
        ("switch off ups-a", "ups-a run flat"),
        ("switch off input of ups-a", "input of ups-a"),
        ("switch off feed of berth-1", "core port 2, feed of berth-1"),
        ("unplug feed cable of berth-1", "feed cable of berth-1 (core port 2)"),
        ("turn off core port 1", "core port 1, feed of north-pier"),
        ("update controller of core", "PoE controller of core"),
        ("supply 2 of core (ups-a)", "supply 2 of core (ups-a)"),
    ],
)
def test_what_an_action_means(action: str, what: str) -> None:
    assert failure_of(NETWORK, action).what == what


@pytest.mark.parametrize("action", ["", "switch off", "switch off nort-pier", "\x1b[2Jx", "switch off core port 9"])
def test_an_action_that_names_nothing_is_refused_in_one_line(action: str) -> None:
    with pytest.raises(ActionError) as refused:
        failure_of(NETWORK, action)
    assert "\n" not in str(refused.value)
    assert "\x1b" not in str(refused.value)


def test_the_nearest_name_is_offered() -> None:
    with pytest.raises(ActionError, match="did you mean north-pier"):
        failure_of(NETWORK, "switch off nort-pier")


def test_north_pier_off_leaves_breakwater_on_one_leg() -> None:
    text = sheet_text(maintenance_sheet(FERRY, "switch off north-pier", (Case.TYPICAL, Case.NIGHT)))
    words = " ".join(text.split())
    assert "It darkens 3 devices by itself." in words
    assert "Meanwhile on one leg: breakwater." in words
    assert "Dark under every load: pier-lane-cam, pier-intercom, pier-ap." in words
    assert "Do not switch off circuit pier-7: breakwater-cam," in words
    assert "also on it: breakwater, so use the unit's own plug or switch" in words
    assert max(map(len, text.splitlines())) <= 100


def test_what_was_dangerous_before_is_not_told_as_new() -> None:
    """The core's own devices hang on the core alone, with the pier's circuit off or on."""
    sheet = maintenance_sheet(FERRY, "switch off circuit pier-7", (Case.TYPICAL,))
    core = next(danger for danger in sheet.dangers if danger.failure.what == "unit core")
    pier = [name for at in ("north-pier", "breakwater") for name in devices_of(at)]
    assert sorted(core.more) == sorted(pier)
    assert sheet.row.dark_count == 0
    assert sheet.findings


def devices_of(unit: str) -> list[str]:
    return [port.device for port in FERRY.units[unit].ports.values() if port.device is not None]


def test_a_circuit_behind_a_battery_says_how_long() -> None:
    """273 min at noon: the worked example's UPS before any failure."""
    words = sheet_text(maintenance_sheet(FERRY, "switch off hall-1", (Case.TYPICAL,)))
    assert "ups-a lasts 4 h 33 min" in words
    assert sheet_document(maintenance_sheet(FERRY, "switch off hall-1", (Case.TYPICAL,)))["findings"] is False


def test_what_was_not_understood_is_said_with_the_forms_that_are() -> None:
    with pytest.raises(ActionError) as refused:
        failure_of(NETWORK, "eat fish")
    assert str(refused.value) == (
        "--before 'eat fish' is not understood: the site has no unit, circuit, panel, incomer or UPS called "
        '\'eat fish\'. Write "switch off NAME", "switch off circuit NAME", "switch off feed of UNIT" or '
        '"switch off UNIT port 3".'
    )
