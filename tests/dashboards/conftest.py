"""One rehearsal for all tests that ask a real Prometheus."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from tests.dashboards.rehearsed import Rehearsed, rehearsed


@pytest.fixture(scope="session")
def story(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rehearsed]:
    """Return the Prometheus that holds the story."""
    with rehearsed(tmp_path_factory.mktemp("rehearsed")) as held:
        yield held
