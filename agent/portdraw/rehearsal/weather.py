"""Hour and temperature of the emulated site: they decide how much its devices draw.

The curve is invented: a mild late autumn, between 3 and 13 °C, so that no frost comes unless a test asks for one.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import UTC, datetime, time, tzinfo
from zoneinfo import ZoneInfo

from portdraw.plan.site import Site
from portdraw.rehearsal.noise import spread

MEAN_C = 8.0
DAY_SWING_C = 3.0
WANDER_C = 1.5
DAY_S = 86_400
HEATERS_BEGIN_C = 2.0  # heaters begin to run below this, and run fully at HEATERS_FULL_C and below
HEATERS_FULL_C = -4.0

Temperature = Callable[[float], float]


def mild(seed: int) -> Temperature:
    """Return the usual temperature [°C] over time [s]: warmest at 15 h UTC, with a slow wander of a few days."""

    def at(time_s: float) -> float:
        turn = math.cos((time_s % DAY_S - 15 * 3600) / DAY_S * 2 * math.pi)
        day, share = divmod(time_s / DAY_S, 1.0)
        before, after = spread(seed, "weather", int(day)), spread(seed, "weather", int(day) + 1)
        return MEAN_C + DAY_SWING_C * turn + WANDER_C * (before + (after - before) * share)

    return at


def heater_share(temperature_c: float) -> float:
    """Return which share of their frost watts heaters draw, 0 to 1."""
    share = (HEATERS_BEGIN_C - temperature_c) / (HEATERS_BEGIN_C - HEATERS_FULL_C)
    return min(1.0, max(0.0, share))


class Hours:
    """Says whether it is night at the site, by the site's own wall clock."""

    def __init__(self, site: Site):
        self._zone: tzinfo = UTC if site.site.timezone == "UTC" else ZoneInfo(site.site.timezone)
        night = site.site.night
        self._span = None if night is None else (_minutes(night.start), _minutes(night.end))

    def is_night(self, time_s: float) -> bool:
        """Say whether `time_s` [s since the epoch] is within the site's night."""
        if self._span is None:
            return False
        local = datetime.fromtimestamp(time_s, self._zone)
        now = local.hour * 60 + local.minute
        begin, end = self._span
        return begin <= now < end if begin <= end else now >= begin or now < end


def _minutes(of_day: str) -> int:
    clock = time.fromisoformat(of_day)
    return clock.hour * 60 + clock.minute
