"""The setting that would mend what a failure darkens: searched for, and proven by solving again.

Tried are a port's priority, one port at a time, and two ports changing places where the unit sheds by port number.
Nothing is proposed that was not solved. A setting counts as better when it keeps more of the most critical devices;
among those the smallest step comes first, then what keeps most of the rest.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from portdraw.powerflow.demand import NO_PORTS
from portdraw.powerflow.failure import Failure
from portdraw.powerflow.failure_reader import Base
from portdraw.powerflow.failure_result import FailureResult
from portdraw.powerflow.failure_study import base_state, study_one
from portdraw.powerflow.network import NetUnit, Network
from portdraw.powerflow.shedding import Ranked, shed_groups
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.solve import solve_after

_PRIORITIES = ("critical", "high", "low")
_MOST_TRIED = 400


@dataclass(frozen=True, slots=True)
class Mend:
    """One setting. `keeps` are devices that stay by it and went dark without it, `loses` the other way round.

    `dark` is how many devices are dark with it; `served_w` what the unit gives then [W at its PSE output].
    """

    unit: str
    port: str
    setting: str
    keeps: tuple[str, ...]
    loses: tuple[str, ...]
    dark: int
    served_w: float

    @property
    def sentence(self) -> str:
        """The setting and what it is good for."""
        kept = ", ".join(self.keeps[:3]) + (f" and {len(self.keeps) - 3} more" if len(self.keeps) > 3 else "")
        return f"{self.unit} port {self.port} {self.setting} keeps {kept}"


def find_mend(base: Base, result: FailureResult) -> Mend | None:
    """The best single setting for one failure, None where none helps.

    `result` is of `base`. The search looks at units that shed something in this failure.
    """
    if not result.dark_ports and not result.may_ports:
        return None
    best: tuple[tuple[float, ...], Mend] | None = None
    before = _count(result)
    tried = 0
    for unit, port, setting, step, changed in _candidates(base, result.failure):
        tried += 1
        if tried > _MOST_TRIED:
            break
        found = _with(base, changed, result.failure)
        after = _count(found[0])
        if after >= before:
            continue
        rank = (after[0], step, *after[1:])
        if best is None or rank < best[0]:
            best = (rank, _mend(unit, port, setting, result, found))
    return None if best is None else best[1]


def _count(result: FailureResult) -> tuple[float, ...]:
    """Dark devices by criticality, highest first; those that may go dark count half."""
    counts = [0.0, 0.0, 0.0]
    for places, weight in ((result.dark_ports, 1.0), (result.may_ports, 0.5)):
        for at, port in places:
            counts[result.network.units[at].ports[port].criticality - 1] += weight
    return tuple(counts)


def _candidates(base: Base, failure: Failure) -> Iterator[tuple[NetUnit, str, str, float, NetUnit]]:
    solution = solve_after(base.bounds, failure.outage, failure.hit)
    for at in solution.touched:
        unit = solution.network.units[at]
        if not _sheds(solution, base.bounds, at):
            continue
        if unit.rule in ("priority-then-highest-port", "lowest-priority-bank"):
            yield from _priorities(unit)
        elif unit.rule == "highest-port":
            yield from _places(unit, solution.demand(at).may_cut)


def _sheds(solution: Solution, before: Solution, at: int) -> bool:
    return bool(solution.demand(at).may_cut - before.demand(at).may_cut) or bool(solution.shed.get(at, NO_PORTS))


def _priorities(unit: NetUnit) -> Iterator[tuple[NetUnit, str, str, float, NetUnit]]:
    for port, ranked in zip(unit.ports, unit.ranked, strict=True):
        if port.device is None and port.child < 0:
            continue
        for rank, name in enumerate(_PRIORITIES):
            if rank != ranked.rank:
                setting = f"from {_PRIORITIES[ranked.rank]} to {name}"
                yield (
                    unit,
                    port.key,
                    setting,
                    abs(rank - ranked.rank),
                    _ranked(unit, {port.at: replace(ranked, rank=rank)}),
                )


def _places(unit: NetUnit, cut: frozenset[int]) -> Iterator[tuple[NetUnit, str, str, float, NetUnit]]:
    for port in unit.ports:
        if port.at not in cut:
            continue
        for other in unit.ports:
            if other.at in cut or (other.device is None and other.child < 0):
                continue
            one, two = unit.ranked[port.at], unit.ranked[other.at]
            swap = {port.at: replace(one, number=two.number), other.at: replace(two, number=one.number)}
            yield unit, port.key, f"and port {other.key} changing places", 1.0, _ranked(unit, swap)


def _ranked(unit: NetUnit, changes: dict[int, Ranked]) -> NetUnit:
    ranked = tuple(changes.get(one.at, one) for one in unit.ranked)
    return replace(unit, ranked=ranked, groups=shed_groups(unit.rule, ranked), memo={})


def _with(base: Base, changed: NetUnit, failure: Failure) -> tuple[FailureResult, float]:
    network = base.likely.network
    units = tuple(changed if unit.index == changed.index else unit for unit in network.units)
    other: Network = replace(network, units=units)
    after = base_state(other, base.likely.load, base.likely.outage)
    result = study_one(after, failure)
    solution = solve_after(after.likely, failure.outage, failure.hit)
    return result, solution.demand(changed.index).served_w


def _mend(unit: NetUnit, port: str, setting: str, result: FailureResult, found: tuple[FailureResult, float]) -> Mend:
    was, now = {*result.dark, *result.may_go_dark}, {*found[0].dark, *found[0].may_go_dark}
    return Mend(
        unit=unit.name,
        port=port,
        setting=setting,
        keeps=tuple(name for name in (*result.dark, *result.may_go_dark) if name not in now),
        loses=tuple(name for name in (*found[0].dark, *found[0].may_go_dark) if name not in was),
        dark=len(found[0].dark),
        served_w=found[1],
    )
