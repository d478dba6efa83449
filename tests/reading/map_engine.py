"""An engine over a map in memory, for fast table tests: no sockets, no time."""

from __future__ import annotations

import bisect
from collections.abc import Callable, Mapping, Sequence

from portdraw.reading.engine import Answer, Target
from portdraw.reading.varbind import Kind, Oid, Varbind

Twist = Callable[["MapEngine", Sequence[Oid], int | None], Answer]


class MapEngine:
    """Answers from `rows` as RFC 3416 says; `twist` may answer in its place (repetitions is None for GET)."""

    def __init__(self, rows: Mapping[Oid, Varbind], twist: Twist | None = None, most: int = 1000) -> None:
        self.rows = dict(rows)
        self.twist = twist
        self.most = most
        self.asked: list[tuple[tuple[Oid, ...], int | None]] = []

    async def get(self, target: Target, oids: Sequence[Oid], timeout_s: float) -> Answer:
        """Answer GET."""
        self.asked.append((tuple(oids), None))
        return self.twist(self, oids, None) if self.twist else self.honest_get(oids)

    async def get_bulk(
        self, target: Target, oids: Sequence[Oid], repetitions: int, timeout_s: float, non_repeaters: int = 0
    ) -> Answer:
        """Answer GETBULK; a twist is not told of non-repeaters, it sees only what is asked row by row."""
        self.asked.append((tuple(oids), repetitions))
        once = self.honest_bulk(oids[:non_repeaters], 1).varbinds if non_repeaters else ()
        rest = oids[non_repeaters:]
        if not rest:
            return Answer(once)
        answer = self.twist(self, rest, repetitions) if self.twist else self.honest_bulk(rest, repetitions)
        return Answer(
            () if answer.error_status else (*once, *answer.varbinds), answer.error_status, answer.error_index
        )

    async def close(self) -> None:
        """Nothing to let go of."""

    def honest(self, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        """Answer either kind of request as it should be."""
        return self.honest_get(oids) if repetitions is None else self.honest_bulk(oids, repetitions)

    def honest_get(self, oids: Sequence[Oid]) -> Answer:
        """Answer GET (RFC 3416, 4.2.1)."""
        missing = Kind.NO_SUCH_INSTANCE
        return Answer(tuple(self.rows.get(oid, Varbind(oid, missing, None)) for oid in oids))

    def honest_bulk(self, oids: Sequence[Oid], repetitions: int) -> Answer:
        """Answer GETBULK (RFC 3416, 4.2.3), cut after `most` bindings."""
        order = sorted(self.rows)
        at, out = list(oids), []
        for _ in range(repetitions):
            for position, oid in enumerate(at):
                place = bisect.bisect_right(order, oid)
                if place == len(order):
                    out.append(Varbind(oid, Kind.END_OF_MIB_VIEW, None))
                else:
                    at[position] = order[place]
                    out.append(self.rows[order[place]])
        return Answer(tuple(out[: self.most]))


def numbers(column: Oid, values: Mapping[Oid, int], kind: Kind = Kind.INTEGER) -> dict[Oid, Varbind]:
    """Return rows of a column by index suffix."""
    return {column + index: Varbind(column + index, kind, value) for index, value in values.items()}
