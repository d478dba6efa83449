"""What a history file holds, counted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from portdraw.history.database import Database


@dataclass(frozen=True)
class HistoryInfo:
    """What there is. Times in seconds since the epoch; None where nothing was written yet."""

    path: Path
    size_bytes: int
    emulated: bool
    timezone: str
    hot_days: int
    hot_rows: int
    first_reading_s: float | None
    last_reading_s: float | None
    first_day: date | None
    last_day: date | None
    closed_days: int
    events: int
    waiting_messages: int


def count(database: Database, path: Path, emulated: bool, timezone: str, hot_days: int) -> HistoryInfo:
    """Return what the file holds; the first reading is the first of what is still hot, or of the closed days."""
    rows, first_ms, last_ms = database.rows("SELECT count(*), min(time_ms), max(time_ms) FROM hot")[0]
    closed, span_ms, first_day, last_day = database.rows(
        "SELECT count(DISTINCT day), min(first_ms), min(day), max(day) FROM closed_span"
    )[0]
    starts = [start_ms for start_ms in (first_ms, span_ms) if start_ms is not None]
    return HistoryInfo(
        path=path,
        size_bytes=sum(file.stat().st_size for file in path.parent.glob(f"{path.name}*")),
        emulated=emulated,
        timezone=timezone,
        hot_days=hot_days,
        hot_rows=rows,
        first_reading_s=min(starts) / 1000 if starts else None,
        last_reading_s=None if last_ms is None else last_ms / 1000,
        first_day=None if first_day is None else date.fromisoformat(first_day),
        last_day=None if last_day is None else date.fromisoformat(last_day),
        closed_days=closed,
        events=database.rows("SELECT count(*) FROM event")[0][0],
        waiting_messages=database.rows("SELECT count(*) FROM outbox WHERE done_s IS NULL")[0][0],
    )
