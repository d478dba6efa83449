"""The overview in a terminal."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import replace

import pytest
from rich.console import Console
from tests.reporting.samples import NOW_S, ac_lost, all_fine, healthy, hostile, nothing_known, silent_unit

from portdraw.judgement.assessment import SiteAssessment
from portdraw.reporting.site_json import site_json
from portdraw.reporting.status_table import print_status, print_status_json


def printed(site: SiteAssessment | None, width: int = 100, colour: bool = False) -> str:
    """Return what is printed."""
    out = io.StringIO()
    console = Console(file=out, width=width, force_terminal=colour, highlight=False)
    print_status(site, NOW_S, healthy(), console)
    return out.getvalue()


@pytest.mark.parametrize("sample", [all_fine, ac_lost, silent_unit, nothing_known, hostile])
@pytest.mark.parametrize("width", [60, 100, 240])
def test_it_fits_and_carries_no_escape(sample: Callable[[], SiteAssessment], width: int) -> None:
    text = printed(sample(), width)
    assert max(len(line) for line in text.splitlines()) <= min(width, 100)
    assert not [letter for letter in text if letter < " " and letter != "\n"]


def test_both_legs_of_a_unit_that_lost_its_ac() -> None:
    lines = [line.rstrip() for line in printed(ac_lost()).splitlines()]
    assert lines[0] == "EMULATED: every figure here comes from a rehearsal"
    start = lines.index("  berth-2  cabinet at berth 2  read 6 s ago")
    assert lines[start + 1 : start + 3] == [
        "   local AC quay-3              lost since 14:02:31  #####..... 47.1 of 90 W      this leg is lost",
        "   PoE feed core port 3         carrying, believed   #####..    47.1 of 59.6 W    12.5 W left",
    ]
    assert any(line.startswith("!! urgent        Local AC lost at berth-1;") for line in lines)
    assert "   running on    PoE feed from core port 2, believed" in lines
    start = lines.index("all local AC without a generator")
    assert lines[start + 1 : start + 4] == [
        "  now           not survived             #########X foyer-sign, office-phone-2 and office-phone-1",
        "                                                    go dark, control-ap may; core budget 460.4 of",
        "                                                    440 W, 20.4 W short; ups-a lasts 88 min",
    ]


def test_unknown_is_said() -> None:
    text = printed(nothing_known())
    assert "No alarm is up, but 9 of 9 units are unknown: this list can't speak for them." in text
    assert "?????????? unknown of 90 W   draw unknown" in text
    assert "No readings yet: no cycle has ended." in printed(None)


def test_the_same_from_the_agents_json() -> None:
    out = io.StringIO()
    given = json.loads(json.dumps(site_json(ac_lost(), NOW_S)))
    print_status_json(given, Console(file=out, width=100, highlight=False))
    assert out.getvalue() == printed(ac_lost())


def test_old_news_comes_first() -> None:
    out = io.StringIO()
    state = replace(healthy(), last_cycle_s=NOW_S - 600)
    print_status(all_fine(), NOW_S, state, Console(file=out, width=100))
    assert out.getvalue().startswith(
        "OLD NEWS: No new cycle since 13:56:10, 10 min ago. Everything below is that old."
    )
