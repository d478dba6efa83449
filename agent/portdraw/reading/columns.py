"""Reads table columns and scalars through an engine, whatever the agent does, within a deadline.

Everything that agents are known to do wrong is met here once: lost answers, answers cut short (a short answer is
not the end of a table), tooBig, genErr, rows that step backwards, columns that end at different rows, instances
that are not there. A read that can't finish keeps what it has and says what is missing, and why.
"""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass, field

from portdraw.reading.engine import Answer, Engine, ErrorStatus, Failure, ReadError, Target
from portdraw.reading.varbind import ABSENT, Kind, Oid, Varbind, oid_text

MOST_VARBINDS_PER_REQUEST = (
    96  # about what fits one Ethernet frame several times over; agents cap lower by themselves
)
MOST_COLUMNS_PER_REQUEST = 12
MOST_ROWS_PER_COLUMN = 10_000
REQUEST_TIMEOUT_S = 1.5
TRIES = 3


@dataclass
class Column:
    """The rows of one column by index suffix; `why_cut` says why rows may be missing, None when complete."""

    oid: Oid
    rows: dict[Oid, Varbind] = field(default_factory=dict)
    why_cut: str | None = None
    ended: bool = False

    @property
    def last(self) -> Oid:
        """The OID after which to go on asking."""
        return self.oid + next(reversed(self.rows)) if self.rows else self.oid


class Reader:
    """Asks one agent until its deadline (loop time, seconds); counts its own requests."""

    def __init__(self, engine: Engine, target: Target, deadline: float, request_timeout_s: float = REQUEST_TIMEOUT_S):
        self._engine = engine
        self._target = target
        self._deadline = deadline
        self._request_timeout_s = request_timeout_s
        self._began = asyncio.get_running_loop().time()
        self.requests = 0

    def left_s(self) -> float:
        """Seconds of wall time until the deadline."""
        return self._deadline - asyncio.get_running_loop().time()

    async def scalars(self, oids: Sequence[Oid]) -> dict[Oid, Varbind]:
        """Return the values of instances; those that the agent lacks are absent. Raises ReadError."""
        found: dict[Oid, Varbind] = {}
        pending = list(oids)
        size = MOST_COLUMNS_PER_REQUEST
        while pending:
            batch, rest = pending[:size], pending[size:]
            answer = await self._ask(batch, None)
            if answer.error_status in (ErrorStatus.TOO_BIG, ErrorStatus.GEN_ERR) and size > 1:
                size = max(1, size // 2)
                continue
            self._refuse_if_denied(answer)
            pending = rest
            if answer.error_status:
                continue  # this instance can't be had from this agent; the others can
            asked = set(batch)
            for varbind in answer.varbinds:
                if varbind.oid in asked and varbind.kind not in ABSENT:
                    found[varbind.oid] = varbind
        return found

    async def columns(self, oids: Sequence[Oid]) -> dict[Oid, Column]:
        """Return every column asked for. Raises ReadError only where not one answer came."""
        columns = {oid: Column(oid) for oid in oids}
        answered = False
        todo = list(columns.values())
        while todo:
            group, todo = todo[:MOST_COLUMNS_PER_REQUEST], todo[MOST_COLUMNS_PER_REQUEST:]
            try:
                await self._walk(group)
                answered = True
            except ReadError as error:
                answered = answered or any(column.rows for column in columns.values())
                if not answered or error.failure.is_credentials:
                    raise
                for column in group + todo:
                    if not column.ended:
                        column.why_cut = str(error)
                break
        return columns

    async def _walk(self, group: list[Column]) -> None:
        width_limit, most = len(group), MOST_VARBINDS_PER_REQUEST
        while live := [column for column in group if not column.ended][:width_limit]:
            repetitions = max(1, most // len(live))
            answer = await self._ask([column.last for column in live], repetitions)
            if answer.error_status in (ErrorStatus.TOO_BIG, ErrorStatus.GEN_ERR):
                if most > len(live):
                    most = max(len(live), most // 4)
                elif width_limit > 1 and len(live) > 1:
                    width_limit = max(1, len(live) // 2)
                    most = width_limit
                else:
                    _end(
                        live[0],
                        f"the agent answers error-status {answer.error_status} after {oid_text(live[0].last)}",
                    )
                continue
            self._refuse_if_denied(answer)
            if answer.error_status == ErrorStatus.NO_SUCH_NAME or not answer.varbinds:
                culprit = live[answer.error_index - 1] if 0 < answer.error_index <= len(live) else live[0]
                _end(culprit, None if answer.error_status else "the agent sent an empty answer")
                continue
            self._take(live, answer)

    def _take(self, live: list[Column], answer: Answer) -> None:
        """Deal the bindings out, row by row; an incomplete last row is used as far as it goes."""
        before = sum(len(column.rows) for column in live)
        for position, varbind in enumerate(answer.varbinds):
            column = live[position % len(live)]
            if column.ended:
                continue
            size = len(column.oid)
            if varbind.kind is Kind.END_OF_MIB_VIEW or varbind.oid[:size] != column.oid:
                if varbind.kind is not Kind.END_OF_MIB_VIEW and varbind.oid <= column.last:
                    _end(column, f"the agent stepped backwards after {oid_text(column.last)}")
                column.ended = True
            elif varbind.oid <= column.last:
                _end(column, f"the agent stepped backwards after {oid_text(column.last)}")
            elif len(column.rows) >= MOST_ROWS_PER_COLUMN:
                _end(column, f"more than {MOST_ROWS_PER_COLUMN} rows")
            else:
                column.rows[varbind.oid[size:]] = varbind
        if before == sum(len(column.rows) for column in live) and not any(column.ended for column in live):
            _end(live[0], "the agent's answer brought nothing new")

    def _refuse_if_denied(self, answer: Answer) -> None:
        if answer.error_status in (ErrorStatus.AUTHORIZATION_ERROR, ErrorStatus.NO_ACCESS):
            raise ReadError(Failure.REFUSED, f"{self._target} does not let this user see these objects")

    async def _ask(self, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        failure: ReadError | None = None
        for attempt in range(TRIES):
            left_s = self.left_s()
            if left_s <= 0.01:
                break
            timeout_s = min(left_s, self._request_timeout_s * (attempt + 1))
            self.requests += 1
            try:
                if repetitions is None:
                    return await self._engine.get(self._target, oids, timeout_s)
                return await self._engine.get_bulk(self._target, oids, repetitions, timeout_s)
            except ReadError as error:
                failure = error
                if error.failure not in (Failure.SILENT, Failure.GARBLED, Failure.TIME_WINDOW):
                    raise
        if failure is not None and failure.failure is not Failure.SILENT:
            raise failure
        waited_s = asyncio.get_running_loop().time() - self._began
        raise ReadError(Failure.SILENT, f"{self._target} gave no answer within {waited_s:.3g} s")


def _end(column: Column, why: str | None) -> None:
    column.ended = True
    column.why_cut = why
