"""Days before the start, written through the same cycle as live readings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import pytest
from tests.service.slipway import NOON_S, slipway

from portdraw.history.store import History
from portdraw.observation.record import Basis, PortState
from portdraw.service.past import write_past

EVERY_S = 600.0


@dataclass(frozen=True)
class Row:
    """What one unit told at one time."""

    time_s: float
    unit: str
    port_w: Mapping[str, float | None]
    port_state: Mapping[str, str]
    total_w: float
    budget_w: float = 120
    power_source: str | None = None
    watt_source: str | None = "a column"


def rows(steps: int, lost: range = range(0)) -> Iterator[Row]:
    """Yield both units at each step; within `lost` the slip runs on its feed."""
    for step in range(steps):
        time_s = NOON_S + step * EVERY_S
        on_feed = step in lost
        feed_w = 9.9 if on_feed else 1.1
        states = {"1": "delivering", "2": "delivering", "3": "searching"}
        watts: dict[str, float | None] = {"1": feed_w, "2": 6.0, "3": 0.0}
        yield Row(time_s, "winch-house", watts, states, feed_w + 6)
        source = "pse" if on_feed else "both"
        yield Row(time_s, "slip", {"1": None}, {"1": "delivering"}, 6.2, 30, source, None)


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    one = History.open(tmp_path, "Atlantic/Faroe", emulated=True)
    yield one
    one.close()


def test_every_row_is_a_reading_as_a_unit_would_tell_it(history: History) -> None:
    steps: list[float] = []
    write_past(rows(4), slipway(), history, EVERY_S, steps.append)
    assert steps == [NOON_S + step * EVERY_S for step in range(4)]
    winch = history.hot(0, NOON_S * 2, "winch-house")
    assert [one.time_ms / 1000 for one in winch] == steps
    first = winch[0]
    assert (first.draw_w("2"), first.state("2"), first.basis("2")) == (6.0, PortState.DELIVERING, Basis.MEASURED)
    assert (first.draw_w("3"), first.state("3")) == (0.0, PortState.SEARCHING)
    assert (first.total_dw, first.budget_dw, first.interval_ms) == (71, 1200, 600_000)


def test_a_unit_that_tells_totals_only_has_no_port_watts(history: History) -> None:
    write_past(rows(2), slipway(), history, EVERY_S)
    slip = history.hot(0, NOON_S * 2, "slip")[0]
    assert slip.ports == ("1",)
    assert slip.draw_w("1") is None
    assert slip.basis("1") is None
    assert slip.total_dw == 62


def test_a_loss_of_ac_in_the_past_is_an_event_of_the_past_and_told_to_nobody(history: History) -> None:
    write_past(rows(12, lost=range(3, 7)), slipway(), history, EVERY_S)
    raised, returned = history.events(0, NOON_S * 2)
    assert (raised.kind, raised.unit, raised.data["kind"]) == ("alarm-raised", "slip", "local-ac-lost")
    assert raised.time_s in (NOON_S + 3 * EVERY_S, NOON_S + 4 * EVERY_S)
    assert returned.kind == "alarm-returned"
    assert NOON_S + 7 * EVERY_S <= returned.time_s <= NOON_S + 8 * EVERY_S
    assert history.outbox.waiting() == 0


def test_no_rows_write_nothing(history: History) -> None:
    write_past(iter(()), slipway(), history, EVERY_S)
    assert history.info().hot_rows == 0
