"""What is known of all ports of a unit together: watts by day, what comes on top by night, and how the total is told.

One joint normal distribution over 2 n + 1 figures: n ports by day, n ports' night on top, and the bias of the total
(told less true). Steps and levels of the total are linear in them, so that each is taken in by the usual linear
update (Kalman, 1960) whatever else is still unknown.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from portdraw.judgement.estimate.port_prior import PortPrior
from portdraw.judgement.estimate.total_grain import BIAS_MEAN, BIAS_SD

Floats = NDArray[np.float64]

FADES_PER_DAY = (
    0.005  # of the prior's variance: devices age and are set anew, so what was learned is forgotten in months
)
DAY_S = 86_400.0


@dataclass(frozen=True, eq=False)
class DrawModel:
    """Mean [W] and covariance [W^2]. Make it by `fresh`; every change returns a new one."""

    mean: Floats
    cov: Floats

    @property
    def ports(self) -> int:
        """How many ports it is about."""
        return (len(self.mean) - 1) // 2

    @property
    def bias(self) -> tuple[float, float]:
        """The bias of the total: mean [W] and variance [W^2]."""
        return float(self.mean[-1]), float(self.cov[-1, -1])

    def at(self, night_share: float) -> tuple[Floats, Floats]:
        """Return mean and covariance of the ports' draw where this share of each night addition is drawn."""
        count = self.ports
        day, extra = slice(0, count), slice(count, 2 * count)
        mean = self.mean[day] + night_share * self.mean[extra]
        cov = self.cov[day, day]
        if night_share:
            across = night_share * self.cov[day, extra]
            cov = cov + across + across.T + night_share**2 * self.cov[extra, extra]
        return mean, cov

    def row(self, ports: Sequence[int], night: bool, bias: bool) -> Floats:
        """Return the weights of a sum over some ports, with or without the bias of the total."""
        row = np.zeros(len(self.mean))
        row[list(ports)] = 1.0
        if night:
            row[[self.ports + port for port in ports]] = 1.0
        row[-1] = float(bias)
        return row

    def surprise(self, row: Floats, watts: float, variance: float) -> float:
        """Return how many standard deviations a reading of a sum lies off what is expected, with its sign."""
        expected = float(row @ self.mean)
        return (watts - expected) / math.sqrt(float(row @ self.cov @ row) + variance)

    def take_in(self, row: Floats, watts: float, variance: float) -> DrawModel:
        """Return the model after a reading of a sum [W], which is sure to a variance [W^2]."""
        leaning = self.cov @ row
        gain = leaning / (float(row @ leaning) + variance)
        mean = self.mean + gain * (watts - float(row @ self.mean))
        cov = self.cov - np.outer(gain, leaning)
        return DrawModel(mean, (cov + cov.T) / 2)

    def begin_anew(self, port: int, prior: PortPrior, day_w: float | None = None) -> DrawModel:
        """Return the model with one port as at first, and round `day_w` where that is given."""
        mean, cov = self.mean.copy(), self.cov.copy()
        for place, watts, spread in (
            (port, prior.day_w if day_w is None else day_w, prior.day_sd_w),
            (port + self.ports, prior.night_extra_w, prior.night_extra_sd_w),
        ):
            cov[place, :] = cov[:, place] = 0.0
            mean[place], cov[place, place] = watts, spread**2
        return replace(self, mean=mean, cov=cov)

    def fade(self, priors: Sequence[PortPrior], for_s: float) -> DrawModel:
        """Return the model after a time in which nothing was learned: less sure, never less than at first."""
        first = _variances(priors)
        spare = np.maximum(0.0, first - np.diag(self.cov)[:-1])
        cov = self.cov.copy()
        places = np.arange(len(first))
        cov[places, places] += np.minimum(spare, first * FADES_PER_DAY * for_s / DAY_S)
        return replace(self, cov=cov)


def fresh_model(priors: Sequence[PortPrior]) -> DrawModel:
    """Return what is known before any reading."""
    days, extras = [prior.day_w for prior in priors], [prior.night_extra_w for prior in priors]
    mean = np.array([*days, *extras, BIAS_MEAN])
    return DrawModel(mean, np.diag(np.append(_variances(priors), BIAS_SD**2)))


def _variances(priors: Sequence[PortPrior]) -> Floats:
    spreads = [prior.day_sd_w for prior in priors] + [prior.night_extra_sd_w for prior in priors]
    return np.array(spreads) ** 2
