"""What the site promised to survive, held against what a failure does."""

from __future__ import annotations

from collections.abc import Sequence

from portdraw.plan.site import MustSurvive
from portdraw.powerflow.failure import SINGLE_PROMISE, Failure, FailureKind
from portdraw.powerflow.failure_result import Outcome, Place, Verdict
from portdraw.powerflow.network import Network
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.unit_flow import CarriedBy

_NAMED = 6
_NOT_JUDGED = Verdict(Outcome.NOT_JUDGED, (), (), ())
_SURVIVED = Verdict(Outcome.SURVIVED, (), (), ())


def judged(
    network: Network,
    failure: Failure,
    solution: Solution,
    dark: Sequence[Place],
    may: Sequence[Place],
    minutes: float | None,
    battery: str,
) -> Verdict:
    """The verdict on one failure.

    Any single failure: devices up to the promised criticality, but for those that only the failed thing could
    power. All unbacked AC: devices up to the promised criticality, none left out, and the minutes of the batteries.
    """
    promise = network.site.policy.must_survive
    level = _level(promise, failure)
    if level is None:
        return _NOT_JUDGED
    single = failure.kind is not FailureKind.ALL_UNBACKED_AC
    cut_off = {at for at, _ in (*dark, *may) if single and solution.standing(at).leg is CarriedBy.NONE}
    alone = [place for place in (*dark, *may) if place[0] in cut_off] if cut_off else []
    gone = [place for place in dark if place[0] not in cut_off and _counts(network, place, level)]
    perhaps = [place for place in may if place[0] not in cut_off and _counts(network, place, level)]
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
    return 3 if promise.any_single == "all" else promise.any_single


def _counts(network: Network, place: Place, level: int) -> bool:
    return network.units[place[0]].ports[place[1]].criticality <= level


def _holds(network: Network, at: int, level: int) -> bool:
    return any(port.device is not None and port.criticality <= level for port in network.units[at].ports)


def _names(network: Network, places: Sequence[Place]) -> str:
    names = [network.units[at].ports[port].device or "" for at, port in places]
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(names[:_NAMED]) + more
