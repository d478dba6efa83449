"""Night by the wall clock of the site, and heaters by the cold."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from tests.rehearsal.terminal import terminal

from portdraw.rehearsal.weather import Hours, heater_share, mild


@pytest.mark.parametrize(
    ("moment", "night"),
    [
        (datetime(2026, 1, 12, 19, 59, tzinfo=UTC), False),  # Faroe winter: UTC
        (datetime(2026, 1, 12, 20, 0, tzinfo=UTC), True),
        (datetime(2026, 1, 12, 6, 29, tzinfo=UTC), True),
        (datetime(2026, 1, 12, 6, 30, tzinfo=UTC), False),
        (datetime(2026, 7, 12, 19, 30, tzinfo=UTC), True),  # Faroe summer: UTC + 1, so 20:30 there
        (datetime(2026, 7, 12, 5, 45, tzinfo=UTC), False),
    ],
)
def test_night_follows_the_time_zone(moment: datetime, night: bool) -> None:
    assert Hours(terminal()).is_night(moment.timestamp()) is night


def test_heaters_run_between_two_and_minus_four() -> None:
    assert heater_share(5) == 0
    assert heater_share(-1) == pytest.approx(0.5)
    assert heater_share(-20) == 1


def test_the_usual_weather_brings_no_frost() -> None:
    at = mild(11)
    hours = [at(1_767_000_000 + 3600 * hour) for hour in range(24 * 60)]
    assert min(hours) > 2.0
    assert max(hours) < 14.0
