"""A real browser, and an application served over a source that a test may change."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright
from tests.reporting.samples import SampleSource, all_fine, source
from tests.reporting.served import Served, served
from tests.requirements import need_program

from portdraw.reporting.http.app import build_app
from portdraw.reporting.metrics import site_registry

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


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
