"""All that one poll of one unit brought."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from portdraw.observation.record import Quantity, Record


class Outcome(StrEnum):
    """How a poll of a unit ended."""

    ANSWERED = "answered"
    PARTIAL = "answered in part"
    SILENT = "no answer"
    REFUSED = "credentials refused"
    GARBLED = "answers that can't be used"
    NOT_READABLE = "not readable by design"


@dataclass(frozen=True)
class UnitObservation:
    """Records of one unit from one poll; `reason` is a sentence wherever outcome is not ANSWERED.

    `others` are port watts from further sources, best first: for where the one in `records` turns out to be wrong.
    `pace_note` says so where the unit is asked less often than others.
    """

    unit: str
    began_s: float
    ended_s: float
    outcome: Outcome
    reason: str
    records: tuple[Record, ...]
    requests: int = 0
    others: tuple[Record, ...] = ()
    pace_note: str = ""
    index: dict[tuple[str | None, Quantity], Record] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        index = {(record.port, record.quantity): record for record in self.records if record.supply is None}
        object.__setattr__(self, "index", index)

    def get(self, port: str | None, quantity: Quantity) -> Record | None:
        """Return the record of a quantity, None where the poll did not ask for it."""
        return self.index.get((port, quantity))

    def number(self, port: str | None, quantity: Quantity) -> float | None:
        """Return a quantity as a number, None where it is unknown."""
        record = self.index.get((port, quantity))
        return None if record is None else record.number()

    def text(self, port: str | None, quantity: Quantity) -> str | None:
        """Return a quantity as a text, None where it is unknown."""
        record = self.index.get((port, quantity))
        return None if record is None or record.value is None else str(record.value)

    def ports(self) -> tuple[str, ...]:
        """Return the printed numbers of all ports that any record is about, in the order of the records."""
        seen: dict[str, None] = {}
        for record in self.records:
            if record.port is not None:
                seen.setdefault(record.port)
        return tuple(seen)

    def supplies(self) -> tuple[str, ...]:
        """Return the names of all supply modules that any record is about, in the order of the records."""
        return tuple(dict.fromkeys(record.supply for record in self.records if record.supply is not None))

    def of_supply(self, supply: str, quantity: Quantity) -> Record | None:
        """Return the record of a supply module's quantity, None where the poll did not tell it."""
        mine = (record for record in self.records if record.supply == supply)
        return next((record for record in mine if record.quantity is quantity), None)
