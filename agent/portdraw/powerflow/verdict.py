"""What the site promised to survive, held against what a failure does."""

from __future__ import annotations

from collections.abc import Sequence

from portdraw.plan.site import MustSurvive
from portdraw.powerflow.failure import SINGLE_PROMISE, Failure, FailureKind
from portdraw.powerflow.failure_result import Outcome, Place, Verdict, in_order
from portdraw.powerflow.network import Network

LOWEST_CRITICALITY = 3
_NAMED = 6
_NOT_JUDGED = Verdict(Outcome.NOT_JUDGED, (), (), ())
_SURVIVED = Verdict(Outcome.SURVIVED, (), (), ())


def judged(
    network: Network,
    failure: Failure,
    out_of_legs: Sequence[int],
    dark_by_part: tuple[tuple[Place, ...], ...],
    may_by_part: tuple[tuple[Place, ...], ...],
    minutes: float | None,
    battery: str,
) -> Verdict:
    """The verdict on one failure.

    Any single failure: devices up to the promised criticality, but for those that only the failed thing could
    power: those of the units in `out_of_legs`, which no leg is left to. All unbacked AC: devices up to the promised
    criticality, none left out, and the minutes of the batteries.
    """
    promise = network.site.policy.must_survive
    level = _level(promise, failure)
    if level is None:
        return _NOT_JUDGED
    dark, may = in_order(dark_by_part), in_order(may_by_part)
    single = failure.kind is not FailureKind.ALL_UNBACKED_AC
    if not dark and not may and minutes is None and not network.uncomputed:
        return _SURVIVED
    cut_off = set(out_of_legs) if single else set()
    alone = [place for place in (*dark, *may) if place[0] in cut_off] if cut_off else []
    gone = _promised(network, dark, level, cut_off)
    perhaps = _promised(network, may, level, cut_off)
    reasons: list[str] = []
    outcome = Outcome.SURVIVED
    if perhaps:
        outcome = Outcome.MAY_NOT_SURVIVE
        reasons.append(f"may go dark: {_names(network, perhaps)}")
    if gone:
        outcome = Outcome.NOT_SURVIVED
        reasons.insert(0, f"goes dark: {_names(network, gone)}")
    needed = promise.all_unbacked_ac
    if not single and needed is not None and minutes is not None and minutes < needed.minutes:
        outcome = Outcome.NOT_SURVIVED
        reasons.append(f"{battery} lasts {minutes:.0f} min of the {needed.minutes:g} min promised")
    unknown = [at for at in network.uncomputed if _holds(network, at, level)]
    if unknown:
        outcome = Outcome.NOT_SURVIVED
        reasons.extend(network.uncomputed[at] for at in unknown)
    if outcome is Outcome.SURVIVED and not alone:
        return _SURVIVED
    return Verdict(
        outcome,
        tuple(reasons),
        tuple(network.units[at].ports[port].device or "" for at, port in (*gone, *perhaps)),
        tuple(network.units[at].ports[port].device or "" for at, port in alone),
    )


def _level(promise: MustSurvive, failure: Failure) -> int | None:
    """The criticality up to which devices must stay, None where nothing is promised."""
    if failure.kind is FailureKind.ALL_UNBACKED_AC:
        return None if promise.all_unbacked_ac is None else promise.all_unbacked_ac.criticality_up_to
    if failure.kind not in SINGLE_PROMISE or promise.any_single == "none":
        return None
    return LOWEST_CRITICALITY if promise.any_single == "all" else promise.any_single


def _promised(network: Network, places: Sequence[Place], level: int, cut_off: set[int]) -> Sequence[Place]:
    """Those of some devices that the promise is about."""
    if level == LOWEST_CRITICALITY and not cut_off:
        return places
    units = network.units
    return [(at, port) for at, port in places if at not in cut_off and units[at].ports[port].criticality <= level]


def _holds(network: Network, at: int, level: int) -> bool:
    return any(port.device is not None and port.criticality <= level for port in network.units[at].ports)


def _names(network: Network, places: Sequence[Place]) -> str:
    names = [network.units[at].ports[port].device or "" for at, port in places[:_NAMED]]
    more = f" and {len(places) - _NAMED} more" if len(places) > _NAMED else ""
    return ", ".join(names) + more
