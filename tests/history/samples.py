"""Observations of invented switches for the tests of history."""

from __future__ import annotations

from collections.abc import Mapping

from portdraw.observation.record import Basis, PortState, Quantity, Record
from portdraw.observation.unit_observation import Outcome, UnitObservation

SOURCE = "a test"


def observation(
    unit: str,
    time_s: float,
    draws_w: Mapping[str, float | None],
    *,
    states: Mapping[str, PortState] | None = None,
    basis: Basis = Basis.MEASURED,
    total_w: float | None = None,
    budget_w: float | None = None,
    uptime_s: float | None = None,
    outcome: Outcome = Outcome.ANSWERED,
) -> UnitObservation:
    """Return what one poll brought; a draw of None is a record that says why it is missing."""
    records: list[Record] = []
    for port, draw_w in draws_w.items():
        state = (states or {}).get(port, PortState.DELIVERING)
        missing = "not told" if draw_w is None else None
        used = None if draw_w is None else basis
        records.append(Record(port, Quantity.PORT_STATE, state, "", None, SOURCE, time_s))
        records.append(Record(port, Quantity.PORT_DRAW, draw_w, "W", used, SOURCE, time_s, missing))
    for quantity, value, measure in (
        (Quantity.UNIT_DRAW, total_w, "W"),
        (Quantity.UNIT_BUDGET, budget_w, "W"),
        (Quantity.UPTIME, uptime_s, "s"),
    ):
        if value is not None:
            of = Basis.MEASURED if quantity is Quantity.UNIT_DRAW else None
            records.append(Record(None, quantity, value, measure, of, SOURCE, time_s))
    return UnitObservation(unit, time_s - 0.2, time_s, outcome, "", tuple(records))


def silent(unit: str, time_s: float) -> UnitObservation:
    """Return a poll that nobody answered."""
    return UnitObservation(unit, time_s - 8, time_s, Outcome.SILENT, "no answer within 8 s", ())
