"""The ferry terminal's answers, made up for the tests: each unit as it would be polled in a given state of its AC."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import portdraw.rehearsal
from portdraw.observation.record import Basis, PortState, PowerSource, Quantity, Record
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.load_case import Case
from portdraw.plan.loader import load_site
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.powerflow.planned_device import planned_device_w
from portdraw.powerflow.roll_up import roll_up
from portdraw.powerflow.unit_flow import CarriedBy

NIGHT_S = 1_772_489_160.0  # 2026-03-02 22:06:00 in the Atlantic/Faroe zone (UTC+0 in winter), within the site's night
EVERY_S = 30.0


def ferry_terminal() -> Site:
    """The ferry terminal's site file, as the package ships it."""
    return load_site(Path(portdraw.rehearsal.__path__[0]) / "site.yaml")


def record(
    port: str | None,
    quantity: Quantity,
    value: float | int | str | None,
    read_s: float,
    basis: Basis | None = None,
    missing: str | None = None,
) -> Record:
    """One record; watts are measured unless said otherwise."""
    watts = quantity in (Quantity.PORT_DRAW, Quantity.PORT_GRANTED, Quantity.UNIT_DRAW, Quantity.UNIT_BUDGET)
    unit = "W" if watts else ""
    return Record(port, quantity, value, unit, basis or (Basis.MEASURED if watts else None), "test", read_s, missing)


def answer(unit: str, time_s: float, *records: Record, outcome: Outcome = Outcome.ANSWERED) -> UnitObservation:
    """A poll that ended at a time."""
    return UnitObservation(unit, time_s - 1, time_s, outcome, "", tuple(records))


def silence(
    unit: str, time_s: float, outcome: Outcome = Outcome.SILENT, reason: str = "no answer within 8 s"
) -> UnitObservation:
    """A poll that brought nothing."""
    return UnitObservation(unit, time_s - 8, time_s, outcome, reason, ())


def delivering(port: str, watts: float | None, time_s: float, device_class: int | None = None) -> list[Record]:
    """The records of a port that delivers."""
    found = [record(port, Quantity.PORT_STATE, PortState.DELIVERING, time_s)]
    if watts is not None:
        found.append(record(port, Quantity.PORT_DRAW, watts, time_s))
    if device_class is not None:
        found.append(record(port, Quantity.PORT_CLASS, device_class, time_s))
    return found


def answers(
    site: Site, time_s: float, lost_circuits: frozenset[str] = frozenset(), case: Case = Case.NIGHT
) -> dict[str, UnitObservation]:
    """Every unit's answer with its planned devices on, in one case and with some circuits lost."""
    tree = Tree(site)
    flows = roll_up(site, tree, {}, lost_circuits, case)
    found: dict[str, UnitObservation] = {}
    for name, unit in site.units.items():
        records: list[Record] = []
        for key, port in unit.ports.items():
            if port.feeds_unit is not None:
                flow = flows[port.feeds_unit]
                word = PowerSource.PSE if flow.leg is CarriedBy.FEED else PowerSource.BOTH
                records += delivering(key, flow.feeder_w, time_s)
                records.append(record(key, Quantity.PORT_PD_SOURCE, word, time_s))
            elif port.device is not None:
                records += delivering(key, planned_device_w(site, name, key, case).pse_w, time_s)
        if tree.feeder_of(name) is not None:
            own = PowerSource.PSE if flows[name].leg is CarriedBy.FEED else PowerSource.BOTH
            records.append(record(None, Quantity.UNIT_OWN_SOURCE, own, time_s))
        found[name] = answer(name, time_s, *records)
    return found


def changed(
    found: Mapping[str, UnitObservation], unit: str, *records: Record, without: tuple[str, ...] = ()
) -> dict[str, UnitObservation]:
    """The same answers with some records of a unit replaced or added, and some of its ports left out."""
    new = {(one.port, one.quantity): one for one in found[unit].records if one.port not in without}
    new.update({(one.port, one.quantity): one for one in records})
    return {**found, unit: replace(found[unit], records=tuple(new.values()))}
