"""The cycle over hand-made answers and a real history: alarms once, over restarts and while the history fails."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from tests.service.slipway import EVERY_S, NOON_S, SITE, answers, slipway

from portdraw.history.store import History, HistoryError
from portdraw.judgement.alarm import AlarmKind, AlarmState
from portdraw.judgement.assessment import Availability, Leg
from portdraw.judgement.condition import Condition
from portdraw.observation.record import Quantity, Record
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.loader import parse_site
from portdraw.service import cycle as cycle_module
from portdraw.service.cycle import Cycle

DESKS = ("desk", "pager")


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    one = History.open(tmp_path / "history", "Atlantic/Faroe")
    yield one
    one.close()


def make(history: History | None, receivers: tuple[str, ...] = DESKS) -> Cycle:
    return Cycle(slipway(), EVERY_S, history, receivers, emulated=False)


def play(cycle: Cycle, polls: Sequence[int], **state: Any) -> list[str]:
    """Hand in the answers of these polls and judge after each; return "kind to-state" of each change."""
    changes = []
    for poll in polls:
        time_s = NOON_S + poll * EVERY_S
        for observation in answers(time_s, **state):
            cycle.take(observation)
        changes += cycle.run(time_s + 1)
    return [f"{change.alarm.kind} {change.to_state}" for change in changes]


def messages(history: History, receiver: str = "desk") -> list[tuple[str, str]]:
    """Return state and kind of every message that waits for a receiver."""
    items = history.outbox.due(NOON_S * 2, receiver)
    return [(str(item.payload["state"]), str(item.payload["kind"])) for item in items]


def events(history: History) -> list[tuple[str, str | None]]:
    return [(event.kind, event.data.get("kind")) for event in history.events(0, NOON_S * 2)]


def up(cycle: Cycle) -> set[AlarmKind]:
    assert cycle.current is not None
    return {alarm.kind for alarm in cycle.current.alarms if alarm.state is AlarmState.RAISED}


def test_a_healthy_site_has_nothing_to_tell(history: History) -> None:
    cycle = make(history)
    assert play(cycle, range(6)) == []
    assert (messages(history), events(history)) == ([], [])
    assert cycle.current is not None
    assert cycle.current.cycle == 6
    draws = {unit.unit: unit.draw_w for unit in cycle.current.units}
    assert draws == {"winch-house": pytest.approx(1.1 + 6.1), "slip": 6.2}
    assert len(history.hot(0, NOON_S * 2)) == 12


def test_a_loss_of_ac_and_its_return_are_told_once_to_everybody(history: History) -> None:
    cycle = make(history)
    play(cycle, range(3))
    assert "local-ac-lost raised" in play(cycle, range(3, 9), on_feed=True)
    assert play(cycle, range(9, 16))[-1] == "local-ac-lost returned"
    told = [("raised", "local-ac-lost"), ("returned", "local-ac-lost")]
    assert messages(history) == messages(history, "pager") == told
    assert events(history) == [("alarm-raised", "local-ac-lost"), ("alarm-returned", "local-ac-lost")]


def test_a_loss_too_short_for_an_alarm_is_kept_but_told_to_nobody(history: History) -> None:
    cycle = make(history)
    play(cycle, range(3))
    assert play(cycle, range(3, 4), on_feed=True) == ["local-ac-lost pending"]
    assert play(cycle, range(4, 8)) == ["local-ac-lost normal"]
    assert messages(history) == []
    (event,) = history.events(0, NOON_S * 2)
    assert (event.kind, event.data["began_seen"]) == ("alarm-passed", True)


def test_a_loss_that_was_there_at_the_start_says_that_its_beginning_was_missed(history: History) -> None:
    play(make(history), range(6), on_feed=True)
    (event,) = history.events(0, NOON_S * 2, "alarm-raised")
    assert event.data["began_seen"] is False


def test_a_message_has_place_leg_and_the_same_id_for_both_receivers(history: History) -> None:
    cycle = make(history)
    play(cycle, range(3))
    play(cycle, range(3, 9), on_feed=True)
    desk, pager = (history.outbox.due(NOON_S * 2, name) for name in DESKS)
    assert [item.payload for item in desk] == [item.payload for item in pager]
    payload = desk[0].payload
    assert payload["where"] == {"unit": "slip", "port": None, "place": "slip"}
    assert payload["running_on"]
    assert payload["emulated"] is False
    assert desk[0].key == payload["id"]


def test_a_restart_tells_nothing_twice_and_knows_the_return(history: History) -> None:
    play(make(history), range(3))
    before = make(history)
    play(before, range(3), on_feed=False)
    play(before, range(3, 9), on_feed=True)
    assert AlarmKind.LOCAL_AC_LOST in up(before)

    after = make(history)
    assert play(after, range(9, 15), on_feed=True) == []
    assert up(after) == up(before)
    assert play(after, range(15, 22))[-1] == "local-ac-lost returned"
    assert messages(history) == [("raised", "local-ac-lost"), ("returned", "local-ac-lost")]
    assert len(events(history)) == 2


def legs_of(cycle: Cycle, unit: str) -> dict[str, Leg]:
    assert cycle.current is not None
    found = cycle.current.unit(unit)
    assert found is not None
    return {leg.name: leg for leg in found.legs}


def test_a_restart_keeps_since_when_a_leg_is_lost_and_what_was_proven(history: History) -> None:
    before = make(history)
    play(before, range(3))
    play(before, range(3, 20), on_feed=True)
    lost = legs_of(before, "slip")["local AC"]
    assert lost.since_s == NOON_S + 3 * EVERY_S + 1
    assert legs_of(before, "slip")["PoE feed"].availability is Availability.PROVEN
    after = make(history)
    play(after, [22], on_feed=True)
    legs = legs_of(after, "slip")
    assert legs["local AC"].since_s == lost.since_s
    assert legs["PoE feed"].availability is Availability.PROVEN
    assert legs["PoE feed"].evidence_for[-1].startswith("proven to ")


def test_a_damaged_store_of_legs_is_said_and_the_agent_goes_on(
    history: History, caplog: pytest.LogCaptureFixture
) -> None:
    history.put_state("legs", {"format": 1, "legs": "no"})
    cycle = make(history)
    assert play(cycle, range(3)) == []
    assert "what was known of legs before the restart can't be taken up" in caplog.text


def test_a_restart_that_hears_nobody_yet_ends_no_alarm(history: History) -> None:
    before = make(history)
    play(before, range(3))
    play(before, range(3, 9), on_feed=True)
    after = make(history)
    assert after.run(NOON_S + 10 * EVERY_S) == []
    (winch, _) = answers(NOON_S + 11 * EVERY_S, on_feed=True)
    after.take(winch)  # the feeder alone answers
    assert after.run(NOON_S + 11 * EVERY_S + 1) == []
    assert AlarmKind.LOCAL_AC_LOST in up(after)


def drifting(unit: str = "slip") -> Condition:
    return Condition(AlarmKind.DRIFT, unit, "1", "slip port 1 has risen by 0.4 W a day", "", "", value=20.0)


def test_a_drift_alarm_outlives_a_restart_untold_until_trends_are_known_again(history: History) -> None:
    """Trends are worked out once a day: until then the alarm of before the restart is neither over nor new."""
    before = make(history)
    before.drift = (drifting(),)
    assert play(before, range(2)) == ["drift raised"]
    after = make(history)
    assert after.drift is None
    assert play(after, range(2, 5)) == []
    after.drift = (drifting(),)
    assert play(after, range(5, 8)) == []
    after.drift = ()
    assert play(after, range(8, 10)) == ["drift returned"]
    assert messages(history) == [("raised", "drift"), ("returned", "drift")]


def test_trends_are_worked_out_before_alarms_are_judged(history: History) -> None:
    cycle = make(history)
    for observation in answers(NOON_S):
        cycle.take(observation)
    changes = cycle.run(NOON_S + 1, trends=lambda assessment: (drifting(assessment.units[1].unit),))
    assert [change.alarm.kind for change in changes] == [AlarmKind.DRIFT]
    assert play(cycle, range(1, 3)) == []
    for observation in answers(NOON_S + 99):
        cycle.take(observation)
    assert cycle.run(NOON_S + 99, trends=lambda _: None) == []  # not known today: as it was
    assert AlarmKind.DRIFT in up(cycle)


# --- the history fails


class Broken:
    """A history file that takes nothing while `why` is set; it is the real one otherwise."""

    def __init__(self, history: History, monkeypatch: pytest.MonkeyPatch) -> None:
        self.why = ""
        self.left = 0  # how many more writes go well
        write = history.write

        def maybe() -> Any:
            if self.why:
                if not self.left:
                    raise HistoryError(f"history file x: {self.why}")
                self.left -= 1
            return write()

        monkeypatch.setattr(history, "write", maybe)


def test_a_history_that_fails_stops_no_judging_and_loses_nothing(
    history: History, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    broken = Broken(history, monkeypatch)
    cycle = make(history)
    play(cycle, range(3))
    broken.why = "the disk is full"
    assert "local-ac-lost raised" in play(cycle, range(3, 40), on_feed=True)
    assert cycle.history_error == "history file x: the disk is full"
    assert caplog.text.count("the disk is full") == 1  # said once, not in every cycle
    assert AlarmKind.LOCAL_AC_LOST in up(cycle)
    assert (messages(history), len(history.hot(0, NOON_S * 2))) == ([], 6)

    broken.why = ""
    play(cycle, [40], on_feed=True)
    assert cycle.history_error == ""
    assert len(history.hot(0, NOON_S * 2)) == 2 * 41
    assert messages(history) == [("raised", "local-ac-lost")]
    (event,) = history.events(0, NOON_S * 2)
    assert event.time_s == NOON_S + 5 * EVERY_S + 1  # when it happened, not when it could be written


@pytest.mark.parametrize("writes", range(6))
def test_a_history_that_fails_in_the_middle_writes_nothing_twice(
    history: History, monkeypatch: pytest.MonkeyPatch, writes: int
) -> None:
    """Readings, two messages, the event and the book are five writes: the failure may come before any of them."""
    broken = Broken(history, monkeypatch)
    cycle = make(history)
    play(cycle, range(3))
    play(cycle, range(3, 5), on_feed=True)
    broken.why, broken.left = "the disk is full", writes
    assert play(cycle, [5], on_feed=True) == ["local-ac-lost raised"]
    assert bool(cycle.history_error) == (writes < 5)
    broken.why = ""
    play(cycle, [6], on_feed=True)
    assert messages(history) == messages(history, "pager") == [("raised", "local-ac-lost")]
    assert events(history) == [("alarm-raised", "local-ac-lost")]
    assert len(history.hot(0, NOON_S * 2)) == 2 * 7
    assert play(make(history), range(7, 10), on_feed=True) == []


def test_a_history_that_another_program_holds_is_waited_for(
    history: History, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A real lock by a real second connection; the wait of SQLite itself is made short."""
    history.rows("PRAGMA busy_timeout = 50")
    cycle = make(history)
    other = sqlite3.connect(history.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    play(cycle, range(3))
    assert "another program holds it locked" in cycle.history_error
    other.execute("ROLLBACK")
    other.close()
    play(cycle, [3])
    assert cycle.history_error == ""
    assert len(history.hot(0, NOON_S * 2)) == 8


def test_a_closed_history_is_an_error_in_the_health_only(history: History) -> None:
    cycle = make(history)
    play(cycle, range(2))
    history.close()
    play(cycle, range(2, 5), on_feed=True)
    assert "history file" in cycle.history_error
    assert AlarmKind.LOCAL_AC_LOST in up(cycle)


def test_what_waits_is_bounded_and_what_was_dropped_is_said(
    history: History, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(cycle_module, "MOST_UNWRITTEN", 10)
    broken = Broken(history, monkeypatch)
    cycle = make(history)
    broken.why = "the disk is full"
    play(cycle, range(20))
    broken.why = ""
    play(cycle, [20])
    assert [round((one.time_ms / 1000 - NOON_S) / EVERY_S) for one in history.hot(0, NOON_S * 2)] == [
        poll for poll in (16, 17, 18, 19, 20) for _ in range(2)
    ]
    assert "32 readings were lost while the history could not be written" in caplog.text


def test_alarms_that_can_not_be_taken_up_do_not_stop_the_start(
    history: History, caplog: pytest.LogCaptureFixture
) -> None:
    history.put_state("alarm-book", {"format": 99})
    cycle = make(history)
    assert "the alarms of before the restart can't be taken up" in caplog.text
    assert play(cycle, range(3)) == []


def test_without_a_history_nothing_piles_up() -> None:
    cycle = make(None)
    play(cycle, range(3))
    assert "local-ac-lost raised" in play(cycle, range(3, 9), on_feed=True)
    assert cycle.history_error == ""
    assert not cycle._unwritten
    assert not cycle._untold


def test_an_answer_that_brought_nothing_is_kept_as_a_gap_not_as_zero(history: History) -> None:
    cycle = make(history)
    play(cycle, [0])
    time_s = NOON_S + EVERY_S
    cycle.take(UnitObservation("slip", time_s - 8, time_s, Outcome.SILENT, "no answer within 8 s", ()))
    cycle.run(time_s)
    assert cycle.current is not None
    slip = next(unit for unit in cycle.current.units if unit.unit == "slip")
    assert slip.outcome is Outcome.SILENT
    assert slip.draw_w == 6.2  # fresh still, from the answer before
    newest = history.last_hot("slip")
    assert newest is not None
    assert newest.outcome is Outcome.SILENT


def test_a_ups_is_heard_and_leaves_no_reading_in_the_history(history: History) -> None:
    ups = "ups: {ups-a: {input: slip-1, rating_w: 900, battery_wh: 1200, address: 10.30.0.9, access: slip-v3}}\n"
    cycle = Cycle(parse_site(SITE.replace("units:", f"{ups}units:", 1)), EVERY_S, history, DESKS, emulated=False)
    source = Record(None, Quantity.UPS_OUTPUT_SOURCE, "battery", "", None, "UPS-MIB upsOutputSource", NOON_S)
    for poll in (1, 2):
        cycle.take(UnitObservation("ups-a", NOON_S, NOON_S, Outcome.ANSWERED, "", (source,)))
        assert play(cycle, [poll]) == []
    assert cycle.heard_units == 2
    assert {reading.unit for reading in history.hot(0, NOON_S * 2)} == {"winch-house", "slip"}


def test_an_end_that_nobody_read_is_kept_with_when_it_was_last_seen(history: History) -> None:
    """Both units fall silent while the slip is on its feed, and answer again when its AC is back."""
    cycle = make(history)
    play(cycle, range(3))
    play(cycle, range(3, 9), on_feed=True)
    for poll in range(9, 40):
        time_s = NOON_S + poll * EVERY_S
        for unit in ("winch-house", "slip"):
            cycle.take(UnitObservation(unit, time_s - 5, time_s, Outcome.SILENT, "no answer", ()))
        cycle.run(time_s + 1)
    play(cycle, range(40, 50))
    (back,) = [
        event for event in history.events(0, NOON_S * 2, "alarm-returned") if event.data["kind"] == "local-ac-lost"
    ]
    assert back.data["ended_seen"] is False
    assert back.data["last_seen_s"] == NOON_S + 8 * EVERY_S  # the last poll that showed it
    assert back.text.startswith("Over when next read at 12:20 (last seen so at 12:04): ")
