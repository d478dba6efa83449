"""One poll of a unit that tells only its total: what each port draws, how sure that is, and what it rests on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from portdraw.judgement.estimate.bounded_share import share_out
from portdraw.judgement.estimate.learning import Learning, begin, learn
from portdraw.judgement.estimate.port_prior import PortPrior
from portdraw.judgement.estimate.total_grain import Told, Way, grain_of, told_as, ways
from portdraw.judgement.estimate.total_watch import SETTLE_S, SETTLE_TIMES, Sample, TotalWatch, watch

Floats = NDArray[np.float64]

LEARNT_STEPS = 3  # own steps from which a port counts as learned
WIDTH = 2.4  # half an interval in standard deviations: 98 % of a normal one; the tails here are heavier
FAST_SHARE = 0.015  # of a port's draw: noise and slow wander of one device at one moment
FAST_W = 0.05
FROST_SD = 0.3  # share of the heaters' watts that is drawn in a night, give or take: none in most nights
FROST_OWN_SD = 0.2  # and of one heater, besides what is common to all


@dataclass(frozen=True)
class EstimateMemory:
    """What lasts from one poll to the next of one unit. `on_since_s`: when each port came on, None: always was."""

    priors: tuple[PortPrior, ...]
    learning: Learning
    watched: TotalWatch = field(default_factory=TotalWatch)
    grain_w: float = 1.0
    on_since_s: tuple[float | None, ...] = ()


@dataclass(frozen=True, slots=True)
class PortEstimate:
    """A port's draw [W at the PSE output], give or take `off_w`; `learned` where its own steps pin it."""

    draw_w: float
    off_w: float
    learned: bool
    steps: int


@dataclass(frozen=True, slots=True)
class UnitEstimate:
    """All ports, their sum [W], how the total is told, what cycles unseen [W], and whether their ceilings hold it."""

    ports: tuple[PortEstimate, ...]
    total_w: float
    told: Told
    cycling_w: float
    is_cycling: bool
    fits: bool


def first_memory(priors: Sequence[PortPrior]) -> EstimateMemory:
    """Return the memory of a unit before its first poll."""
    return EstimateMemory(tuple(priors), begin(priors), on_since_s=(None,) * len(priors))


def estimate(memory: EstimateMemory, sample: Sample) -> tuple[EstimateMemory, UnitEstimate]:
    """Return what each port draws at a poll, and the memory for the next one."""
    grain_w = grain_of(sample.total_w, memory.grain_w)
    on_since_s = _on_since(memory, sample)
    watched, found = watch(memory.watched, sample, memory.priors, grain_w)
    learning = memory.learning
    if found is not None:
        learning = learn(learning, found, memory.priors, sample.time_s, grain_w)
    now = replace(memory, learning=learning, watched=watched, grain_w=grain_w, on_since_s=on_since_s)
    return now, _estimate(now, sample)


def _on_since(memory: EstimateMemory, sample: Sample) -> tuple[float | None, ...]:
    was = memory.watched.on
    if len(was) != len(sample.on):
        return tuple(None if on is False else sample.time_s for on in sample.on)
    return tuple(
        None if now is False else sample.time_s if before is not True and now else since_s
        for before, now, since_s in zip(was, sample.on, memory.on_since_s, strict=True)
    )


def _estimate(memory: EstimateMemory, sample: Sample) -> UnitEstimate:
    learning = memory.learning
    delivering = [port for port, on in enumerate(sample.on) if on is not False]
    found_ways = ways(*learning.model.bias, memory.grain_w)
    cycling_w, is_cycling = learning.cycling_w(sample.time_s), learning.is_cycling(sample.time_s)
    ports = [PortEstimate(0.0, 0.0, False, learnt.steps) for learnt in learning.ports]
    told = told_as(found_ways) if memory.grain_w == 1.0 else Told.ROUNDED
    if not delivering:
        return UnitEstimate(tuple(ports), 0.0, told, cycling_w, is_cycling, fits=True)
    thought, cov = _thought(memory, sample, delivering)
    elsewhere = {one.port for one in sample.outside}
    most = np.array([memory.priors[port].ceiling_w for port in delivering])
    sum_w, sum_var = float(thought.sum()), float(cov.sum())
    total_w, total_var, stretch = _total(sum_w, sum_var, sample.total_w, memory.grain_w, found_ways)
    shared = share_out(thought, cov, most, total_w)
    leaning = cov.sum(axis=1)
    left = np.diag(cov) - leaning**2 / sum_var * (1 - min(1.0, total_var / sum_var))
    spread = np.sqrt(np.maximum(left, 0.0)) * stretch
    for place, port in enumerate(delivering):
        prior, learnt = memory.priors[port], learning.ports[port]
        off_w = WIDTH * float(spread[place]) + cycling_w
        if learnt.steps == 0 and port not in elsewhere:
            off_w = max(off_w, prior.plan_off_w + cycling_w)
        learned = learnt.steps >= LEARNT_STEPS
        ports[port] = PortEstimate(float(shared[place]), min(off_w, prior.ceiling_w), learned, learnt.steps)
    fits = total_w <= float(most.sum()) + memory.grain_w
    return UnitEstimate(tuple(ports), float(shared.sum()), told, cycling_w, is_cycling, fits)


def _thought(memory: EstimateMemory, sample: Sample, ports: list[int]) -> tuple[Floats, Floats]:
    """Return what the ports would draw by plan and learning alone, and its covariance, at this moment."""
    share = 0.5 if sample.turning else float(sample.night)
    mean, cov = memory.learning.model.at(share)
    if len(ports) < len(mean):
        mean, cov = mean[ports], cov[np.ix_(ports, ports)]
    mean, cov = mean.copy(), cov.copy()
    if sample.night or sample.turning:
        frost = np.array([memory.priors[port].frost_extra_w for port in ports])
        if frost.any():  # what is not known is one thing for all heaters: how cold it is
            cov += np.outer(frost * FROST_SD, frost * FROST_SD)
            cov += np.diag((frost * FROST_OWN_SD) ** 2)
    variance = FAST_W**2 + (FAST_SHARE * mean) ** 2
    if sample.turning:
        extra = memory.learning.model.mean[memory.learning.model.ports :][ports]
        variance = variance + (0.5 * extra) ** 2
    for place, port in enumerate(ports):
        prior = memory.priors[port]
        since_s = memory.on_since_s[port]
        lasts_s = prior.startup_s * SETTLE_TIMES + SETTLE_S
        if sample.on[port] is None:
            mean[place] /= 2
            variance[place] += mean[place] ** 2
        elif since_s is not None and sample.time_s - since_s <= lasts_s:
            above_w = max(0.0, min(prior.startup_w * 1.25, prior.ceiling_w) - mean[place])
            mean[place] += above_w / 2
            variance[place] += (above_w / 2) ** 2
    places = np.arange(len(ports))
    cov[places, places] += variance
    for one in sample.outside:
        if one.port in ports:
            place = ports.index(one.port)
            mean[place], cov[place, :], cov[:, place] = one.watts, 0.0, 0.0
            cov[place, place] = one.sd_w**2
    return np.maximum(mean, 0.0), cov


def _total(
    sum_w: float, sum_var: float, told_w: float, grain_w: float, found: tuple[Way, ...]
) -> tuple[float, float, float]:
    """Return the true total by what is told and what is thought: mean [W], variance [W^2], and a stretch.

    Each way of making the total whole leaves a span of one grain; within it the total is where the sum is thought to
    be. `stretch`, 1 or more, is how much more than thought the ports must be off for such a total (Birge's ratio).
    """
    spread = math.sqrt(sum_var)
    parts = []
    for way in found:
        low_w, high_w = told_w - way.bias_w - grain_w / 2, told_w - way.bias_w + grain_w / 2
        weight, mean, variance = _within(sum_w, spread, low_w, high_w)
        parts.append((way.share * weight, mean, variance))
    whole = sum(weight for weight, _, _ in parts)
    if whole <= 0.0:
        parts = [(way.share, told_w - way.bias_w, grain_w**2 / 12) for way in found]
        whole = 1.0
    mean = sum(weight * at for weight, at, _ in parts) / whole
    variance = sum(weight * (of + (at - mean) ** 2) for weight, at, of in parts) / whole
    return max(mean, 0.0), variance, max(1.0, abs(mean - sum_w) / (1.5 * spread))


def _within(mean: float, spread: float, low: float, high: float) -> tuple[float, float, float]:
    """Return weight, mean and variance of a normal within a span (Johnson, Kotz, Balakrishnan 1994, section 10.1)."""
    below, above = (low - mean) / spread, (high - mean) / spread
    weight = _share_below(above) - _share_below(below)
    if weight < 1e-9:
        return 0.0, (low + high) / 2, (high - low) ** 2 / 12
    first, last = _density(below), _density(above)
    shift = (first - last) / weight
    variance = 1 + (below * first - above * last) / weight - shift**2
    return weight, mean + spread * shift, max(0.0, variance) * spread**2


def _density(at: float) -> float:
    return math.exp(-at * at / 2) / math.sqrt(2 * math.pi)


def _share_below(at: float) -> float:
    return math.erfc(-at / math.sqrt(2)) / 2
