"""Reads table columns and scalars through an engine, whatever the agent does, within a deadline.

Everything that agents are known to do wrong is met here once: lost answers, answers cut short (a short answer is
not the end of a table), answers too big to arrive, tooBig, genErr, empty answers, rows that step backwards, columns
that end at different rows, instances that are not there. A read that can't finish keeps what it has and says what is
missing, and why. What makes trouble is narrowed down to one object, so that the others are read all the same.
"""

from __future__ import annotations

import asyncio
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

from portdraw.reading.engine import Answer, Engine, ErrorStatus, Failure, ReadError, Target
from portdraw.reading.varbind import ABSENT, Kind, Oid, Varbind, oid_text

MOST_VARBINDS_PER_REQUEST = 96  # a few Ethernet frames; agents cap lower by themselves
MOST_COLUMNS_PER_REQUEST = 12
MOST_ROWS_PER_COLUMN = 10_000
MOST_STEPS_BACK = (
    32  # to rows not seen yet; a recorded agent does it nine times in one walk. Common practice, no source
)
REQUEST_TIMEOUT_S = 1.5
TRIES = 3

_DENIED = (ErrorStatus.AUTHORIZATION_ERROR, ErrorStatus.NO_ACCESS)
_WORTH_ANOTHER_TRY = (Failure.SILENT, Failure.GARBLED, Failure.TIME_WINDOW, Failure.WRONG_PRIVACY)


@dataclass
class Column:
    """The rows of one column by index suffix; `why_cut` says why rows may be missing, None when complete.

    `expected` is how many rows it had the last time, None where that is not known: it saves asking beyond the end.
    `steps_back` counts rows that came out of order: a table whose order is not kept (neighbours by time) is read too.
    """

    oid: Oid
    expected: int | None = None
    rows: dict[Oid, Varbind] = field(default_factory=dict)
    why_cut: str | None = None
    ended: bool = False
    denied: bool = False
    steps_back: int = 0

    @property
    def last(self) -> Oid:
        """The OID after which to go on asking: of the row that came last."""
        return self.oid + next(reversed(self.rows)) if self.rows else self.oid

    @property
    def rows_ahead(self) -> int | None:
        """How many rows are still expected, None where there is nothing to expect by."""
        return None if self.expected is None or self.expected < len(self.rows) else self.expected - len(self.rows)

    def end(self, why: str | None, denied: bool = False) -> None:
        """Ask no further; `why` is None where the table is complete."""
        self.ended, self.why_cut, self.denied = True, why, denied


class Reader:
    """Asks one agent until its deadline (loop time, seconds); counts its own requests.

    `most` bindings are asked for at once; it falls where larger answers did not arrive. `why_missing` tells, after
    `scalars`, why an instance has no value although the agent did not deny having it.
    """

    def __init__(
        self,
        engine: Engine,
        target: Target,
        deadline: float,
        request_timeout_s: float = REQUEST_TIMEOUT_S,
        most: int = MOST_VARBINDS_PER_REQUEST,
    ) -> None:
        self._engine = engine
        self._target = target
        self._deadline = deadline
        self._request_timeout_s = request_timeout_s
        self._began = asyncio.get_running_loop().time()
        self._lost = 0  # large questions in a row that brought nothing
        self._failure: ReadError | None = None
        self.most = most
        self.requests = 0
        self.answered = False
        self.why_missing: dict[Oid, str] = {}

    def left_s(self) -> float:
        """Seconds of wall time until the deadline."""
        return self._deadline - asyncio.get_running_loop().time()

    async def scalars(self, oids: Sequence[Oid], optional: bool = False) -> dict[Oid, Varbind]:
        """Return the values of instances; those that the agent lacks are absent. Raises ReadError.

        What is `optional` may all be hidden from this user: that is no refusal.
        Once the agent has answered anything in this reader, a failure is told in `why_missing` instead.
        """
        found: dict[Oid, Varbind] = {}
        denied: list[Oid] = []
        pending = list(oids)
        size = MOST_COLUMNS_PER_REQUEST
        while pending:
            batch = pending[:size]
            try:
                answer = await self._ask(batch, None, 1 if len(batch) > 1 else TRIES)
            except ReadError as error:
                if error.failure is Failure.GARBLED and len(batch) > 1:
                    size = len(batch) // 2
                    continue
                if not self.answered:
                    raise
                self.why_missing.update(dict.fromkeys(pending, str(error)))
                break
            told = {varbind.oid: varbind for varbind in answer.varbinds} if not answer.error_status else {}
            untold = [oid for oid in batch if oid not in told]
            found.update({oid: told[oid] for oid in batch if oid in told and told[oid].kind not in ABSENT})
            if len(untold) == len(batch) > 1:
                size = len(batch) // 2  # an error-status, or an answer about something else: find out which
                continue
            if len(untold) == len(batch):
                self.why_missing[batch[0]] = _complaint(answer) or "the agent's answer does not speak of this object"
                denied += batch if answer.error_status in _DENIED else []
                untold = []
            pending = untold + pending[len(batch) :]
        if oids and len(denied) == len(oids) and not optional:
            raise self._view_refused()
        return found

    async def columns(
        self,
        oids: Sequence[Oid],
        expected: Mapping[Oid, int] | None = None,
        single: Collection[Oid] = (),
        optional: bool = False,
    ) -> dict[Oid, Column]:
        """Return every column asked for. Raises ReadError only where not one answer came to this reader.

        `expected` has the number of rows that columns had before: it changes how much is asked for at once, never
        what is found. Of the columns in `single` only the first row is read, without a look at what comes after.
        What is `optional` may all be hidden from this user: that is no refusal.
        """
        before = expected or {}
        columns = {oid: Column(oid, before.get(oid)) for oid in oids}
        todo = sorted(columns.values(), key=lambda column: -1 if column.expected is None else column.expected)
        try:
            if single:
                todo = await self._glance([column for column in todo if column.oid in single], todo)
            while todo:
                await self._walk(todo[:MOST_COLUMNS_PER_REQUEST])
                todo = todo[MOST_COLUMNS_PER_REQUEST:]
        except ReadError as error:
            if not self.answered:
                raise
            for column in columns.values():
                if not column.ended:
                    column.end(str(error))
        if columns and all(column.denied for column in columns.values()) and not optional:
            raise self._view_refused()
        return columns

    async def _glance(self, singles: list[Column], todo: list[Column]) -> list[Column]:
        """Read one row of some columns and the first rows of others in one request; return what is left to walk.

        A message costs an agent, and us, as much as some ninety values in it. What does not go well here goes the
        ordinary way.
        """
        singles = singles[: MOST_COLUMNS_PER_REQUEST // 2]
        beside = [column for column in todo if column not in singles][: MOST_COLUMNS_PER_REQUEST - len(singles)]
        repetitions = _repetitions(beside, self.most - len(singles)) if beside else 0
        asked = [column.last for column in (*singles, *beside)]
        try:
            answer = await self._ask(asked, repetitions, non_repeaters=len(singles))
        except ReadError as error:
            if error.failure is not Failure.GARBLED:
                raise
            return todo
        if _complaint(answer) is not None or len(answer.varbinds) < len(singles):
            return todo
        for column, varbind in zip(singles, answer.varbinds, strict=False):
            size = len(column.oid)
            if varbind.kind not in ABSENT and varbind.oid[:size] == column.oid and len(varbind.oid) > size:
                column.rows[varbind.oid[size:]] = varbind
                column.end(None)
        rest = answer.varbinds[len(singles) :]
        if beside and rest:
            self._take(beside, Answer(rest))
        return [column for column in todo if not column.ended]

    async def _walk(self, group: list[Column]) -> None:
        """Read columns side by side. Trouble is met with fewer rows first, then with fewer columns."""
        alone: list[Column] = []
        limit = MOST_VARBINDS_PER_REQUEST
        while live := [column for column in group if not column.ended and column not in alone]:
            repetitions = _repetitions(live, min(limit, self.most))
            answer, why = await self._bulk(live, repetitions)
            if answer is not None and why is None:
                self._take(live, answer)
                continue
            status = answer.error_status if answer is not None else 0
            index = answer.error_index if answer is not None and status != ErrorStatus.TOO_BIG else 0
            if 0 < index <= len(live) and len(live) > 1:
                alone.append(live[index - 1])  # the agent names the culprit (RFC 3416, 4.2.3)
            elif status == ErrorStatus.NO_SUCH_NAME and len(live) == 1:
                live[0].end(None)
            elif repetitions > 1:
                limit = max(len(live), repetitions * len(live) // 4)
                if status in (ErrorStatus.NO_ERROR, ErrorStatus.TOO_BIG):
                    self.most = limit
            elif len(live) > 1:
                alone += live[: len(live) // 2]
                limit = MOST_VARBINDS_PER_REQUEST
            else:
                live[0].end(f"{why} after {oid_text(live[0].last)}", status in _DENIED)
                self.most = MOST_VARBINDS_PER_REQUEST  # it was this object, not the size
        if len(alone) == 1 or len(alone) == len(group):
            for column in alone:
                await self._walk([column])
        elif alone:
            await self._walk(alone)

    def _take(self, live: list[Column], answer: Answer) -> None:
        """Deal the bindings out, row by row; an incomplete last row is used as far as it goes."""
        before = sum(len(column.rows) for column in live)
        for position, varbind in enumerate(answer.varbinds):
            column = live[position % len(live)]
            if column.ended:
                continue
            size, backwards = len(column.oid), varbind.oid <= column.last
            inside = varbind.oid[:size] == column.oid and len(varbind.oid) > size
            new = inside and varbind.oid[size:] not in column.rows
            column.steps_back += backwards and new
            if varbind.kind is Kind.END_OF_MIB_VIEW:
                column.end(None)
            elif (backwards or inside) and (not new or column.steps_back > MOST_STEPS_BACK):
                column.end(f"the agent stepped backwards after {oid_text(column.last)}")
            elif not inside:
                column.end(None)
            elif len(column.rows) >= MOST_ROWS_PER_COLUMN:
                column.end(f"more than {MOST_ROWS_PER_COLUMN} rows")
            else:
                column.rows[varbind.oid[size:]] = varbind
        if before == sum(len(column.rows) for column in live) and not any(column.ended for column in live):
            live[0].end("the agent's answer brought nothing new")

    async def _bulk(self, live: list[Column], repetitions: int) -> tuple[Answer | None, str | None]:
        """Return an answer, or what is wrong with it. Raises ReadError where asking for less can't help."""
        try:
            answer = await self._ask([column.last for column in live], repetitions)
        except ReadError as error:
            if error.failure is not Failure.GARBLED:
                raise
            return None, str(error)
        return answer, _complaint(answer)

    async def _ask(
        self, oids: Sequence[Oid], repetitions: int | None, garbled_tries: int = 1, non_repeaters: int = 0
    ) -> Answer:
        """Ask, and ask again for less where nothing came: large answers are the first to get lost."""
        failure: ReadError | None = None
        asked = repetitions
        for attempt in range(TRIES):
            left_s = self.left_s()
            if left_s <= 0.01:
                break
            timeout_s = min(left_s, self._request_timeout_s * (attempt + 1))
            self.requests += 1
            try:
                if repetitions is None:
                    answer = await self._engine.get(self._target, oids, timeout_s)
                else:
                    answer = await self._engine.get_bulk(self._target, oids, repetitions, timeout_s, non_repeaters)
            except ReadError as error:
                failure = error
                if error.failure not in _WORTH_ANOTHER_TRY:
                    raise
                if error.failure is Failure.GARBLED and attempt + 1 >= garbled_tries:
                    break
                if self.answered and error.failure is Failure.WRONG_PRIVACY:
                    failure = ReadError(Failure.SILENT, str(error))  # it has understood us before: a lost answer
                if failure.failure is Failure.SILENT and repetitions is not None and repetitions > 1:
                    repetitions = max(1, repetitions // 4)
                    self._lost += 1
                    if self._lost > 1:  # one may be chance
                        self.most = min(self.most, repetitions * len(oids))
            else:
                self.answered = True
                self._failure = None
                self._lost = 0 if asked == repetitions else self._lost
                return answer
        failure = failure or self._failure
        if failure is not None and failure.failure is not Failure.SILENT:
            self._failure = failure
            raise failure
        waited_s = asyncio.get_running_loop().time() - self._began
        after = "no further answer within" if self.answered else "no answer within"
        raise ReadError(Failure.SILENT, f"{self._target} gave {after} {waited_s:.2g} s")

    def _view_refused(self) -> ReadError:
        return ReadError(Failure.REFUSED, f"{self._target} does not let this user see these objects")


def _repetitions(columns: Sequence[Column], most: int) -> int:
    """Return how many rows to ask for: up to one more than the longest column is expected to hold."""
    ahead = [column.rows_ahead for column in columns]
    longest = max((rows for rows in ahead if rows is not None), default=0) if None not in ahead else most
    return max(1, min(most // len(columns), longest + 1))


def _complaint(answer: Answer) -> str | None:
    """Return what is wrong with an answer as a whole, None where nothing is."""
    status = answer.error_status
    if status == ErrorStatus.TOO_BIG:
        return "the agent says that even a small answer is too big"
    if status in _DENIED:
        return "the agent does not let this user see this object"
    if status:
        return f"the agent answers with error-status {status}"
    if not answer.varbinds:
        return "the agent sent an empty answer"
    return None
