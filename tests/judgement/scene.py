"""The ferry terminal's answers, made up for the tests: each unit as it would be polled in a given state of its AC."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import portdraw.rehearsal
from portdraw.judgement.assessment import SiteAssessment
from portdraw.judgement.foresight import foreseen
from portdraw.judgement.look_ahead import AheadMemory, NightDraws, look_ahead
from portdraw.observation.record import Basis, PortState, PowerSource, Quantity, Record
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.load_case import Case, case_now
from portdraw.plan.loader import load_site
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.network import network_of
from portdraw.powerflow.planned_device import planned_device_w
from portdraw.powerflow.solve import solve
from portdraw.powerflow.state import today
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
    network = network_of(site, tree)
    solved = solve(network, planned_load(network, case), today(network, circuits=lost_circuits))
    on_feed = {unit.name: solved.standing(unit.index).leg is CarriedBy.FEED for unit in network.units}
    feeder_w = {
        (network.units[feed.feeder].name, network.units[feed.feeder].ports[feed.at].key): ask.most_w
        for unit in network.units
        for feed, ask in zip(unit.feeds, solved.demand(unit.index).feeds, strict=True)
    }
    found: dict[str, UnitObservation] = {}
    for name, unit in site.units.items():
        records: list[Record] = []
        for key, port in unit.ports.items():
            if port.feeds_unit is not None:
                word = PowerSource.PSE if on_feed[port.feeds_unit] else PowerSource.BOTH
                records += delivering(key, feeder_w[name, key], time_s)
                records.append(record(key, Quantity.PORT_PD_SOURCE, word, time_s))
            elif port.device is not None:
                records += delivering(key, planned_device_w(site, name, key, case).pse_w, time_s)
        if tree.feeder_of(name) is not None:
            own = PowerSource.PSE if on_feed[name] else PowerSource.BOTH
            records.append(record(None, Quantity.UNIT_OWN_SOURCE, own, time_s))
        found[name] = answer(name, time_s, *records)
    return found


def with_what_fails_next(
    site: Site, seen: SiteAssessment, tonight: NightDraws | None = None, memory: AheadMemory | None = None
) -> SiteAssessment:
    """The assessment with its failures studied."""
    case = case_now(site, seen.time_s)
    ahead, _ = look_ahead(site, Tree(site), seen.units, case, tonight, memory or AheadMemory())
    return foreseen(seen, ahead)


def changed(
    found: Mapping[str, UnitObservation], unit: str, *records: Record, without: tuple[str, ...] = ()
) -> dict[str, UnitObservation]:
    """The same answers with some records of a unit replaced or added, and some of its ports left out."""
    new = {(one.port, one.quantity): one for one in found[unit].records if one.port not in without}
    new.update({(one.port, one.quantity): one for one in records})
    return {**found, unit: replace(found[unit], records=tuple(new.values()))}
