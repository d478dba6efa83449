"""How one result of the failure study is graded, and what of it is told."""

from __future__ import annotations

from math import isfinite

from portdraw.judgement.next_failure import Outlook, StudiedLoad
from portdraw.powerflow.failure_result import FailureResult, Outcome
from portdraw.powerflow.limit_state import LimitState

_BREAKS, _MAY_BREAK, _OVERLOADS, _USES_MARGIN, _DARKENS, _TAKES_ALONG, _FINE = range(7)

Grade = tuple[int, int, int, float]


def grade(result: FailureResult) -> Grade:
    """Return how bad a result is, to sort by: the smallest is the worst."""
    share = 0.0 if result.worst is None else result.worst.share
    return (_kind_of_bad(result), -len(result.dark_ports), -len(result.may_ports), -share)


def stays_over(result: FailureResult) -> tuple[LimitState, ...]:
    """Limits that stay over: what a unit sheds relieves its own budget, and nothing relieves a circuit or a UPS."""
    return tuple(one for one in result.over if not one.limit.startswith(f"{one.subject} budget"))


def outlook_of(load: StudiedLoad, result: FailureResult, assumed: tuple[str, ...]) -> Outlook:
    """Return what is told of a result; `assumed` are units whose planned watts stand in at its limit."""
    worst = result.worst
    need_w = None if worst is None or not isfinite(worst.need_w) else worst.need_w
    limit_w = None if worst is None or not isfinite(worst.limit_w) else worst.limit_w
    lacks = worst is not None and (need_w is None or limit_w is None)
    return Outlook(
        load=load,
        outcome=result.verdict.outcome,
        dark=result.dark,
        may_go_dark=result.may_go_dark,
        limit="" if worst is None else worst.limit,
        subject="" if worst is None else worst.subject,
        need_w=need_w,
        limit_w=limit_w,
        over=tuple(one.limit for one in stays_over(result)),
        tight=result.margin_used and worst is not None and not worst.over,
        minutes=result.minutes,
        battery=result.battery,
        why=result.verdict.reasons,
        highest=_highest(result),
        assumed=assumed,
        undeclared=bool(result.assumed),
        reason=(worst.reason or "it can't be worked out") if worst is not None and lacks else "",
    )


def _kind_of_bad(result: FailureResult) -> int:
    outcome = result.verdict.outcome
    if outcome is Outcome.NOT_SURVIVED:
        return _BREAKS
    if outcome is Outcome.MAY_NOT_SURVIVE:
        return _MAY_BREAK
    if outcome is Outcome.SURVIVED and stays_over(result):
        return _OVERLOADS
    if outcome is Outcome.SURVIVED and result.margin_used:
        return _USES_MARGIN
    if not result.dark_ports and not result.may_ports:
        return _FINE
    return _TAKES_ALONG if outcome is Outcome.NOT_JUDGED else _DARKENS


def _highest(result: FailureResult) -> int | None:
    broken = set(result.verdict.broken_by)
    if not broken:
        return None
    units = result.network.units
    ports = (units[at].ports[port] for at, port in (*result.dark_ports, *result.may_ports))
    return min((port.criticality for port in ports if port.device in broken), default=None)
