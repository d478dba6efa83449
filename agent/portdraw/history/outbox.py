"""Messages that wait to be delivered to receivers. They outlive a restart, and none is queued twice."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from portdraw.history.database import Database


@dataclass(frozen=True)
class OutboxItem:
    """One message for one receiver. `attempts` counts failed deliveries; `due_s` is when to try next."""

    number: int
    receiver: str
    key: str
    payload: Mapping[str, Any]
    created_s: float
    due_s: float
    attempts: int
    last_error: str | None


class Outbox:
    """The queue on disk. Times in seconds since the epoch; every function raises HistoryError."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, receiver: str, key: str, payload: Mapping[str, Any], now_s: float) -> bool:
        """Queue a message, due at once. False where this receiver has, or lately had, one of the same key."""
        row = (receiver, key, json.dumps(dict(payload)), now_s, now_s)
        with self._database.write() as transaction:
            result = transaction.execute(
                "INSERT OR IGNORE INTO outbox (receiver, key, payload, created_s, due_s) VALUES (?, ?, ?, ?, ?)",
                row,
            )
            return result.rowcount == 1

    def due(self, now_s: float, receiver: str | None = None, limit: int = 100) -> list[OutboxItem]:
        """Return the messages to try now, in the order in which they were queued."""
        rows = self._database.rows(
            "SELECT number, receiver, key, payload, created_s, due_s, attempts, last_error FROM outbox "
            "WHERE done_s IS NULL AND due_s <= ? AND (? IS NULL OR receiver = ?) ORDER BY number LIMIT ?",
            now_s,
            receiver,
            receiver,
            limit,
        )
        return [
            OutboxItem(
                number=row[0],
                receiver=row[1],
                key=row[2],
                payload=json.loads(row[3]),
                created_s=row[4],
                due_s=row[5],
                attempts=row[6],
                last_error=row[7],
            )
            for row in rows
        ]

    def done(self, number: int, now_s: float) -> None:
        """Mark a message as delivered; its key is remembered until `forget`."""
        with self._database.write() as transaction:
            transaction.execute("UPDATE outbox SET done_s = ?, last_error = NULL WHERE number = ?", (now_s, number))

    def failed(self, number: int, reason: str, next_due_s: float) -> None:
        """Count a failed delivery and say when to try again."""
        with self._database.write() as transaction:
            transaction.execute(
                "UPDATE outbox SET attempts = attempts + 1, last_error = ?, due_s = ? WHERE number = ?",
                (reason, next_due_s, number),
            )

    def waiting(self) -> int:
        """Return how many messages are not delivered yet, due or not."""
        count: int = self._database.rows("SELECT count(*) FROM outbox WHERE done_s IS NULL")[0][0]
        return count

    def drop_others(self, receivers: Collection[str]) -> dict[str, int]:
        """Drop what waits for any receiver but these; return how many messages each of the others had waiting."""
        with self._database.write() as transaction:
            rows = self._database.rows("SELECT receiver, count(*) FROM outbox WHERE done_s IS NULL GROUP BY receiver")
            dropped = {name: count for name, count in rows if name not in receivers}
            for name in dropped:
                transaction.execute("DELETE FROM outbox WHERE receiver = ? AND done_s IS NULL", (name,))
        return dropped

    def forget(self, delivered_before_s: float) -> None:
        """Drop the messages that were delivered before a time."""
        with self._database.write() as transaction:
            transaction.execute("DELETE FROM outbox WHERE done_s < ?", (delivered_before_s,))
