"""The page in a real browser: swaps itself, stays within itself, and says loudly when the agent is gone."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright
from tests.reporting.samples import (
    NOW_S,
    SampleSource,
    ac_lost,
    all_fine,
    hostile,
    nothing_known,
    silent_unit,
    source,
)
from tests.reporting.served import Served, served
from tests.requirements import need_program

from portdraw.reporting.http_app import build_app
from portdraw.reporting.metrics import site_registry

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE_MS = 60_000


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Debian's browser, without a window."""
    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=need_program("chromium"), args=ARGUMENTS)
        yield started
        started.close()


@pytest.fixture
def agent() -> Iterator[tuple[Served, SampleSource]]:
    """A served application over a source that the test may change."""
    told = source(all_fine())
    with served(build_app(told, site_registry(told))) as running:
        yield running, told


def test_the_page_swaps_its_main_part(browser: Browser, agent: tuple[Served, SampleSource]) -> None:
    running, told = agent
    page = browser.new_page()
    page.clock.install()
    page.goto(running.address)
    assert page.inner_text("h1") == "All nine units are on their first leg, and any single loss fits."
    told.site, told.clock_s = ac_lost(), NOW_S + 5
    page.clock.fast_forward(6_000)
    page.wait_for_selector(".emulated", timeout=PATIENCE_MS)
    assert page.inner_text("h1").startswith("Two units have lost local AC")
    assert page.title() == "EMULATED · 4 alarms · Skarholm ferry terminal"
    assert page.is_hidden("#no-news")
    page.close()


def test_it_says_so_when_the_agent_is_gone_and_when_it_is_back(
    browser: Browser, agent: tuple[Served, SampleSource]
) -> None:
    running, _ = agent
    page = browser.new_page()
    page.clock.install()
    page.goto(running.address)
    page.route("**/*", lambda route: route.abort())
    page.clock.run_for(20_000)
    page.wait_for_selector("#no-news:not([hidden])", timeout=PATIENCE_MS)
    assert page.inner_text("#no-news").startswith("No news since 14:06:10.")
    assert page.title() == "NO NEWS since 14:06:10"
    assert page.eval_on_selector("body", "body => body.className") == "old"
    page.unroute("**/*")
    page.clock.run_for(6_000)
    page.wait_for_selector("#no-news", state="hidden", timeout=PATIENCE_MS)
    assert page.title() == "0 alarms · Skarholm ferry terminal"
    page.close()


def test_an_agent_that_hangs_is_no_news_either(browser: Browser, agent: tuple[Served, SampleSource]) -> None:
    running, _ = agent
    page = browser.new_page()
    page.clock.install()
    page.goto(running.address)
    page.route("**/*", lambda route: None)  # never answered
    page.clock.run_for(20_000)
    page.wait_for_selector("#no-news:not([hidden])", timeout=PATIENCE_MS)
    page.close()


@pytest.mark.parametrize("path", ["/", "/unit/north-pier"])
def test_hostile_names_run_nothing_and_nothing_is_fetched_elsewhere(
    browser: Browser, agent: tuple[Served, SampleSource], path: str
) -> None:
    running, told = agent
    told.site = hostile()
    page = browser.new_page()
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("dialog", lambda dialog: said.append(dialog.message))
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.clock.install()
    page.goto(running.address + path)
    with page.expect_response(lambda answer: "part=main" in answer.url, timeout=PATIENCE_MS):
        page.clock.run_for(6_000)
    assert page.evaluate("document.scripts.length") == 1
    assert said == []
    assert [url for url in asked if not url.startswith((running.address, "data:"))] == []
    page.close()


@pytest.mark.parametrize("width", [390, 1280, 1920])
def test_nothing_is_cut_off_at_the_side(browser: Browser, agent: tuple[Served, SampleSource], width: int) -> None:
    running, told = agent
    page = browser.new_page(viewport={"width": width, "height": 900})
    for sample in (all_fine, ac_lost, silent_unit, nothing_known, hostile):
        told.site = sample()
        for path in ("/", "/unit/exit-lanes", "/unit/core"):
            page.goto(running.address + path)
            assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.close()
