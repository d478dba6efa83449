"""False redundancy: units whose two legs are one further up.

Three grades. Both legs below the same circuit or panel, with neither battery nor generator between: false. Meeting
above a battery: time-limited, for as long as the battery lasts after the failure. Meeting only at the incomer: said
once for the site.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from portdraw.powerflow.load import Load
from portdraw.powerflow.network import NetUnit, Network
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.solve import solve
from portdraw.powerflow.source_load import battery_minutes
from portdraw.powerflow.sources import dead_circuits, incomer_of
from portdraw.powerflow.state import today


class Grade(StrEnum):
    """How bad it is that two legs meet."""

    FALSE = "false redundancy"
    TIME_LIMITED = "time-limited redundancy"
    INCOMER_ONLY = "one incomer"


@dataclass(frozen=True, slots=True)
class Meeting:
    """Where the legs of units meet. `unit` is empty for the whole site; `minutes` of a battery, at this load; None
    where there is none, or where a part of the load is not known."""

    grade: Grade
    unit: str
    meets_at: str
    minutes: float | None
    sentence: str


def false_redundancy(network: Network, load: Load) -> tuple[Meeting, ...]:
    """All units with two legs that meet, worst first in the order of the file; then the incomers."""
    found: list[Meeting] = []
    at_incomer: dict[str, int] = {}
    roots = _roots(network)
    for name in network.site.units:
        unit = network.units[network.index[name]]
        if not unit.sources or not unit.feeds:
            continue
        ac = frozenset(unit.sources)
        feed = frozenset(source for one in unit.feeds for source in roots[one.feeder])
        met = _meet(network, unit, ac, feed, load)
        if met is not None:
            found.append(met)
            continue
        for incomer in _incomers(network, ac) & _incomers(network, feed):
            at_incomer[incomer] = at_incomer.get(incomer, 0) + 1
    order = list(Grade)
    found.sort(key=lambda meeting: order.index(meeting.grade))
    for incomer, count in at_incomer.items():
        units = "1 unit has" if count == 1 else f"{count} units have"
        said = f"{units} two legs that meet at the incomer {incomer} alone: with it both are lost, batteries aside."
        found.append(Meeting(Grade.INCOMER_ONLY, "", incomer, None, said))
    return tuple(found)


def _roots(network: Network) -> dict[int, frozenset[str]]:
    """Circuits and UPS that power each unit in the end, over its own supplies and over its feeds."""
    found: dict[int, frozenset[str]] = {}
    for unit in reversed(network.units):
        roots = set(unit.sources)
        for feed in unit.feeds:
            roots |= found[feed.feeder]
        found[unit.index] = frozenset(roots)
    return found


def _meet(network: Network, unit: NetUnit, ac: frozenset[str], feed: frozenset[str], load: Load) -> Meeting | None:
    """The lowest thing whose loss takes both legs, batteries aside; None if none does."""
    site = network.site
    if len(ac | feed) == 1 and next(iter(ac)) in site.ups:
        name = next(iter(ac))
        said = f"both legs of {unit.name} hang on {name}, below its battery: when it goes, both go."
        return Meeting(Grade.FALSE, unit.name, name, None, said)
    for kind, names in (("circuit", site.circuits), ("panel", site.panels)):
        for name in names:
            dead = dead_circuits(site, {name}, generators_run=True)
            if not _all_below(network, ac, dead) or not _all_below(network, feed, dead):
                continue
            where = f"{kind} {name}"
            batteries = sorted(source for source in ac | feed if source in site.ups)
            if not batteries:
                said = f"both legs of {unit.name} hang on {where}: when it goes, both go."
                return Meeting(Grade.FALSE, unit.name, where, None, said)
            minutes = _minutes(network, load, dead, batteries)
            left = "how long it lasts can't be said: a part of its load is not known" if minutes is None else ""
            said = (
                f"both legs of {unit.name} hang on {where}, behind {' and '.join(batteries)}: "
                f"when it goes, {left or f'{minutes:.0f} min are left'}."
            )
            return Meeting(Grade.TIME_LIMITED, unit.name, where, minutes, said)
    return None


def _all_below(network: Network, sources: frozenset[str], dead: frozenset[str]) -> bool:
    """Whether all sources lose their input with some circuits."""
    ups = network.site.ups
    return bool(sources) and all((ups[name].input if name in ups else name) in dead for name in sources)


def _minutes(network: Network, load: Load, dead: frozenset[str], batteries: list[str]) -> float | None:
    """How long the later of two legs lasts, None where a part of what hangs on a battery can't be worked out."""
    solution = solve(network, load, today(network, circuits=dead), bounds=not load.exact)
    if any(_unknown(solution, at) for name in batteries for at in _below(network, name)):
        return None
    return max(battery_minutes(solution, name) for name in batteries)


def _below(network: Network, source: str) -> set[int]:
    """Units that a source powers, directly or over feeds."""
    found: set[int] = set()
    waiting = [at for at, _ in network.supplies_on.get(source, ())]
    while waiting:
        at = waiting.pop()
        if at not in found:
            found.add(at)
            waiting.extend(port.child for port in network.units[at].feed_ports)
    return found


def _unknown(solution: Solution, at: int) -> bool:
    """Whether watts of a unit or of a load on it can't be known: they are in no sum."""
    return at in solution.network.uncomputed or bool(solution.load.units[at].reasons or solution.demand(at).reasons)


def _incomers(network: Network, sources: frozenset[str]) -> frozenset[str]:
    site = network.site
    found: set[str] = set()
    for name in sources:
        circuit = site.ups[name].input if name in site.ups else name
        if circuit in site.circuits:
            incomer = incomer_of(site, site.circuits[circuit].panel)
            if incomer is not None:
                found.add(incomer)
    return frozenset(found)
