"""The history file: days, pruning, events, errors told in one sentence, and what survives a kill."""

from __future__ import annotations

import os
import resource
import shutil
import sqlite3
import tempfile
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from tests.history.samples import observation, silent

from portdraw.history.port_day import PortDay
from portdraw.history.site_day import day_start_s
from portdraw.history.store import FILE_NAME, History, HistoryError
from portdraw.observation.record import Basis, PortState
from portdraw.observation.unit_observation import Outcome, UnitObservation

FAROE = "Atlantic/Faroe"
ZONE = ZoneInfo(FAROE)
SPRING = date(2026, 3, 29)  # 23 hours long in the Faroes
DAY_S = 86_400.0


def by_key(days: list[PortDay]) -> dict[tuple[date, str, str | None], PortDay]:
    """Return port-days by day, unit and port."""
    found = {(day.day, day.unit, day.port): day for day in days}
    assert len(found) == len(days)
    return found


def fill(history: History, first_s: float, last_s: float, step_s: float, watts: float = 5.0) -> int:
    """Record a reading of core port 1 every `step_s` seconds; return how many."""
    count = 0
    time_s = first_s
    while time_s < last_s:
        history.record_cycle([observation("core", time_s, {"1": watts})], step_s)
        time_s += step_s
        count += 1
    return count


def test_a_cycle_comes_back(tmp_path: Path) -> None:
    """Written, closed, opened, read."""
    history = History.open(tmp_path / "deep" / "history", FAROE)
    history.record_cycle([observation("core", 1000.0, {"1": 5.04, "2": None}, total_w=6), silent("pier", 1002.0)], 30)
    history.close()
    history.close()
    again = History.open(tmp_path / "deep" / "history", FAROE)
    last = again.last_hot("core")
    assert last is not None
    assert (last.draw_w("1"), last.draw_w("2"), last.basis("1"), last.total_dw) == (5.0, None, Basis.MEASURED, 60)
    pier = again.last_hot("pier")
    assert pier is not None
    assert pier.outcome is Outcome.SILENT
    assert again.last_hot("nowhere") is None
    assert [(reading.unit, reading.time_ms) for reading in again.hot(0, 2000)] == [
        ("core", 1_000_000),
        ("pier", 1_002_000),
    ]
    assert again.hot(0, 1000.0) == []
    again.close()


def test_a_unit_that_is_not_readable_leaves_no_row(tmp_path: Path) -> None:
    """Not readable by design is not silence."""
    history = History.open(tmp_path, "UTC")
    history.record_cycle([UnitObservation("injector", 0, 0, Outcome.NOT_READABLE, "by design", ())], 30)
    assert history.info().hot_rows == 0
    history.close()


@pytest.mark.parametrize("interval_s", [0, -1, float("nan"), 86_401])
def test_a_reading_stands_for_some_time(tmp_path: Path, interval_s: float) -> None:
    """An interval that makes no sense is a mistake of the caller."""
    history = History.open(tmp_path, "UTC")
    with pytest.raises(ValueError, match="stands for"):
        history.record_cycle([observation("core", 1000.0, {"1": 5.0})], interval_s)
    history.close()


def test_days_over_summer_time_with_uneven_spacing(tmp_path: Path) -> None:
    """Saturday polled each 300 s, the short Sunday each 60 s until noon and each 600 s after it, Monday still open.

    By hand: Sunday has 23 h = 82,800 s, of which 11 h are before noon (01:00 to 02:00 is skipped).
    """
    history = History.open(tmp_path, FAROE)
    saturday, sunday, monday = date(2026, 3, 28), SPRING, date(2026, 3, 30)
    noon_s = day_start_s(sunday, ZONE) + 11 * 3600
    fill(history, day_start_s(saturday, ZONE), day_start_s(sunday, ZONE), 300, watts=4.0)
    fill(history, day_start_s(sunday, ZONE), noon_s, 60, watts=6.0)
    fill(history, noon_s, day_start_s(monday, ZONE), 600, watts=8.0)
    fill(history, day_start_s(monday, ZONE), day_start_s(monday, ZONE) + 3600, 300, watts=5.0)
    before = by_key(history.port_days(saturday, monday))
    assert history.close_days(day_start_s(monday, ZONE) + 3600) == [saturday, sunday]
    after = by_key(history.port_days(saturday, monday))
    assert after == before  # closed days say what the open ones said
    assert after[saturday, "core", "1"].ms_at == {40: 86_400_000}
    assert after[sunday, "core", "1"].ms_at == {60: 11 * 3_600_000, 80: 12 * 3_600_000}
    assert after[sunday, "core", "1"].percentile(47) == 6.0  # 11 of 23 hours are 47.8 %
    assert after[sunday, "core", "1"].percentile(48) == 8.0
    assert after[sunday, "core", "1"].max_in_hour_w(1) is None  # the hour that the clocks skipped
    assert after[sunday, "core", "1"].max_in_hour_w(12) == 8.0
    assert after[monday, "core", "1"].seconds_known == 3600
    assert history.close_days(day_start_s(monday, ZONE) + 3600) == []
    assert history.port_days(saturday, monday, unit="nowhere") == []
    history.close()


def test_hot_readings_are_pruned_and_only_of_closed_days(tmp_path: Path) -> None:
    """30 days, 5 kept hot: older rows go, their days stay exact; nothing goes while a day is open."""
    history = History.open(tmp_path, "UTC", hot_days=5)
    first_s = day_start_s(date(2026, 3, 1), ZoneInfo("UTC"))
    count = fill(history, first_s, first_s + 30 * DAY_S, 3600)
    assert history.info().hot_rows == count
    whole = by_key(history.port_days(date(2026, 3, 1), date(2026, 3, 30)))
    assert len(history.close_days(first_s + 30 * DAY_S)) == 30
    info = history.info()
    assert info.hot_rows == 5 * 24
    assert info.closed_days == 30
    assert (info.first_day, info.last_day) == (date(2026, 3, 1), date(2026, 3, 30))
    assert info.first_reading_s == first_s
    assert by_key(history.port_days(date(2026, 3, 1), date(2026, 3, 30))) == whole
    history.close()


def test_a_clock_that_jumped_ahead_does_not_lose_what_follows(tmp_path: Path) -> None:
    """One reading a year ahead closes its own day; the true days after it are still compiled and closed."""
    history = History.open(tmp_path, "UTC", hot_days=5)
    start_s = day_start_s(date(2026, 3, 1), ZoneInfo("UTC"))
    fill(history, start_s, start_s + DAY_S, 3600)
    history.record_cycle([observation("core", start_s + 365 * DAY_S, {"1": 5.0})], 30)
    history.close_days(start_s + 367 * DAY_S)
    fill(history, start_s + DAY_S, start_s + 2 * DAY_S, 3600)
    assert history.close_days(start_s + 2 * DAY_S) == [date(2026, 3, 2)]
    days = by_key(history.port_days(date(2026, 3, 1), date(2026, 3, 2)))
    assert {key[0] for key in days} == {date(2026, 3, 1), date(2026, 3, 2)}
    history.close()


def test_another_time_zone_counts_nothing_twice(tmp_path: Path) -> None:
    """Three days closed by UTC, then the site moves to Auckland: the sum of all days stays what was read."""
    history = History.open(tmp_path, "UTC")
    start_s = day_start_s(date(2026, 6, 1), ZoneInfo("UTC"))
    fill(history, start_s, start_s + 3 * DAY_S, 3600)
    history.close_days(start_s + 3 * DAY_S)
    history.close()
    moved = History.open(tmp_path, "Pacific/Auckland")
    fill(moved, start_s + 3 * DAY_S, start_s + 5 * DAY_S, 3600)
    moved.close_days(start_s + 5 * DAY_S)
    days = [day for day in moved.port_days(date(2026, 5, 30), date(2026, 6, 10)) if day.port == "1"]
    assert sum(day.seconds_known for day in days) == 5 * DAY_S
    moved.close()


def test_states_and_bases_of_a_day(tmp_path: Path) -> None:
    """By hand: 60 s delivering, 30 s searching."""
    history = History.open(tmp_path, "UTC")
    history.record_cycle([observation("core", 1000.0, {"1": 5.0})], 60)
    history.record_cycle([observation("core", 1060.0, {"1": 0.0}, states={"1": PortState.SEARCHING})], 30)
    day = by_key(history.port_days(date(1970, 1, 1), date(1970, 1, 1)))[date(1970, 1, 1), "core", "1"]
    assert day.seconds_delivering == 60
    assert day.seconds_in_state(PortState.SEARCHING) == 30
    assert day.ms_at == {50: 60_000, 0: 30_000}
    history.close()


def test_events_and_state(tmp_path: Path) -> None:
    """In order of time, from included, to not; state is replaced and survives."""
    history = History.open(tmp_path, "UTC")
    history.add_event(200.0, "alarm-raised", "core", "3", "second", {"kind": "drift", "value": 1.5})
    history.add_event(100.0, "alarm-raised", "core", None, "first")
    history.add_event(300.0, "alarm-returned", None, None, "third")
    assert [event.text for event in history.events(100.0, 300.0)] == ["first", "second"]
    assert [event.text for event in history.events(0, 1000, "alarm-returned")] == ["third"]
    assert history.events(200.0, 201.0)[0].data == {"kind": "drift", "value": 1.5}
    assert history.get_state("alarms") is None
    history.put_state("alarms", {"a": [1, None]})
    history.put_state("alarms", {"b": "é"})
    history.close()
    again = History.open(tmp_path, "UTC")
    assert again.get_state("alarms") == {"b": "é"}
    assert len(again.events(0, 1000)) == 3
    again.close()


FOREIGN = {
    "text": b"format: 1\nsite: {name: somebody's notes}\n" * 20,
    "short": b"SQLite format 3\x00 but not really",
    "binary": bytes(range(256)) * 64,
}


@pytest.mark.parametrize("name", sorted(FOREIGN))
def test_a_file_that_is_no_database_is_refused_and_left_alone(tmp_path: Path, name: str) -> None:
    """Byte for byte the same afterwards, with nothing beside it."""
    path = tmp_path / FILE_NAME
    path.write_bytes(FOREIGN[name])
    with pytest.raises(HistoryError, match="no database") as caught:
        History.open(tmp_path, "UTC")
    assert "\n" not in str(caught.value)
    assert path.read_bytes() == FOREIGN[name]
    assert [file.name for file in tmp_path.iterdir()] == [FILE_NAME]


@pytest.mark.parametrize("journal", ["DELETE", "WAL"])
def test_the_database_of_another_program_is_refused_and_left_alone(tmp_path: Path, journal: str) -> None:
    """Also one with a log that was not written back: opening it as a database would change it."""
    path = tmp_path / FILE_NAME
    other = sqlite3.connect(path)
    other.execute(f"PRAGMA journal_mode = {journal}")
    other.execute("CREATE TABLE accounts (name TEXT)")
    other.commit()
    contents = {file.name: file.read_bytes() for file in tmp_path.iterdir()}
    assert (f"{FILE_NAME}-wal" in contents) == (journal == "WAL")
    with pytest.raises(HistoryError, match="another program"):
        History.open(tmp_path, "UTC")
    with pytest.raises(HistoryError, match="another program"):
        History.open(tmp_path, "UTC", read_only=True)
    assert {file.name: file.read_bytes() for file in tmp_path.iterdir() if not file.name.endswith("-shm")} == {
        name: content for name, content in contents.items() if not name.endswith("-shm")
    }
    other.close()


def test_a_newer_format_is_refused(tmp_path: Path) -> None:
    """A file of a later version is not guessed at."""
    History.open(tmp_path, "UTC").close()
    newer = sqlite3.connect(tmp_path / FILE_NAME)
    newer.execute("PRAGMA user_version = 99")
    newer.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    newer.close()
    content = (tmp_path / FILE_NAME).read_bytes()
    with pytest.raises(HistoryError, match="format 99, newer than"):
        History.open(tmp_path, "UTC")
    assert (tmp_path / FILE_NAME).read_bytes() == content


def test_emulated_and_real_never_mix(tmp_path: Path) -> None:
    """Each refuses the other's history, both ways, before it is opened as a database."""
    History.open(tmp_path / "demo", "UTC", emulated=True).close()
    History.open(tmp_path / "real", "UTC").close()
    with pytest.raises(HistoryError, match="marked EMULATED"):
        History.open(tmp_path / "demo", "UTC")
    with pytest.raises(HistoryError, match="of a real site"):
        History.open(tmp_path / "real", "UTC", emulated=True)
    History.open(tmp_path / "demo", "UTC", emulated=True).close()


def test_a_log_without_its_database_is_not_thrown_away(tmp_path: Path) -> None:
    """A new database beside an old log would drop what is in the log."""
    log = tmp_path / f"{FILE_NAME}-wal"
    log.write_bytes(b"readings that were not written back yet")
    with pytest.raises(HistoryError, match="is missing but"):
        History.open(tmp_path, "UTC")
    assert log.read_bytes() == b"readings that were not written back yet"


def test_folders_that_cannot_be_used(tmp_path: Path) -> None:
    """A file in the way, a folder where the file should be, a place that takes no files: one sentence each."""
    (tmp_path / "file").write_text("x")
    (tmp_path / "taken" / FILE_NAME).mkdir(parents=True)
    for folder in (tmp_path / "file", tmp_path / "file" / "below", tmp_path / "taken", Path("/proc/portdraw")):
        with pytest.raises(HistoryError) as caught:
            History.open(folder, "UTC")
        assert "\n" not in str(caught.value)
        assert str(folder) in str(caught.value)
    assert (tmp_path / "file").read_text() == "x"


def test_an_unknown_time_zone_is_named(tmp_path: Path) -> None:
    """Nothing is created for it."""
    for name in ("Nowhere/Atlantis", "../etc/passwd", ""):
        with pytest.raises(HistoryError, match="time zone"):
            History.open(tmp_path / "history", name)
    assert not (tmp_path / "history").exists()


def test_read_only_changes_nothing_and_creates_nothing(tmp_path: Path) -> None:
    """An audit beside a running agent."""
    with pytest.raises(HistoryError, match="no history in"):
        History.open(tmp_path / "none", "UTC", read_only=True)
    assert not (tmp_path / "none").exists()
    agent = History.open(tmp_path, "UTC")
    agent.record_cycle([observation("core", 1000.0, {"1": 5.0})], 30)
    reader = History.open(tmp_path, "UTC", read_only=True)
    assert reader.last_hot("core") is not None
    agent.record_cycle([observation("core", 1030.0, {"1": 6.0})], 30)
    newest = reader.last_hot("core")
    assert newest is not None
    assert newest.draw_w("1") == 6.0
    with pytest.raises(HistoryError, match="read-only"):
        reader.put_state("alarms", {})
    reader.close()
    agent.close()


def test_a_full_disk_is_told_and_the_agent_goes_on(tmp_path: Path) -> None:
    """A limit on file size stands in for the full disk; once there is room again, the next cycle is written."""
    history = History.open(tmp_path, "UTC")
    history.record_cycle([observation("core", 1000.0, {"1": 5.0})], 30)
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    many = {str(port): 5.0 for port in range(1, 1000)}

    def write_on() -> None:
        for number in range(200):
            history.record_cycle([observation("core", 2000.0 + number, many)], 30)

    try:
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, limits[1]))
        with pytest.raises(HistoryError) as caught:
            write_on()
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert "full" in str(caught.value) or "quota" in str(caught.value)
    assert "\n" not in str(caught.value)
    history.record_cycle([observation("core", 9000.0, many)], 30)
    newest = history.last_hot("core")
    assert newest is not None
    assert (newest.time_ms, newest.draw_w("999")) == (9_000_000, 5.0)
    assert history.rows("PRAGMA integrity_check")[0][0] == "ok"
    history.close()


def test_a_locked_file_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another program holds the write lock; reading goes on."""
    monkeypatch.setattr("portdraw.history.store._BUSY_S", 0.05)
    history = History.open(tmp_path, "UTC")
    history.record_cycle([observation("core", 1000.0, {"1": 5.0})], 30)
    other = sqlite3.connect(tmp_path / FILE_NAME, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(HistoryError, match="locked"):
        history.record_cycle([observation("core", 1030.0, {"1": 5.0})], 30)
    assert history.last_hot("core") is not None
    other.execute("ROLLBACK")
    other.close()
    history.record_cycle([observation("core", 1060.0, {"1": 5.0})], 30)
    history.close()


def test_a_damaged_file_is_told(tmp_path: Path) -> None:
    """Our own file with garbage behind its first page, and one with a port list that is gone."""
    history = History.open(tmp_path, "UTC")
    history.record_cycle([observation("core", 1000.0, {"1": 5.0})], 30)
    history.close()
    path = tmp_path / FILE_NAME
    sound = path.read_bytes()
    path.write_bytes(sound[:4096] + b"\xff" * (len(sound) - 4096))

    def read() -> None:
        History.open(tmp_path, "UTC").last_hot("core")  # whichever of the two meets it first

    with pytest.raises(HistoryError, match="damaged"):
        read()
    path.write_bytes(sound)
    other = sqlite3.connect(path)
    other.execute("DELETE FROM port_list")
    other.commit()
    other.close()
    again = History.open(tmp_path, "UTC")
    with pytest.raises(HistoryError, match="port list 1 is missing"):
        again.last_hot("core")
    again.close()


def test_a_closed_history_says_so(tmp_path: Path) -> None:
    """Calls after close end as the one error that callers expect."""
    history = History.open(tmp_path, "UTC")
    history.close()
    with pytest.raises(HistoryError, match="closed"):
        history.record_cycle([observation("core", 1000.0, {"1": 5.0})], 30)


def test_a_full_database_is_told(tmp_path: Path) -> None:
    """A bound on its pages stands in for the disk (https://www.sqlite.org/pragma.html#pragma_max_page_count)."""
    history = History.open(tmp_path, "UTC")
    pages = history.rows("PRAGMA page_count")[0][0]
    history.rows(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(HistoryError, match="the disk is full"):
        history.put_state("large", "x" * 100_000)
    history.rows(f"PRAGMA max_page_count = {pages + 100}")
    history.put_state("large", "x" * 100_000)
    assert len(history.get_state("large")) == 100_000
    history.close()


def test_a_file_that_is_replaced_is_told_once_and_then_written(tmp_path: Path) -> None:
    """A copy put in its place has another inode: what is written must go there."""
    history = History.open(tmp_path, "UTC")
    history.record_cycle([observation("core", 1000.0, {"1": 5.0})], 30)
    other = History.open(tmp_path / "other", "UTC")
    other.record_cycle([observation("core", 500.0, {"1": 7.0})], 30)
    other.close()
    for file in tmp_path.glob(f"{FILE_NAME}*"):
        file.unlink()
    (tmp_path / "other" / FILE_NAME).rename(tmp_path / FILE_NAME)
    with pytest.raises(HistoryError, match="deleted, moved or replaced"):
        history.record_cycle([observation("core", 1030.0, {"1": 5.0})], 30)
    history.record_cycle([observation("core", 1030.0, {"1": 5.0})], 30)
    assert [reading.time_ms for reading in history.hot(0, 2000)] == [500_000, 1_030_000]
    history.close()


def test_a_folder_that_is_gone_is_told_until_it_is_back(tmp_path: Path) -> None:
    """It is not made by us: a disk may have to be mounted there. A foreign file in it is refused as at the start."""
    folder = tmp_path / "history"
    history = History.open(folder, "UTC")
    shutil.rmtree(folder)
    with pytest.raises(HistoryError, match="deleted, moved or replaced"):
        history.put_state("a", 1)
    for _ in range(2):
        with pytest.raises(HistoryError, match="is gone; put it back"):
            history.put_state("a", 1)
    assert not folder.exists()
    folder.mkdir()
    (folder / FILE_NAME).write_bytes(FOREIGN["text"])
    with pytest.raises(HistoryError, match="no database"):
        history.put_state("a", 1)
    assert (folder / FILE_NAME).read_bytes() == FOREIGN["text"]
    (folder / FILE_NAME).unlink()
    history.put_state("a", 1)
    assert history.get_state("a") == 1
    history.close()
    with pytest.raises(HistoryError, match="closed"):
        history.put_state("a", 2)


@pytest.mark.parametrize("begun", [False, True], ids=["empty", "with a history"])
def test_a_folder_that_may_not_be_written_is_told(begun: bool) -> None:
    """Root may write anywhere, so root becomes another user for the test; user 65534 is nobody on Linux."""
    folder = Path(tempfile.mkdtemp(prefix="portdraw-read-only-"))
    try:
        if begun:
            History.open(folder, "UTC").close()
            (folder / FILE_NAME).chmod(0o444)
        folder.chmod(0o555)
        is_root = os.geteuid() == 0
        if is_root:
            os.seteuid(65534)
        try:
            with pytest.raises(HistoryError) as caught:
                History.open(folder, "UTC").put_state("a", 1)
        finally:
            if is_root:
                os.seteuid(0)
        assert "\n" not in str(caught.value)
        assert str(folder) in str(caught.value)
        assert "read-only" in str(caught.value) or "can't be opened" in str(caught.value)
    finally:
        folder.chmod(0o755)
        shutil.rmtree(folder)


def test_days_come_one_after_the_other_and_none_stays_in_memory(tmp_path: Path) -> None:
    """Three closed days and an open one; a day closed by the agent between two of ours is counted once."""
    history = History.open(tmp_path, "UTC")
    start_s = day_start_s(date(2026, 6, 1), ZoneInfo("UTC"))
    fill(history, start_s, start_s + 4 * DAY_S, 3600)
    history.close_days(start_s + 3 * DAY_S)
    reader = History.open(tmp_path, "UTC", read_only=True)
    seen: list[tuple[date, str | None]] = []
    known_s = 0.0
    for day in reader.each_port_day(date(2026, 5, 30), date(2026, 6, 10)):
        seen.append((day.day, day.port))
        known_s += day.seconds_known if day.port is not None else 0.0
        history.close_days(start_s + 4 * DAY_S)
    assert [day for day, _ in seen] == sorted(day for day, _ in seen)
    assert len(seen) == len(set(seen)) == 8
    assert known_s == 4 * DAY_S
    reader.close()
    history.close()
