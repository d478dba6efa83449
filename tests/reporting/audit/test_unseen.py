"""What a period did not show."""

from __future__ import annotations

from pathlib import Path

from tests.history.samples import observation
from tests.reporting.audit.small_site import DAY, HOUR_S, START_S, STEP_S, small_site

from portdraw.history.port_day import merge_by_port
from portdraw.history.store import History
from portdraw.observation.record import Basis
from portdraw.plan.tree import Tree
from portdraw.reporting.audit.unseen import carried_s, unseen


def seen_between(
    folder: Path,
    from_hour: float,
    to_hour: float,
    camera_w: float,
    feed_w: float,
    basis: Basis = Basis.MEASURED,
    *,
    whole_day: bool = False,
) -> dict[str, str]:
    """Return what was not seen, by its name, when the site was read between two hours."""
    history = History.open(folder, "Atlantic/Faroe")
    for step in range(int((to_hour - from_hour) * HOUR_S / STEP_S)):
        time_s = START_S + from_hour * HOUR_S + step * STEP_S
        core = observation("core", time_s, {"1": feed_w}, basis=basis)
        history.record_cycle([core, observation("pier", time_s, {"1": camera_w, "2": 4.0})], STEP_S)
    site = small_site()
    period_s = 24 * HOUR_S if whole_day else (to_hour - from_hour) * HOUR_S
    found = unseen(site, Tree(site), merge_by_port(history.port_days(DAY, DAY)), period_s)
    history.close()
    return {item.what: item.sentence for item in found}


def test_a_day_shift_sees_no_night(tmp_path: Path) -> None:
    """Read from 9 to 17: neither lamps nor frost nor the feed at work."""
    found = seen_between(tmp_path, 9, 17, 7.0, 1.3)
    assert set(found) == {"Night", "Frost", "PoE feed"}
    assert "between 20:00 and 06:30" in found["Night"]
    assert "None of one device" in found["Frost"]
    assert "pier from core port 1" in found["PoE feed"]


def test_a_feed_that_nobody_watched_all_the_time_is_not_said_never_to_have_carried(tmp_path: Path) -> None:
    """Eight of the day's 24 hours were read."""
    found = seen_between(tmp_path, 9, 17, 7.0, 1.3, whole_day=True)
    assert found["PoE feed"] == (
        "Not seen to carry in what was read, so that it could is planned: "
        "pier from core port 1 (read for 33 % of the period)."
    )
    assert "came near it for 10 min in what was read" in found["Frost"]


def test_an_evening_is_night(tmp_path: Path) -> None:
    """Read from 21 to 23."""
    assert "Night" not in seen_between(tmp_path, 21, 23, 10.4, 1.3)


def test_frost_is_seen_when_the_heater_worked(tmp_path: Path) -> None:
    """Planned 12.5 W in frost, 10.4 W at night: 12.2 W is near it, 10.5 W is not."""
    assert "Frost" not in seen_between(tmp_path / "a", 1, 3, 12.2, 1.3)
    assert "Frost" in seen_between(tmp_path / "b", 1, 3, 10.5, 1.3)


def test_a_granted_figure_proves_no_feed(tmp_path: Path) -> None:
    """25.5 W granted all day is no watt that flowed."""
    found = seen_between(tmp_path, 1, 3, 7.0, 25.5, Basis.GRANTED)
    assert "can't be told" in found["PoE feed"]


def test_how_long_a_feed_carried(tmp_path: Path) -> None:
    """Own use is 6.5 W: 6.4 W is no carrying, 6.5 W is; without readings nobody knows."""
    site = small_site()
    for number, (feed_w, expected) in enumerate([(1.3, 0.0), (6.4, 0.0), (6.5, 3600.0)]):
        history = History.open(tmp_path / str(number), "Atlantic/Faroe")
        for step in range(12):
            history.record_cycle([observation("core", START_S + step * STEP_S, {"1": feed_w})], STEP_S)
        days = merge_by_port(history.port_days(DAY, DAY))
        assert carried_s(site, Tree(site), days, "pier") == expected
        history.close()
    assert carried_s(site, Tree(site), {}, "pier") is None
    assert carried_s(site, Tree(site), {}, "core") is None
