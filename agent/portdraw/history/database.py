"""What the parts of history need of the database: rows, and transactions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager
from typing import Any, Protocol


class Result(Protocol):
    """What a statement answers."""

    @property
    def rowcount(self) -> int:
        """Rows that were changed."""

    def fetchone(self) -> Any:
        """Return the next row, None after the last."""


class Transaction(Protocol):
    """Takes statements until it ends: all of them count, or none."""

    def execute(self, sql: str, parameters: Sequence[Any] = ..., /) -> Result:
        """Run one statement."""

    def executemany(self, sql: str, parameters: Iterable[Sequence[Any]], /) -> object:
        """Run one statement for every row of parameters."""


class Database(Protocol):
    """The history file, as its parts see it. Both functions raise HistoryError."""

    def rows(self, sql: str, *values: object) -> list[Any]:
        """Return all rows of a query."""

    def write(self) -> AbstractContextManager[Transaction]:
        """Open a transaction; an error inside leaves the file as it was."""
