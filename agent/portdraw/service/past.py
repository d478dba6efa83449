"""Writes days that lie before an agent's start through the normal path: records, judging, alarms, history.

For rehearsals: each row is what one unit's agent would have told. Nothing is written beside the cycle that the
running agent uses, so that trends, audits and alarms have the same makers as on a real site.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from itertools import groupby
from typing import Protocol

from portdraw.history.store import History
from portdraw.observation.record import Basis, PowerSource, Quantity, Record
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.service.cycle import Cycle

_SOURCES = {"both": PowerSource.BOTH, "pse": PowerSource.PSE, "local": PowerSource.LOCAL}
_TOTALS_ONLY = "this unit does not tell the port draw"


class PastRow(Protocol):
    """What one unit told at one time (site clock, seconds since the epoch); watts at the PSE output.

    `port_w` holds None where the unit does not tell a port's watts. `power_source` is "both", "pse", "local", or
    None where the unit says nothing. `watt_source` names the object behind `port_w`.
    """

    @property
    def time_s(self) -> float: ...
    @property
    def unit(self) -> str: ...
    @property
    def port_w(self) -> Mapping[str, float | None]: ...
    @property
    def port_state(self) -> Mapping[str, str]: ...
    @property
    def total_w(self) -> float: ...
    @property
    def budget_w(self) -> float: ...
    @property
    def power_source(self) -> str | None: ...
    @property
    def watt_source(self) -> str | None: ...


def write_past(
    rows: Iterable[PastRow],
    site: Site,
    history: History,
    every_s: float,
    on_step: Callable[[float], None] | None = None,
) -> None:
    """Write rows (oldest first) as cycles of `every_s` seconds, marked EMULATED. Raises HistoryError."""
    cycle = Cycle(site, every_s, history, (), emulated=True, studies=False)
    tree = Tree(site)
    for time_s, together in groupby(rows, key=lambda row: row.time_s):
        told = list(together)
        sources = {row.unit: row.power_source for row in told}
        for row in told:
            cycle.take(_observation(row, tree, sources))
        cycle.run(time_s)
        if on_step is not None:
            on_step(time_s)


def _observation(row: PastRow, tree: Tree, sources: Mapping[str, str | None]) -> UnitObservation:
    records = [
        _record(None, Quantity.UNIT_DRAW, float(row.total_w), "W", Basis.MEASURED, "emulated total", row.time_s),
        _record(None, Quantity.UNIT_BUDGET, float(row.budget_w), "W", Basis.MEASURED, "emulated budget", row.time_s),
    ]
    if row.power_source is not None:
        source = _SOURCES[row.power_source]
        records.append(_record(None, Quantity.UNIT_OWN_SOURCE, source, "", None, "emulated LLDP", row.time_s))
    for port, state in row.port_state.items():
        records.append(_record(port, Quantity.PORT_STATE, state, "", None, "emulated state", row.time_s))
        watts = row.port_w.get(port)
        if watts is None:
            records.append(Record(port, Quantity.PORT_DRAW, None, "W", None, "", row.time_s, _TOTALS_ONLY))
        else:
            name = row.watt_source or ""
            records.append(_record(port, Quantity.PORT_DRAW, watts, "W", Basis.MEASURED, name, row.time_s))
    for child in tree.children(row.unit):
        feeder = tree.feeder_of(child)
        told = sources.get(child)
        if feeder is not None and told is not None:
            source = _SOURCES[told]
            records.append(_record(feeder[1], Quantity.PORT_PD_SOURCE, source, "", None, "emulated LLDP", row.time_s))
    return UnitObservation(row.unit, row.time_s, row.time_s, Outcome.ANSWERED, "", tuple(records))


def _record(
    port: str | None,
    quantity: Quantity,
    value: float | str,
    unit: str,
    basis: Basis | None,
    source: str,
    time_s: float,
) -> Record:
    return Record(port, quantity, value, unit, basis, source, time_s)
