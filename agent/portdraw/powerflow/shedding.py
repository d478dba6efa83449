"""Which ports go, and in what order, when a unit can't give all that is asked of it.

A rule is an order of groups: one port at a time, a whole bank, or all at once. Groups go until the rest fits
(equal fits); none is skipped and none returns.

`newest-first` counts ports that asked last as newest: after a start, that is the order of start delays, and within
it the unit's own order of admission. `refuse-newcomers`
turns newcomers away; should ports that were on already outgrow the limit, the newest go, as the unit has to
protect itself. Both are common practice: makers' manuals differ.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

Rule = Literal[
    "priority-then-highest-port",
    "highest-port",
    "newest-first",
    "lowest-priority-bank",
    "refuse-newcomers",
    "all-off",
]
Groups = tuple[tuple[int, ...], ...]

STEP_W = 1e-6  # of arithmetic: a limit met exactly is met


@dataclass(frozen=True, slots=True)
class Ranked:
    """What an order needs to know of a port. `rank`: 0 critical, 1 high, 2 low; `number` sorts as people count.

    `asks` is its place among those that ask for power after a start.
    """

    at: int
    rank: int
    number: tuple[int, ...]
    asks: int = 0


def shed_groups(rule: Rule, ports: Sequence[Ranked], newcomers: Collection[int] = ()) -> Groups:
    """Return the ports in the order in which a rule turns them off, as groups that go together."""
    if rule == "all-off":
        return (tuple(port.at for port in ports),)
    if rule == "lowest-priority-bank":
        ranks = sorted({port.rank for port in ports}, reverse=True)
        return tuple(tuple(port.at for port in ports if port.rank == rank) for rank in ranks)
    if rule == "highest-port":
        order = sorted(ports, key=lambda port: port.number, reverse=True)
    elif rule == "priority-then-highest-port":
        order = sorted(ports, key=lambda port: (port.rank, port.number), reverse=True)
    else:
        order = sorted(ports, key=lambda port: (port.at in newcomers, port.asks), reverse=True)
    return tuple((port.at,) for port in order)


def groups_to_cut(groups: Groups, watts: Sequence[float], asked_w: float, limit_w: float) -> int:
    """Return how many groups go until what is left of `asked_w` fits the limit [W]."""
    left_w = asked_w
    for count, group in enumerate(groups):
        if left_w <= limit_w + STEP_W:
            return count
        for at in group:
            left_w -= watts[at]
    return len(groups)
