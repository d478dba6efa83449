"""Every page held against axe-core, the accessibility checks of WCAG 2.2 (https://www.w3.org/TR/WCAG22/)."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser
from tests.reporting.samples import SampleSource, ac_lost, many_units, silent_unit
from tests.reporting.served import Served
from tests.requirements import need_axe

GRAVE = {"serious", "critical"}
RUN = "axe.run(document, {resultTypes: ['violations']})"


@pytest.fixture(scope="module")
def axe() -> str:
    """The checks, as a script."""
    return need_axe()


@pytest.mark.parametrize("width", [390, 1280, 1920])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(
    browser: Browser, agent: tuple[Served, SampleSource], axe: str, width: int, scheme: str
) -> None:
    running, told = agent
    context = browser.new_context(
        viewport={"width": width, "height": 900},
        color_scheme="light" if scheme == "light" else "dark",
        bypass_csp=True,  # the checks come as a script of the test's own
    )
    page = context.new_page()
    for sample, path in (
        (ac_lost, "/"),
        (ac_lost, "/unit/berth-1"),
        (silent_unit, "/"),
        (silent_unit, "/unit/exit-lanes"),
        (many_units, "/"),
        (ac_lost, "/?wall"),
    ):
        told.site = sample()
        page.goto(running.address + path)
        page.evaluate(axe)
        found = page.evaluate(RUN)
        grave = [
            (issue["id"], [node["target"] for node in issue["nodes"]][:3])
            for issue in found["violations"]
            if issue["impact"] in GRAVE
        ]
        assert grave == [], (sample.__name__, path)
        assert found["testEngine"]["name"] == "axe-core"
    context.close()


def test_axe_would_find_something(browser: Browser, agent: tuple[Served, SampleSource], axe: str) -> None:
    """The checks do check: words of hardly any contrast, and a picture without a name, are found."""
    running, _ = agent
    context = browser.new_context(bypass_csp=True)
    page = context.new_page()
    page.route("**/events", lambda route: route.abort())  # so that no fresh sheet mends what is spoiled here
    page.route("**/*part=main*", lambda route: route.abort())
    page.goto(running.address)
    page.evaluate("document.querySelector('h1').setAttribute('style', 'color: #d8d5cc')")
    page.evaluate("document.querySelector('svg.piece').removeAttribute('aria-label')")
    page.evaluate(axe)
    assert {"color-contrast", "svg-img-alt"} <= {issue["id"] for issue in page.evaluate(RUN)["violations"]}
    context.close()
