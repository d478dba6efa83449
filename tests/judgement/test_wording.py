"""How watts, times and names are written."""

from __future__ import annotations

import pytest

from portdraw.judgement import wording

T_S = 1_783_000_800.0  # 2026-07-02 14:00:00 UTC, 15:00 on the Faroes in summer


def test_clock_is_the_sites_own() -> None:
    assert wording.clock_text(T_S, T_S, "Atlantic/Faroe") == "15:00"
    assert wording.clock_text(T_S, T_S, "UTC") == "14:00"
    assert wording.clock_text(T_S - 86_400, T_S, "Atlantic/Faroe") == "2026-07-01 15:00"
    assert wording.clock_text(T_S, T_S, "No/Such") == "14:00"


@pytest.mark.parametrize(("watts", "text"), [(90.0, "90 W"), (59.616, "59.6 W"), (14.4, "14.4 W")])
def test_limits(watts: float, text: str) -> None:
    assert wording.limit_text(watts) == text


def test_lists_and_counts() -> None:
    assert wording.list_text(()) == ""
    assert wording.list_text(("a",)) == "a"
    assert wording.list_text(("a", "b", "c")) == "a, b and c"
    assert wording.list_text(tuple("abcdefgh")) == "a, b, c, d, e, f and 2 more"
    assert wording.count_text(1, "unit") == "1 unit"
    assert wording.count_text(2, "device goes", "devices go") == "2 devices go"


def test_names_with_their_places() -> None:
    assert wording.place_text("north-pier", "mast 3, north pier") == "north-pier (mast 3, north pier)"
    assert wording.place_text("north-pier", "") == "north-pier"
    assert wording.port_text("4", "A-04", "lane-camera-2") == "port 4 (A-04, lane-camera-2)"
    assert wording.port_text("4", "", "") == "port 4"
