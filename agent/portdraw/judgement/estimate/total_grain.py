"""How a unit makes its total whole: by which grain, and whether it truncates, rounds or goes up. Inferred, not asked.

RFC 3621 gives pethMainPseConsumptionPower in whole watts and does not say how; agents do all three. Only the bias
tells them apart: a truncated total is half a grain low in the mean.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum


class Told(StrEnum):
    """How a total is made whole."""

    TRUNCATED = "truncated"
    ROUNDED = "rounded"
    GOES_UP = "rounded up"
    NOT_KNOWN = "truncated or rounded"


# Bias in grains and how likely it is before any reading: common practice, from memory; truncating and rounding are
# alike, going up is rare.
_WAYS = ((Told.TRUNCATED, -0.5, 0.45), (Told.ROUNDED, 0.0, 0.45), (Told.GOES_UP, 0.5, 0.10))
BIAS_MEAN = sum(bias * share for _, bias, share in _WAYS)
BIAS_SD = math.sqrt(sum((bias - BIAS_MEAN) ** 2 * share for _, bias, share in _WAYS))
SURE_SHARE = 0.98
_GRAINS_W = (1.0, 0.1, 0.01, 0.001)


@dataclass(frozen=True, slots=True)
class Way:
    """One way of making a total whole: its bias (told less true) in watts, and how likely it is."""

    told: Told
    bias_w: float
    share: float


def grain_of(total_w: float, grain_w: float) -> float:
    """Return the grain [W] of a unit's totals, given one more of them: 1 W until one is not whole."""
    for finer_w in _GRAINS_W:
        if finer_w <= grain_w and abs(total_w / finer_w - round(total_w / finer_w)) < 1e-6:
            return finer_w
    return _GRAINS_W[-1]


def ways(bias_w: float, variance_w2: float, grain_w: float) -> tuple[Way, ...]:
    """Return each way with its share, by what was learned of the bias (its mean and variance, for a grain of 1 W)."""
    logs = []
    for _, bias, share in _WAYS:
        # the learned normal holds what was read and the normal prior; the latter is divided out again
        learned = -((bias - bias_w) ** 2) / (2 * max(variance_w2, 1e-6))
        prior = -((bias - BIAS_MEAN) ** 2) / (2 * BIAS_SD**2)
        logs.append(math.log(share) + learned - prior)
    highest = max(logs)
    weights = [math.exp(log - highest) for log in logs]
    whole = sum(weights)
    return tuple(
        Way(told, bias * grain_w, weight / whole) for (told, bias, _), weight in zip(_WAYS, weights, strict=True)
    )


def told_as(found: tuple[Way, ...]) -> Told:
    """Return the way that is sure enough to be named."""
    best = max(found, key=lambda way: way.share)
    return best.told if best.share >= SURE_SHARE else Told.NOT_KNOWN
