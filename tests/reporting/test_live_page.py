"""The page in a real browser: swaps itself, stays within itself, and says loudly when the agent is gone."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from playwright.sync_api import Browser, Page
from tests.reporting.samples import (
    NOW_S,
    SampleSource,
    ac_lost,
    all_fine,
    hostile,
    many_units,
    nothing_known,
    silent_unit,
    source,
)
from tests.reporting.served import Served, served

from portdraw.reporting.http.app import build_app
from portdraw.reporting.metrics import site_registry

PATIENCE_MS = 60_000
OLD_SHEET = "The sheet below is how it was then, not how it is."


@contextmanager
def opened(browser: Browser, address: str, fake_time: bool = False) -> Iterator[Page]:
    """Open a page; with `fake_time` its timers run only as the test says (the stream's own events still come)."""
    page = browser.new_page()
    if fake_time:
        page.clock.install()
    page.goto(address)
    yield page
    page.close()


def wait_for(page: Page, selector: str) -> None:
    """Wait until a visible part of the page fits a selector (the page's policy forbids to wait on script)."""
    page.wait_for_selector(selector, timeout=PATIENCE_MS)


LIVE = "#pulse:text-is('live')"
NO_NEWS = "#no-news:not([hidden])"


def test_a_new_cycle_is_shown_without_being_asked_for(browser: Browser, agent: tuple[Served, SampleSource]) -> None:
    """The timers of the page stand still: what is shown came by a server-sent event."""
    running, told = agent
    with opened(browser, running.address, fake_time=True) as page:
        wait_for(page, LIVE)
        assert page.inner_text("h1") == "All nine units are on their first leg, and any single loss fits."
        page.focus("a[href='/unit/berth-1']")
        told.site, told.clock_s = ac_lost(), NOW_S + 5
        wait_for(page, ".emulated")
        assert page.inner_text("h1").startswith("Two units have lost local AC")
        assert page.title() == "EMULATED · 4 alarms · Skarholm ferry terminal"
        assert page.is_hidden("#no-news")
        assert page.get_attribute("#said", "aria-live") == "polite"
        assert page.inner_text("#said").startswith("Two units have lost local AC")
        assert page.evaluate("document.activeElement.getAttribute('href')") == "/unit/berth-1"
        assert page.locator("[aria-live]").count() == 1


def test_a_beat_keeps_the_clock_going(browser: Browser, agent: tuple[Served, SampleSource]) -> None:
    running, told = agent
    with opened(browser, running.address, fake_time=True) as page:
        wait_for(page, LIVE)
        told.clock_s = NOW_S + 7
        wait_for(page, "#clock:text-is('14:06:17')")
        assert page.get_attribute("#sheet", "data-as-of") == "14:06:10"


def test_it_says_so_when_the_agent_stops_and_when_it_is_back(browser: Browser) -> None:
    told = source(all_fine())
    app = build_app(told, site_registry(told))
    with served(app) as running, opened(browser, running.address) as page:
        port = int(running.address.rsplit(":", 1)[1])
        wait_for(page, LIVE)
        app.state.live_events.close()
        wait_for(page, NO_NEWS)
        assert page.inner_text("#no-news") == f"No news since 14:06:10. The agent was stopped. {OLD_SHEET}"
        assert page.get_attribute("#no-news", "role") == "alert"
        assert page.title() == "NO NEWS since 14:06:10"
        assert page.eval_on_selector("body", "body => body.className") == "old"
        hatched = "getComputedStyle(document.querySelector('main'), '::after').backgroundImage"
        assert "repeating-linear-gradient" in page.evaluate(hatched)
        running.stop()
        told.site, told.clock_s = ac_lost(), NOW_S + 60
        with served(build_app(told, site_registry(told)), port):
            wait_for(page, LIVE)
            wait_for(page, ".emulated")
            assert page.is_hidden("#no-news")
            assert page.title() == "EMULATED · 4 alarms · Skarholm ferry terminal"
            assert page.eval_on_selector("body", "body => body.className") == ""


def test_it_says_so_when_the_server_is_gone(browser: Browser, agent: tuple[Served, SampleSource]) -> None:
    running, _ = agent
    with opened(browser, running.address) as page:
        wait_for(page, LIVE)
        running.stop()
        wait_for(page, NO_NEWS)
        assert page.inner_text("#no-news").startswith("No news since 14:06:10. The agent")


def test_without_a_stream_it_asks_and_says_when_nothing_answers(
    browser: Browser, agent: tuple[Served, SampleSource]
) -> None:
    running, told = agent
    page = browser.new_page()
    page.clock.install()
    page.route("**/events", lambda route: route.fulfill(status=503, body="busy"))
    page.goto(running.address)
    wait_for(page, "#pulse:text-is('asking every few seconds')")
    told.site = ac_lost()
    page.clock.run_for(6_000)
    wait_for(page, ".emulated")
    page.route("**/*", lambda route: route.abort())
    page.clock.run_for(20_000)
    wait_for(page, NO_NEWS)
    assert page.inner_text("#no-news") == f"No news since 14:06:10. The agent does not answer. {OLD_SHEET}"
    page.unroute("**/*")
    page.clock.run_for(6_000)
    page.wait_for_selector("#no-news", state="hidden", timeout=PATIENCE_MS)
    assert page.title() == "EMULATED · 4 alarms · Skarholm ferry terminal"
    page.close()


def test_an_agent_that_hangs_is_no_news_either(browser: Browser, agent: tuple[Served, SampleSource]) -> None:
    running, _ = agent
    page = browser.new_page()
    page.clock.install()
    page.route("**/events", lambda route: None)  # never answered
    page.goto(running.address)
    page.route("**/*", lambda route: None)
    page.clock.run_for(20_000)
    wait_for(page, NO_NEWS)
    page.close()


def test_without_script_all_is_there_and_says_how_old_it_is(
    browser: Browser, agent: tuple[Served, SampleSource]
) -> None:
    running, told = agent
    told.site = ac_lost()
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(running.address)
    assert page.inner_text("h1").startswith("Two units have lost local AC")
    assert page.inner_text("#clock") == "14:06:10"
    assert page.inner_text("#pulse") == "as it was then"
    assert page.locator("noscript meta[http-equiv=refresh]").get_attribute("content") == "10"
    page.click("a[href='/unit/berth-1'] >> nth=0")
    assert page.inner_text("h1").startswith("berth-1")
    assert page.locator(".ports tbody tr").count() == 4
    context.close()


@pytest.mark.parametrize("path", ["/", "/unit/north-pier"])
def test_hostile_names_run_nothing_and_nothing_is_fetched_elsewhere(
    browser: Browser, agent: tuple[Served, SampleSource], path: str
) -> None:
    running, told = agent
    page = browser.new_page()
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("dialog", lambda dialog: said.append(dialog.message))
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto(running.address + path)
    wait_for(page, LIVE)
    with page.expect_response(lambda answer: "part=main" in answer.url, timeout=PATIENCE_MS):
        told.site = hostile()
    wait_for(page, "#sheet:has-text('alert(1)')")
    assert page.evaluate("document.scripts.length") == 1
    assert said == []
    assert [url for url in asked if not url.startswith((running.address, "data:"))] == []
    page.close()


@pytest.mark.parametrize("width", [390, 1280, 1920])
@pytest.mark.parametrize("query", ["", "?wall"])
def test_nothing_is_cut_off_at_the_side(
    browser: Browser, agent: tuple[Served, SampleSource], width: int, query: str
) -> None:
    running, told = agent
    page = browser.new_page(viewport={"width": width, "height": 900})
    for sample in (all_fine, ac_lost, silent_unit, nothing_known, hostile, many_units):
        told.site = sample()
        for path in ("/", "/unit/exit-lanes", "/unit/core"):
            page.goto(running.address + path + query)
            assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.close()


def test_the_look_of_the_address_goes_along_and_wins_over_the_systems(
    browser: Browser, agent: tuple[Served, SampleSource]
) -> None:
    running, _ = agent
    page = browser.new_page(viewport={"width": 1920, "height": 1080}, color_scheme="light")
    paper = "getComputedStyle(document.body).backgroundColor"
    page.goto(running.address)
    light = page.evaluate(paper)
    page.click("a:text-is('dark')")
    dark = page.evaluate(paper)
    assert dark != light
    page.click("text=wall")
    size = "parseFloat(getComputedStyle(document.documentElement).fontSize)"
    assert (page.evaluate(paper), page.evaluate(size) > 20) == (dark, True)
    page.click("a[href='/unit/berth-1?theme=dark&wall']")
    assert page.inner_text("h1").startswith("berth-1")
    assert page.evaluate(paper) == dark
    page.emulate_media(color_scheme="dark")
    page.goto(running.address + "?theme=light")
    assert page.evaluate(paper) == light
    page.close()


@pytest.mark.parametrize(("width", "height"), [(1280, 720), (1920, 1080), (3840, 2160)])
def test_a_wall_is_the_same_share_of_every_screen(
    browser: Browser, agent: tuple[Served, SampleSource], width: int, height: int
) -> None:
    running, told = agent
    told.site = ac_lost()
    page = browser.new_page(viewport={"width": width, "height": height})
    page.goto(running.address + "/?wall")
    share = "parseFloat(getComputedStyle(document.documentElement).fontSize) / innerWidth"
    assert page.evaluate(share) == pytest.approx(21 / 1920, rel=0.01)
    assert page.evaluate("document.documentElement.scrollHeight") <= height  # all of it, nothing to scroll
    across = "['alarms', 'units'].map(name => document.getElementById(name).getBoundingClientRect().top)"
    assert len(set(page.evaluate(across))) == 1  # side by side
    verdicts = page.locator(".losses tbody tr").first.locator(".verdict")
    assert [one.is_visible() for one in verdicts.all()] == [True] * 3  # under each load, by name what goes dark now
    assert "go dark" in page.locator(".losses tbody tr").first.inner_text()
    page.close()


def test_nothing_moves(browser: Browser, agent: tuple[Served, SampleSource]) -> None:
    """Whoever asks for reduced motion gets none, as nobody gets any."""
    running, told = agent
    page = browser.new_page(reduced_motion="reduce")
    page.goto(running.address)
    wait_for(page, LIVE)
    told.site = ac_lost()
    wait_for(page, ".emulated")
    assert page.evaluate("document.getAnimations().length") == 0
    page.close()


def test_the_order_of_the_keyboard_is_that_of_the_sheet(browser: Browser, agent: tuple[Served, SampleSource]) -> None:
    running, told = agent
    told.site = ac_lost()
    with opened(browser, running.address, fake_time=True) as page:
        walked = []
        for _ in range(page.locator("a, summary").count()):
            page.keyboard.press("Tab")
            walked.append(page.evaluate("document.activeElement.textContent"))
        assert walked == page.evaluate("[...document.querySelectorAll('a, summary')].map(part => part.textContent)")
        assert walked[0] == "berth-1, cabinet at berth 1"
