"""Watts for ports that do not tell theirs: a share of their unit's total where that is known, else their plan."""

from __future__ import annotations

from collections.abc import Mapping


def silent_draws(largest_w: Mapping[str, float | None], total_w: float | None, told_w: float) -> dict[str, float]:
    """Return watts [W at the PSE output] for the silent ports of a unit, by port.

    `largest_w` has the most that each is planned to draw; a port of which nothing is planned (None) is left out.
    `total_w` is the unit's own total and `told_w` what its other ports tell of it: the rest is shared out by plan.
    """
    known = {port: watts for port, watts in largest_w.items() if watts is not None}
    whole_w = sum(known.values())
    if total_w is None or whole_w == 0:
        return known
    share = max(0.0, total_w - told_w) / whole_w
    return {port: watts * share for port, watts in known.items()}
