"""The ferry terminal for the tests of its rehearsal: the site file as shipped, and moments to look at it."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import portdraw.rehearsal.physics
from portdraw.plan.loader import load_site
from portdraw.plan.site import Site
from portdraw.rehearsal.story import Scene, Story, Trip

SITE_FILE = Path(portdraw.rehearsal.physics.__file__).with_name("site.yaml")
# Atlantic/Faroe keeps UTC in winter.
NOON_S = datetime(2026, 1, 12, 12, 0, tzinfo=UTC).timestamp()
NIGHT_S = datetime(2026, 1, 12, 23, 0, tzinfo=UTC).timestamp()
UNBACKED = ("pier-7", "quay-3", "gate-5", "hall-2")


@cache
def terminal() -> Site:
    """Return the ferry terminal."""
    return load_site(SITE_FILE)


def frost(_time_s: float) -> float:
    """A night of hard frost [°C]."""
    return -10.0


def losing(*circuits: str, after_s: float = 60.0) -> Story:
    """Return a story in which these circuits trip together."""
    return Story(tuple(Scene(after_s, Trip(circuit), "a breaker opens") for circuit in circuits))
