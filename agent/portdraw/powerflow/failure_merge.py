"""Puts together what a failure does in each part of the site, with the circuits and UPS that see all of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from operator import itemgetter
from typing import TypeVar

from portdraw.powerflow.failure import Failure, FailureKind, ups_input
from portdraw.powerflow.failure_reader import Base, Effect, Given, worst_of
from portdraw.powerflow.failure_result import FailureResult
from portdraw.powerflow.limit_state import LimitState, source_limit
from portdraw.powerflow.load import DARK
from portdraw.powerflow.network import Network
from portdraw.powerflow.shedding import STEP_W
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.source_load import minutes_at, source_watts
from portdraw.powerflow.verdict import judged

Gives = Callable[[str], Given]
_Item = TypeVar("_Item", int, tuple[int, int])
_SHARE_STEP = 1e-9  # of arithmetic
_NOTHING = Effect((), (), (), (), (), (), (), (), (), (), (), (), None, (), (), (), ())
_by_unit = itemgetter(0)


def merged(effects: Sequence[Effect]) -> Effect:
    """Several parts as one."""
    if len(effects) < 2:
        return effects[0] if effects else _NOTHING
    gives = _summed([one.gives for one in effects])
    apart = any(one.may_give is not one.gives for one in effects)
    return Effect(
        touched=_together([one.touched for one in effects]),
        dark=tuple([places for one in effects for places in one.dark]),
        may=tuple([places for one in effects for places in one.may]),
        cut_off=_together([one.cut_off for one in effects]),
        dark_units=_together([one.dark_units for one in effects]),
        degraded=_together([one.degraded for one in effects]),
        moved=_together([one.moved for one in effects]),
        one_leg=_together([one.one_leg for one in effects]),
        restarts=_together([one.restarts for one in effects]),
        may_restart=_together([one.may_restart for one in effects]),
        powers=_together([one.powers for one in effects]),
        reasons=tuple(sorted((line for one in effects for line in one.reasons), key=_by_unit)),
        worst=worst_of([one.worst for one in effects if one.worst is not None]),
        over=tuple(sorted((limit for one in effects for limit in one.over), key=_by_unit)),
        shed_by=tuple(sorted((limit for one in effects for limit in one.shed_by), key=_by_unit)),
        gives=gives,
        may_give=_summed([one.may_give for one in effects]) if apart else gives,
    )


def _together(columns: list[tuple[_Item, ...]]) -> tuple[_Item, ...]:
    found = [item for column in columns for item in column]
    found.sort()
    return tuple(found)


def _summed(columns: list[tuple[tuple[str, float, float], ...]]) -> tuple[tuple[str, float, float], ...]:
    found: dict[str, Given] = {}
    for column in columns:
        for source, drawn, booked in column:
            more = found.get(source)
            found[source] = (drawn, booked) if more is None else (more[0] + drawn, more[1] + booked)
    return tuple((source, drawn, booked) for source, (drawn, booked) in found.items())


def result_by_part(base: Base, failure: Failure, effect: Effect) -> FailureResult:
    """The result of what was worked out part by part; circuits and UPS give by how much more or less they do."""
    gives = _After(base, failure, base.given, effect.gives).gives
    if base.bounds is base.likely and effect.may_give is effect.gives:
        return _result(base, failure, effect, gives, gives)
    return _result(base, failure, effect, gives, _After(base, failure, base.may_give, effect.may_give).gives)


def result_of_whole(
    base: Base, failure: Failure, effect: Effect, likely: Solution, bounds: Solution
) -> FailureResult:
    """The result of what was solved in one piece; circuits and UPS are summed up anew."""
    return _result(
        base, failure, effect, lambda name: source_watts(likely, name), lambda name: source_watts(bounds, name)
    )


class _After:
    """What circuits and UPS give after a failure, from what they gave before."""

    def __init__(self, base: Base, failure: Failure, before: Gives, more: Sequence[tuple[str, float, float]]) -> None:
        lost = failure.after or failure.outage
        self._network, self._before = base.likely.network, before
        self._out, self._inputs_out = lost.sources, lost.inputs
        self._inputs_out_before = base.likely.outage.inputs
        self._more = {one[0]: one for one in more}

    def gives(self, name: str) -> Given:
        """Watts that a circuit or UPS gives, drawn and booked; nothing where it is out."""
        if name in self._out:
            return (0.0, 0.0)
        drawn_w, booked_w = self._before(name)
        more = self._more.get(name)
        if more is not None:
            drawn_w, booked_w = drawn_w + more[1], booked_w + more[2]
        for ups in self._network.ups_on.get(name, ()):
            if ups_input(ups) in self._inputs_out_before:
                continue
            was = self._before(ups)
            now = (0.0, 0.0) if ups_input(ups) in self._inputs_out else self.gives(ups)
            efficiency = self._network.site.ups[ups].efficiency
            drawn_w += (now[0] - was[0]) / efficiency
            booked_w += (now[1] - was[1]) / efficiency
        return (drawn_w, booked_w)


def _result(base: Base, failure: Failure, effect: Effect, gives: Gives, may_give: Gives) -> FailureResult:
    network = base.likely.network
    over = [limit for _, limit in effect.over]
    limits = [] if effect.worst is None else [effect.worst]
    newly = _newly_on_battery(network, failure)
    for limit in _source_limits(base, failure, effect, newly, gives):
        if limit.over:
            over.append(limit)
        limits.append(limit)
    worst = worst_of(limits)
    keep = network.site.policy.margin_after_failure_percent
    minutes, battery = _battery(base, failure, newly, may_give)
    return FailureResult(
        network=network,
        failure=failure,
        dark_by_part=effect.dark,
        may_by_part=effect.may,
        dark_at_base=base.dark,
        may_at_base=base.may,
        dark_unit_numbers=effect.dark_units,
        unreachable_numbers=_unreachable(base, failure, effect),
        degraded_numbers=effect.degraded,
        moved_numbers=effect.moved,
        one_leg_numbers=effect.one_leg,
        restart_numbers=effect.restarts,
        may_restart_numbers=effect.may_restart,
        touched_numbers=effect.touched,
        worst=worst,
        over=tuple(over),
        margin_used=worst is not None and worst.share > 1 - keep / 100 + _SHARE_STEP,
        minutes=minutes,
        battery=battery,
        reasons=tuple([line for _, line in effect.reasons]),
        verdict=judged(network, failure, effect.cut_off, effect.dark, effect.may, minutes, battery),
        shed_by=tuple([limit for _, limit in effect.shed_by]),
    )


def _source_limits(
    base: Base, failure: Failure, effect: Effect, newly: Sequence[str], gives: Gives
) -> Iterator[LimitState]:
    """Limits of circuits and UPS that give more than before, or give from a battery."""
    site = base.likely.network.site
    out, lost = base.likely.outage.sources, (failure.after or failure.outage).sources
    wanted = dict.fromkeys(source for source, drawn, booked in effect.gives if drawn > 0.0 or booked > 0.0)
    wanted.update(dict.fromkeys(newly))
    for ups in [name for name in wanted if name in site.ups]:
        wanted[site.ups[ups].input] = None
    for name in wanted:
        if name in out or name in lost:
            continue
        drawn_w, booked_w = gives(name)
        if max(drawn_w, booked_w) > max(base.given(name)) + STEP_W or name in newly:
            yield source_limit(site, name, drawn_w, booked_w)


def _newly_on_battery(network: Network, failure: Failure) -> Sequence[str]:
    """UPS that lose their input by this failure."""
    inputs = (failure.after or failure.outage).inputs
    if not inputs:
        return ()
    found = [ups for name in inputs for ups in network.ups_on.get(name, ())]
    if failure.kind is FailureKind.UPS_INPUT:
        found.append(failure.subject)
    return found


def _battery(base: Base, failure: Failure, newly: Sequence[str], may_give: Gives) -> tuple[float | None, str]:
    """The UPS that gives out first, at the most that it may have to give."""
    if not newly and not base.on_battery:
        return (None, "")
    out, lost = base.likely.outage.sources, (failure.after or failure.outage).sources
    site = base.likely.network.site
    names = [name for name in (*base.on_battery, *newly) if name not in out and name not in lost]
    return min(((minutes_at(site.ups[name], may_give(name)[0]), name) for name in names), default=(None, ""))


def _unreachable(base: Base, failure: Failure, effect: Effect) -> tuple[int, ...]:
    """Units that keep their power, and whose data ran through what is gone."""
    if not effect.dark_units and not failure.data_cut:
        return ()
    data_children = base.likely.network.data_children
    waiting = [child for at in effect.dark_units for child in data_children[at]]
    waiting.extend(failure.data_cut)
    powers = dict(effect.powers) if waiting else {}
    seen: set[int] = set()
    found: list[int] = []
    while waiting:
        at = waiting.pop()
        if at in seen:
            continue
        seen.add(at)
        power = powers.get(at)
        if (base.likely.power(at) if power is None else power) != DARK:
            found.append(at)
        waiting.extend(data_children[at])
    return tuple(sorted(found))
