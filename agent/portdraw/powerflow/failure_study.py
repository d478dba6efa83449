"""What fails next: from a state of the site, every failure, and what each does under a load.

The state is solved once; each failure is an overlay over it that works out only the units that it touches.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from portdraw.powerflow.failure import Failure, FailureKind, all_unbacked_ac, circuit_pairs, single_failures
from portdraw.powerflow.failure_merge import merged, result_by_part, result_of_whole
from portdraw.powerflow.failure_reader import Base, Effect, EffectReader
from portdraw.powerflow.failure_result import FailureResult, Place
from portdraw.powerflow.leaf_change import LeafChange
from portdraw.powerflow.load import DARK, MAY, SURE, Load
from portdraw.powerflow.network import Network
from portdraw.powerflow.site_part import PartFailure, Splitter
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.solve import solve, solve_after
from portdraw.powerflow.source_load import on_battery
from portdraw.powerflow.standing import Standing
from portdraw.powerflow.start_up import boot_s
from portdraw.powerflow.state import NOTHING_OUT, Outage
from portdraw.powerflow.unit_flow import CarriedBy

Progress = Callable[[int, int], None]
_TOLD_EVERY = 100  # failures
_NEVER_TWICE = frozenset({FailureKind.PAIR, FailureKind.UNIT, FailureKind.CONTROLLER_RESTART})


@dataclass(frozen=True, slots=True)
class FailureStudy:
    """All results under one load, singles first, then all unbacked AC, then pairs.

    `dark` and `may_go_dark` are devices that are so already, before anything more fails.
    """

    load: Load
    base: Base
    results: tuple[FailureResult, ...]

    @property
    def dark(self) -> tuple[str, ...]:
        """Devices that are dark already."""
        return _names(self.base.likely.network, self.base.dark)

    @property
    def may_be_dark(self) -> tuple[str, ...]:
        """Devices that may be dark already."""
        return _names(self.base.likely.network, self.base.may)

    def of(self, what: str) -> FailureResult:
        """The result of a failure by its name. Raises KeyError where the study has none of that name."""
        for result in self.results:
            if result.failure.what == what:
                return result
        raise KeyError(what)


def base_state(network: Network, load: Load, outage: Outage = NOTHING_OUT) -> Base:
    """Solve the state that everything else is compared with."""
    likely = solve(network, load, outage)
    bounds = likely if load.exact and not likely.open else solve(network, load, outage, bounds=True)
    dark: list[Place] = []
    may: list[Place] = []
    for unit in network.units:
        at = unit.index
        for port in () if _all_lit(bounds, at) else unit.ports:
            if port.device is None or port.off:
                continue
            state = bounds.device_state(at, port.at)
            if state == DARK:
                dark.append((at, port.at))
            elif state == MAY:
                may.append((at, port.at))
    battery = tuple(name for name in network.site.ups if on_battery(likely, name))
    return Base(likely, bounds, frozenset(dark), frozenset(may), battery, Splitter(network), LeafChange(likely))


def study_failures(
    network: Network,
    load: Load,
    outage: Outage = NOTHING_OUT,
    *,
    pairs: bool = False,
    failures: Iterable[Failure] | None = None,
    progress: Progress | None = None,
) -> FailureStudy:
    """Every single failure, then all unbacked AC, then with `pairs` every two circuits; or the `failures` given.

    `progress` is told now and then how many of how many are done.
    """
    base = base_state(network, load, outage)
    wanted = tuple(_all(network, outage, pairs) if failures is None else failures)
    found: list[FailureResult] = []
    for failure in wanted:
        found.append(study_one(base, failure))
        if progress is not None and (len(found) % _TOLD_EVERY == 0 or len(found) == len(wanted)):
            progress(len(found), len(wanted))
    return FailureStudy(load, base, tuple(found))


def study_one(base: Base, failure: Failure, *, whole: bool = False) -> FailureResult:
    """One failure. `whole` works every unit out anew instead of the touched ones; the result is the same."""
    parts = None if whole else base.splitter.parts(failure)
    if parts is not None:
        return result_by_part(base, failure, merged([_effect_in(base, failure, part) for part in parts]))
    gap, likely, bounds = _solved(base, _strike_of(failure), whole)
    return result_of_whole(base, failure, EffectReader(base, gap, likely, bounds).effect(), likely, bounds)


def _effect_in(base: Base, failure: Failure, part: PartFailure) -> Effect:
    """What a failure does in one part of the site; kept where another failure may do the same."""
    found = base.effects.get(part)
    if found is not None:
        return found
    lost, after = part.outage(), part.outage_after()
    direct = None
    if after is None and base.leaves.applies and base.bounds is base.likely:
        direct = base.leaves.solve(lost, base.likely.outage.plus(lost), part.hit)
    if direct is not None:
        found = EffectReader(base, direct, direct, direct).effect()
    else:
        gap, likely, bounds = _solved(base, _Strike(lost, part.hit, after, part.start_s), whole=False)
        found = EffectReader(base, gap, likely, bounds).effect()
    if failure.kind not in _NEVER_TWICE or (failure.kind is FailureKind.PAIR and len(part.hit) < 2):
        base.effects[part] = found
    return found


def solution_after(base: Base, failure: Failure) -> Solution:
    """The likely figures of the state that a failure leaves."""
    return state_after(base.likely, failure)


def state_after(before: Solution, failure: Failure) -> Solution:
    """The state that a failure leaves, of one that is solved; where a generator takes over, with it."""
    return _after(before, _strike_of(failure), whole=False)[1]


def _all(network: Network, outage: Outage, pairs: bool) -> Iterator[Failure]:
    yield from single_failures(network, outage)
    everything = all_unbacked_ac(network, outage)
    if everything is not None:
        yield everything
    if pairs:
        yield from circuit_pairs(network, outage)


def _all_lit(solution: Solution, at: int) -> bool:
    """Whether every device of a unit has power."""
    if solution.power(at) != SURE or not solution.standing(at).gives or any(solution.ports_gone(at)):
        return False
    return min(solution.load.units[at].status, default=SURE) == SURE


class _Strike(NamedTuple):
    """What goes out and the units struck. `after` stays out once generators carry, after `start_s` seconds."""

    lost: Outage
    hit: frozenset[int]
    after: Outage | None
    start_s: float


def _strike_of(failure: Failure) -> _Strike:
    return _Strike(failure.outage, failure.hit, failure.after, failure.start_s)


def _solved(base: Base, strike: _Strike, whole: bool) -> tuple[Solution, Solution, Solution]:
    """The likely state while generators start, the one when they carry, and its bounds."""
    gap, likely = _after(base.likely, strike, whole)
    if base.bounds is not base.likely:
        return gap, likely, _after(base.bounds, strike, whole)[1]
    return gap, likely, _bounds_where_open(base.likely, strike, likely, whole) if likely.open else likely


def _bounds_where_open(base: Solution, strike: _Strike, likely: Solution, whole: bool) -> Solution:
    """The bounds in those parts of the site where something is open; in all others what is likely is sure."""
    part_of = likely.network.part_of
    parts = {part_of[at] for at in likely.open}
    inside = frozenset(at for at, part in enumerate(part_of) if part in parts)
    _, bounds = _after(base, strike._replace(hit=inside if whole else strike.hit & inside), False, bounds=True)
    bounds.take_rest(likely, inside)
    return bounds


def _after(base: Solution, strike: _Strike, whole: bool, *, bounds: bool | None = None) -> tuple[Solution, Solution]:
    """The state while generators start, and the one when they carry; the same where none does."""
    gap = solve_after(base, strike.lost, strike.hit, whole=whole, bounds=bounds)
    if strike.after is None:
        return gap, gap
    # a generator has taken over by now: what was shed while it started stays off, as long as its unit stayed on
    units = gap.network.units
    shed: dict[int, frozenset[int]] = {}
    unsure: dict[int, frozenset[int]] = {}
    way: dict[int, Standing] = {}
    for at in gap.touched:
        dark = gap.power(at) == DARK
        way[at] = gap.standing(at)._replace(leg=CarriedBy.NONE) if dark else gap.standing(at)
        gone = gap.demand(at).cut | gap.shed_before(at)
        if dark and units[at].prefers != "ac" and units[at].admission != "drawn":
            # which of its legs is there first, and what it then lets in, is not known
            unsure[at] = frozenset(port.at for port in units[at].ports)
        elif gone and not dark and way[at].restarted and strike.start_s < boot_s(units[at]):
            unsure[at] = gone  # it may not have booted before the generator carries it
        elif gone and not dark:
            shed[at] = gone
    more = strike.after.plus(Outage(off_ports=shed, unsure_ports=unsure))
    found = solve_after(base, more, strike.hit | set(gap.touched), whole=whole, way=way, bounds=bounds)
    for at, ports in shed.items():
        found.shed[at] = found.shed_before(at) | ports
    return gap, found


def _names(network: Network, places: Iterable[Place]) -> tuple[str, ...]:
    return tuple(network.units[at].ports[port].device or "" for at, port in sorted(places))
