"""One run of the demo for all tests that look at it."""

from __future__ import annotations

import pytest
from tests.cli.demo_run import DemoRun, watch_demo


@pytest.fixture(scope="session")
def demo_run(tmp_path_factory: pytest.TempPathFactory) -> DemoRun:
    """Run the demo once, to its end."""
    return watch_demo(tmp_path_factory.mktemp("demo"))
