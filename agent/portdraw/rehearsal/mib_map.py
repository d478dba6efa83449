"""What one emulated agent can tell: a flat map sorted by object identifier, answered by bisection. Read-only."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable
from typing import Any

from pysnmp.proto import rfc1902, rfc1905
from pysnmp.smi import error as smi_error
from pysnmp.smi.instrum import AbstractMibInstrumController

from portdraw.rehearsal.oids import Oid

Told = int | str | bytes | Oid | None  # None: the instance does not exist at present
Teller = Callable[[], Told]

# RFC 2578 types by the short names that rows use.
KINDS: dict[str, Any] = {
    "integer": rfc1902.Integer32,
    "gauge": rfc1902.Gauge32,
    "counter": rfc1902.Counter32,
    "ticks": rfc1902.TimeTicks,
    "octets": rfc1902.OctetString,
    "oid": rfc1902.ObjectIdentifier,
}


class Row:
    """One instance: where it is, its type, and who tells its value."""

    __slots__ = ("kind", "oid", "tell")

    def __init__(self, oid: Oid, kind: str, tell: Teller):
        self.oid = oid
        self.kind = kind
        self.tell = tell


class MibMap(AbstractMibInstrumController):  # type: ignore[misc]  # the library carries no types
    """Answers GET and GETNEXT from rows; each value is worked out at most once per `moment`.

    `allowed` is set by the responder before each request: a request that came with too little security is refused.
    """

    def __init__(self, rows: Iterable[Row], moment: Callable[[], int]):
        ordered = sorted(rows, key=lambda row: row.oid)
        self._rows = ordered
        self._oids = [row.oid for row in ordered]
        if len(set(self._oids)) != len(self._oids):
            raise ValueError("two rows of an emulated agent have the same object identifier")
        self._names = [rfc1902.ObjectName(row.oid) for row in ordered]
        self._kinds = [KINDS[row.kind] for row in ordered]
        self._told: list[Told] = [None] * len(ordered)
        self._encoded: list[Any] = [None] * len(ordered)
        self._told_at = [-1] * len(ordered)
        self._moment = moment
        self.allowed = True

    @property
    def oids(self) -> list[Oid]:
        """All object identifiers, sorted; some instances may not exist at a given moment."""
        return self._oids

    def read_variables(self, *varbinds: Any, **_context: Any) -> list[tuple[Any, Any]]:
        """Return the values of exactly these instances."""
        self._refuse_unless_allowed()
        moment = self._moment()
        answers = []
        for name, _ in varbinds:
            asked = tuple(name)
            place = bisect_left(self._oids, asked)
            value = None
            if place < len(self._oids) and self._oids[place] == asked:
                value = self._value(place, moment)
            answers.append((name, rfc1905.noSuchInstance if value is None else value))
        return answers

    def read_next_variables(self, *varbinds: Any, **_context: Any) -> list[tuple[Any, Any]]:
        """Return for each name the next instance that exists, with its value."""
        self._refuse_unless_allowed()
        moment = self._moment()
        answers = []
        for name, _ in varbinds:
            place = bisect_right(self._oids, tuple(name))
            while place < len(self._oids):
                value = self._value(place, moment)
                if value is not None:
                    answers.append((self._names[place], value))
                    break
                place += 1
            else:
                answers.append((name, rfc1905.endOfMibView))
        return answers

    def write_variables(self, *_varbinds: Any, **_context: Any) -> list[tuple[Any, Any]]:
        """Refuse: nothing here can be written (RFC 3416, notWritable)."""
        raise smi_error.NotWritableError(idx=0)

    def _refuse_unless_allowed(self) -> None:
        if not self.allowed:
            raise smi_error.AuthorizationError(idx=0)

    def _value(self, place: int, moment: int) -> Any:
        if self._told_at[place] != moment:
            self._told_at[place] = moment
            told = self._rows[place].tell()
            if told != self._told[place] or self._encoded[place] is None:
                self._told[place] = told
                self._encoded[place] = None if told is None else self._kinds[place](told)
        return self._encoded[place]
