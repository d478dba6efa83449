"""The history file: what each poll brought, what each day was, what happened. The one user of SQLite.

Every function raises HistoryError with one sentence when the file can't be read or written; the file is then
as it was before the call, and the caller may go on and try again at the next cycle.
"""

from __future__ import annotations

import json
import sqlite3
import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from portdraw.history import hot_reading, port_day_codec
from portdraw.history.database import Transaction
from portdraw.history.day_compiler import compile_day
from portdraw.history.event import Event
from portdraw.history.file_check import APPLICATION_ID, EMULATED_ID, FORMAT, refusal
from portdraw.history.file_reason import reason_of
from portdraw.history.history_info import HistoryInfo, count
from portdraw.history.hot_reading import HotReading
from portdraw.history.outbox import Outbox
from portdraw.history.port_day import PortDay, merge
from portdraw.history.schema import TABLES
from portdraw.history.site_day import day_end_s, day_of, day_start_s, days, gaps
from portdraw.observation.unit_observation import Outcome, UnitObservation

FILE_NAME = "history.sqlite"
_BUSY_S = 5.0  # how long a write waits for another program, an audit say, to let go of the file
_KEEP_DELIVERED_DAYS = 30  # how long a delivered message is remembered, so that it is not sent twice


class HistoryError(Exception):
    """History can't be opened, read or written; the text is one sentence for the operator."""


class History:
    """One site's history in one file. May be used from several threads; calls wait for each other."""

    def __init__(
        self,
        path: Path,
        connection: sqlite3.Connection,
        zone: ZoneInfo,
        hot_days: int,
        emulated: bool,
        read_only: bool = False,
    ) -> None:
        self.path = path
        self.zone = zone
        self.hot_days = hot_days
        self.emulated = emulated
        self.outbox = Outbox(self)
        self._connection = connection
        self._place = _place_of(path)
        self._must_check = not read_only
        self._lock = threading.RLock()
        self._port_lists: dict[tuple[str, ...], int] = {}
        self._ports_of: dict[int, tuple[str, ...]] = {}

    @classmethod
    def open(
        cls,
        folder: Path,
        timezone: str,
        hot_days: int = 21,
        emulated: bool = False,
        *,
        read_only: bool = False,
    ) -> History:
        """Open the history in `folder`, or begin one. `timezone` (IANA name) decides where a day ends.

        With read_only nothing is created or changed, and a folder without a history is an error. Raises
        HistoryError where the folder or file can't be used; a file that is not ours is left as it is.
        """
        try:
            zone = ZoneInfo(timezone)
        except (ValueError, OSError, KeyError):
            raise HistoryError(f"history: no time zone is called {timezone!r}") from None
        path = folder / FILE_NAME
        try:
            if not read_only:
                folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise HistoryError(f"history folder {folder} can't be used: {error.strerror or error}") from None
        return cls(path, _connect(path, emulated, read_only), zone, hot_days, emulated, read_only)

    def close(self) -> None:
        """Close the file; a second call does nothing."""
        with self._lock, _told(self.path):
            self._must_check = False
            self._connection.close()

    # --- readings and days

    def record_cycle(self, observations: Sequence[UnitObservation], interval_s: float) -> None:
        """Write what a poll cycle brought, all or nothing; each reading stands for `interval_s` seconds.

        Units that are not readable by design leave no row. A reading with the unit and time of an earlier one
        takes its place. One that falls in a day closed before stays among the hot readings; it does not
        change that day.
        """
        if not 0 < interval_s <= 86_400:
            raise ValueError("a reading stands for more than nothing and at most a day")
        readings = [
            hot_reading.from_observation(observation, interval_s)
            for observation in observations
            if observation.outcome is not Outcome.NOT_READABLE
        ]
        with self.write() as transaction:
            rows = [
                (reading.time_ms, reading.unit, hot_reading.pack(reading, self._port_list(reading.ports)))
                for reading in readings
            ]
            transaction.executemany("INSERT OR REPLACE INTO hot VALUES (?, ?, ?)", rows)

    def last_hot(self, unit: str) -> HotReading | None:
        """Return the newest reading of a unit in the last two days of readings, None where none is."""
        rows = self.rows(
            "SELECT time_ms, unit, body FROM hot WHERE unit = ? AND time_ms > "
            "(SELECT max(time_ms) FROM hot) - 172800000 ORDER BY time_ms DESC LIMIT 1",
            unit,
        )
        return next(self._readings(rows), None)

    def hot(self, from_s: float, to_s: float, unit: str | None = None) -> list[HotReading]:
        """Return the readings from `from_s` up to, not with, `to_s`, oldest first."""
        rows = self.rows(
            "SELECT time_ms, unit, body FROM hot WHERE time_ms >= ? AND time_ms < ? "
            "AND (? IS NULL OR unit = ?) ORDER BY time_ms",
            round(from_s * 1000),
            round(to_s * 1000),
            unit,
            unit,
        )
        return list(self._readings(rows))

    def each_port_day(self, first_day: date, last_day: date, unit: str | None = None) -> Iterator[PortDay]:
        """Yield the port-days and unit-days (port None) of local days, both ends included, day after day.

        Closed days come from the port-day table; what is not closed yet is compiled from the hot readings. Only
        one day is held in memory at a time.
        """
        for day in days(first_day, last_day):
            with self._one_view():
                closed = self.rows(
                    "SELECT day, unit, port, body FROM port_day WHERE day = ? AND (? IS NULL OR unit = ?)",
                    day.isoformat(),
                    unit,
                    unit,
                )
                still_open = self._open_readings(day_start_s(day, self.zone), day_end_s(day, self.zone), unit)
            for row in closed:
                yield self._port_day(*row)
            if still_open:
                yield from compile_day(day, still_open, self.zone)

    def port_days(self, first_day: date, last_day: date, unit: str | None = None) -> list[PortDay]:
        """Return what `each_port_day` yields, as a list: for short periods."""
        return list(self.each_port_day(first_day, last_day, unit))

    def close_days(self, up_to_s: float) -> list[date]:
        """Compile every local day that ended by `up_to_s`, then prune hot readings after `hot_days` days.

        Returns the days that were closed. Readings of a day that was not closed are never pruned.
        """
        first = self.rows("SELECT min(time_ms) FROM hot")[0][0]
        closed: list[date] = []
        if first is None:
            return closed
        for day in days(day_of(first / 1000, self.zone), day_of(up_to_s, self.zone)):
            start_s, end_s = day_start_s(day, self.zone), day_end_s(day, self.zone)
            if end_s > up_to_s:
                break
            readings = self._open_readings(start_s, end_s, None)
            if readings:
                span = (round(start_s * 1000), round(end_s * 1000), day.isoformat(), readings[0].time_ms)
                self._close_day(day, span, compile_day(day, readings, self.zone))
                closed.append(day)
        keep_from = day_of(up_to_s, self.zone) - timedelta(days=self.hot_days)
        with self.write() as transaction:
            transaction.execute(
                "DELETE FROM hot WHERE time_ms < ? AND EXISTS (SELECT 1 FROM closed_span "
                "WHERE start_ms <= hot.time_ms AND hot.time_ms < end_ms)",
                (round(day_start_s(keep_from, self.zone) * 1000),),
            )
        self.outbox.forget(up_to_s - _KEEP_DELIVERED_DAYS * 86_400)
        return closed

    def _close_day(self, day: date, span: tuple[int, int, str, int], compiled: Iterable[PortDay]) -> None:
        with self.write() as transaction:
            for fresh in compiled:
                key = (day.isoformat(), fresh.unit, fresh.port or "")
                before = transaction.execute(
                    "SELECT day, unit, port, body FROM port_day WHERE day = ? AND unit = ? AND port = ?", key
                ).fetchone()
                whole = fresh if before is None else merge([self._port_day(*before), fresh])
                transaction.execute(
                    "INSERT OR REPLACE INTO port_day VALUES (?, ?, ?, ?)", (*key, port_day_codec.pack(whole))
                )
            transaction.execute("INSERT OR REPLACE INTO closed_span VALUES (?, ?, ?, ?)", span)

    def _open_readings(self, from_s: float, to_s: float, unit: str | None) -> list[HotReading]:
        """Return the hot readings of a span that no closed day has taken up."""
        spans = self.rows(
            "SELECT start_ms, end_ms FROM closed_span WHERE end_ms > ? AND start_ms < ? ORDER BY start_ms",
            round(from_s * 1000),
            round(to_s * 1000),
        )
        taken = [(start_ms / 1000, end_ms / 1000) for start_ms, end_ms in spans]
        return [
            reading
            for gap_from_s, gap_to_s in gaps(from_s, to_s, taken)
            for reading in self.hot(gap_from_s, gap_to_s, unit)
        ]

    # --- events and state

    def add_event(
        self,
        time_s: float,
        kind: str,
        unit: str | None,
        port: str | None,
        text: str,
        data: Mapping[str, Any] | None = None,
    ) -> None:
        """Write an event; `data` is kept as JSON."""
        row = (time_s, kind, unit, port, text, json.dumps(dict(data or {})))
        with self.write() as transaction:
            transaction.execute(
                "INSERT INTO event (time_s, kind, unit, port, text, data) VALUES (?, ?, ?, ?, ?, ?)", row
            )

    def events(self, from_s: float, to_s: float, kind: str | None = None) -> list[Event]:
        """Return the events from `from_s` up to, not with, `to_s`, oldest first, of one kind or of all."""
        rows = self.rows(
            "SELECT time_s, kind, unit, port, text, data FROM event "
            "WHERE time_s >= ? AND time_s < ? AND (? IS NULL OR kind = ?) ORDER BY time_s, number",
            from_s,
            to_s,
            kind,
            kind,
        )
        return [
            Event(time_s=row[0], kind=row[1], unit=row[2], port=row[3], text=row[4], data=json.loads(row[5]))
            for row in rows
        ]

    def put_state(self, key: str, value: object) -> None:
        """Keep a JSON value under a key, in place of what was there."""
        text = json.dumps(value)
        with self.write() as transaction:
            transaction.execute("INSERT OR REPLACE INTO state VALUES (?, ?)", (key, text))

    def get_state(self, key: str) -> Any:
        """Return the JSON value kept under a key, None where there is none."""
        rows = self.rows("SELECT value FROM state WHERE key = ?", key)
        return json.loads(rows[0][0]) if rows else None

    # --- about the file

    def info(self) -> HistoryInfo:
        """Return what the file holds, counted."""
        return count(self, self.path, self.emulated, self.zone.key, self.hot_days)

    # --- the connection

    @contextmanager
    def write(self) -> Iterator[Transaction]:
        """Run a block as one transaction; an error inside leaves the file as it was."""
        with self._lock, _told(self.path):
            self._check_place()
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            except BaseException:
                self._port_lists.clear()  # a list written in this transaction is gone with it
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    @contextmanager
    def _one_view(self) -> Iterator[None]:
        """Hold one state of the file over several queries, though another program closes a day meanwhile."""
        with self._lock, _told(self.path):
            nested = self._connection.in_transaction
            if not nested:
                self._connection.execute("BEGIN")
            try:
                yield
            finally:
                if not nested and self._connection.in_transaction:
                    self._connection.execute("COMMIT")

    def rows(self, sql: str, *values: object) -> list[Any]:
        """Return all rows of a query."""
        with self._lock, _told(self.path):
            return self._connection.execute(sql, values).fetchall()

    def _check_place(self) -> None:
        """Notice a file that was deleted, moved or replaced: what is written to the open one nobody would ever find.

        That is told once; from then on the file in its place is opened, or begun, as soon as its folder is there.
        The folder itself is not made anew: a disk may have to be mounted there first.
        """
        if not self._must_check or (self._place is not None and _place_of(self.path) == self._place):
            return
        if self._place is not None:
            self._place = None
            self._connection.close()
            raise HistoryError(
                f"history file {self.path} was deleted, moved or replaced while the agent runs; what it held is kept "
                "only where it is now"
            )
        if not self.path.parent.is_dir():
            raise HistoryError(f"history folder {self.path.parent} is gone; put it back, or make it anew")
        self._connection = _connect(self.path, self.emulated, read_only=False)
        self._place = _place_of(self.path)
        self._port_lists.clear()
        self._ports_of.clear()

    def _port_list(self, ports: tuple[str, ...]) -> int:
        number = self._port_lists.get(ports)
        if number is None:
            text = json.dumps(ports)
            self._connection.execute("INSERT OR IGNORE INTO port_list (ports) VALUES (?)", (text,))
            number = self.rows("SELECT number FROM port_list WHERE ports = ?", text)[0][0]
            self._port_lists[ports] = number
        return number

    def _readings(self, rows: Iterable[tuple[int, str, bytes]]) -> Iterator[HotReading]:
        for time_ms, unit, body in rows:
            number = hot_reading.port_list_id(body)
            ports = self._ports_of.get(number)
            if ports is None:
                found = self.rows("SELECT ports FROM port_list WHERE number = ?", number)
                if not found:
                    raise HistoryError(f"history file {self.path} is damaged: port list {number} is missing")
                ports = self._ports_of[number] = tuple(json.loads(found[0][0]))
            try:
                yield hot_reading.unpack(unit, time_ms, body, ports)
            except ValueError as error:
                raise HistoryError(f"history file {self.path} is damaged: {error}") from None

    def _port_day(self, day: str, unit: str, port: str, body: bytes) -> PortDay:
        try:
            return port_day_codec.unpack(unit, port or None, date.fromisoformat(day), body)
        except ValueError as error:
            raise HistoryError(f"history file {self.path} is damaged: {error}") from None


def _connect(path: Path, emulated: bool, read_only: bool) -> sqlite3.Connection:
    """Open the file, or begin one in a folder that is there. Raises HistoryError; a foreign file is left as it is."""
    try:
        why = refusal(path, emulated)
        new = not path.exists() or path.stat().st_size == 0
    except OSError as error:
        raise HistoryError(f"history folder {path.parent} can't be used: {error.strerror or error}") from None
    if why is None and read_only and new:
        why = f"there is no history in {path.parent} yet"
    if why is not None:
        raise HistoryError(why)
    with _told(path):
        mode = "ro" if read_only else "rwc"
        connection = sqlite3.connect(
            f"{path.absolute().as_uri()}?mode={mode}",
            uri=True,
            timeout=_BUSY_S,
            isolation_level=None,
            check_same_thread=False,
        )
        try:
            if new:
                _create(connection, EMULATED_ID if emulated else APPLICATION_ID)
            connection.execute("SELECT count(*) FROM closed_span").fetchone()
            if not read_only:
                connection.execute("PRAGMA journal_mode = WAL")
                connection.execute("PRAGMA synchronous = NORMAL")
        except BaseException:
            connection.close()
            raise
    return connection


def _place_of(path: Path) -> tuple[int, int] | None:
    """Return what tells a file from any other (device and inode), None where there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _create(connection: sqlite3.Connection, application_id: int) -> None:
    # One transaction, before the switch to WAL, so that our mark is in the file's own header from the start.
    connection.execute("BEGIN IMMEDIATE")
    connection.execute(f"PRAGMA application_id = {application_id}")
    connection.execute(f"PRAGMA user_version = {FORMAT}")
    for table in TABLES:
        connection.execute(table)
    connection.execute("COMMIT")


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn the database's errors into one sentence."""
    try:
        yield
    except sqlite3.Error as error:
        raise HistoryError(f"history file {path}: {reason_of(error)}") from error
