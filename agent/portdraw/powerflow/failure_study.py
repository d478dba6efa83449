"""What fails next: from a state of the site, every failure, and what each does under a load.

The state is solved once; each failure is an overlay over it that works out only the units that it touches.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from portdraw.powerflow.failure import Failure, all_unbacked_ac, circuit_pairs, single_failures
from portdraw.powerflow.failure_reader import Base, FailureReader
from portdraw.powerflow.failure_result import FailureResult, Place
from portdraw.powerflow.load import DARK, MAY, Load
from portdraw.powerflow.network import Network
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.solve import solve, solve_after
from portdraw.powerflow.source_load import on_battery
from portdraw.powerflow.standing import Standing
from portdraw.powerflow.start_up import boot_s
from portdraw.powerflow.state import NOTHING_OUT, Outage
from portdraw.powerflow.unit_flow import CarriedBy


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
        for port in unit.ports:
            if port.device is None or port.off:
                continue
            state = bounds.device_state(unit.index, port.at)
            if state == DARK:
                dark.append((unit.index, port.at))
            elif state == MAY:
                may.append((unit.index, port.at))
    battery = tuple(name for name in network.site.ups if on_battery(likely, name))
    return Base(likely, bounds, frozenset(dark), frozenset(may), battery)


def study_failures(
    network: Network,
    load: Load,
    outage: Outage = NOTHING_OUT,
    *,
    pairs: bool = False,
    failures: Iterable[Failure] | None = None,
) -> FailureStudy:
    """Every single failure, then all unbacked AC, then with `pairs` every two circuits; or the `failures` given."""
    base = base_state(network, load, outage)
    wanted = _all(network, outage, pairs) if failures is None else failures
    return FailureStudy(load, base, tuple(_each(base, wanted)))


def _each(base: Base, failures: Iterable[Failure]) -> Iterator[FailureResult]:
    """A feeder port that fails takes what its cable takes but for the data, so that the answer is read off that."""
    last: FailureResult | None = None
    for failure in failures:
        if last is not None and last.failure.outage is failure.outage and not last.dark_unit_numbers:
            last = replace(last, failure=failure, unreachable_numbers=())
        else:
            last = study_one(base, failure)
        yield last


def study_one(base: Base, failure: Failure, *, whole: bool = False) -> FailureResult:
    """One failure. `whole` works every unit out anew instead of the touched ones; the result is the same."""
    likely = _after(base.likely, failure, whole)
    if base.bounds is not base.likely:
        bounds = _after(base.bounds, failure, whole)
    else:
        bounds = _after(base.likely, failure, whole, bounds=True) if likely.open else likely
    return FailureReader(base, failure, likely, bounds).result()


def solution_after(base: Base, failure: Failure) -> Solution:
    """The likely figures of the state that a failure leaves."""
    return _after(base.likely, failure, whole=False)


def _all(network: Network, outage: Outage, pairs: bool) -> Iterator[Failure]:
    yield from single_failures(network, outage)
    everything = all_unbacked_ac(network, outage)
    if everything is not None:
        yield everything
    if pairs:
        yield from circuit_pairs(network, outage)


def _after(base: Solution, failure: Failure, whole: bool, *, bounds: bool | None = None) -> Solution:
    gap = solve_after(base, failure.outage, failure.hit, whole=whole, bounds=bounds)
    if failure.after is None:
        return gap
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
        elif gone and not dark and way[at].restarted and failure.start_s < boot_s(units[at]):
            unsure[at] = gone  # it may not have booted before the generator carries it
        elif gone and not dark:
            shed[at] = gone
    more = failure.after.plus(Outage(off_ports=shed, unsure_ports=unsure))
    found = solve_after(base, more, failure.hit | set(gap.touched), whole=whole, way=way, bounds=bounds)
    for at, ports in shed.items():
        found.shed[at] = found.shed_before(at) | ports
    return found


def _names(network: Network, places: Iterable[Place]) -> tuple[str, ...]:
    return tuple(network.units[at].ports[port].device or "" for at, port in sorted(places))
