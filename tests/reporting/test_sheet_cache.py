"""Sheets are made once for all readers, and anew as soon as a fact is another."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor

from tests.reporting.samples import NOW_S, ac_lost, all_fine, source

from portdraw.reporting import page
from portdraw.reporting.page import Pages
from portdraw.reporting.sheet_cache import SheetCache


def test_a_sheet_is_made_anew_for_other_facts_only() -> None:
    made: list[str] = []
    cache = SheetCache(most=2)

    def sheet(name: str, *facts: object) -> str:
        return cache.sheet(name, facts, lambda: made.append(name) or f"{name} {len(made)}")  # type: ignore[func-returns-value]

    assert [sheet("a", 1), sheet("a", 1), sheet("a", 2), sheet("b", 2)] == ["a 1", "a 1", "a 2", "b 3"]
    assert sheet("a", 2) == "a 2"
    assert sheet("c", 2) == "c 4"  # no place for more than two: b was asked for longest ago
    assert sheet("a", 2) == "a 2"
    assert sheet("b", 2) == "b 5"


def test_readers_at_the_same_time_wait_for_one_sheet() -> None:
    made: list[int] = []
    begun, go_on = threading.Event(), threading.Event()
    cache = SheetCache()

    def make() -> str:
        begun.set()
        go_on.wait(30)
        made.append(1)
        return "sheet"

    with ThreadPoolExecutor(4) as pool:
        asked = [pool.submit(cache.sheet, "page", (1,), make) for _ in range(4)]
        begun.wait(30)
        go_on.set()
        assert [one.result() for one in asked] == ["sheet"] * 4
    assert made == [1]


def test_pages_are_made_anew_with_each_cycle_and_before_their_ages_are_old() -> None:
    told = source(all_fine())
    pages = Pages(told)
    first = pages.overview(only_main=True)
    assert pages.overview(only_main=True) is first
    told.clock_s = NOW_S + page.KEEP_SHEET_S
    second = pages.overview(only_main=True)
    assert 'data-as-of="14:06:15"' in second
    told.site = ac_lost()
    assert "Two units have lost local AC" in pages.overview(only_main=True)
