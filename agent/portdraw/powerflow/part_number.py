"""Which units hang together through feeds."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def part_numbers(feeders: Sequence[Iterable[int]]) -> tuple[int, ...]:
    """Number the parts: for each unit the smallest number among all that hang together with it.

    `feeders` has for each unit those that feed it.
    """
    head = list(range(len(feeders)))

    def find(at: int) -> int:
        while head[at] != at:
            head[at] = head[head[at]]
            at = head[at]
        return at

    for at, above in enumerate(feeders):
        for feeder in above:
            one, other = sorted((find(at), find(feeder)))
            head[other] = one
    return tuple(find(at) for at in range(len(feeders)))
