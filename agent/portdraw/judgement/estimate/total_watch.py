"""Watches a unit's total and its ports' states poll by poll, and says what can be learned: steps, levels, odd steps.

A step is learned only where exactly one port changed its state, and only from totals that stand still on both sides:
not while a device starts up, not round the site's dusk and dawn, not across missing polls.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import fmean

from portdraw.judgement.estimate.port_prior import PortPrior

MOST_IN_WINDOW = 20  # polls: a longer mean would take in more of the slow wander than it takes off the noise
FEWEST_IN_WINDOW = 4
ENOUGH_IN_WINDOW = 12
MOST_GAP_POLLS = 3.4  # a port may have gone off and on again in a longer silence
SETTLE_TIMES = 1.5  # start-up lasts up to that much longer than planned
SETTLE_S = 35.0  # and is noticed a poll late
LEVEL_EVERY_S = 3 * 3600.0
OUTSIDE_MOVED_W = 2.0  # more than the slow wander of a unit below
ODD_STEP_GRAINS = 1.5
ODD_STEP_SHARE = 0.015  # of the total: slow wander of all devices between two polls is far less
TWICE_G2 = 0.03  # variance, in grains^2, of a mean of readings that fall on both sides of a whole number
ONCE_G2 = 1 / 12  # of readings that are all the same: evenly anywhere within the grain


@dataclass(frozen=True, slots=True)
class Outside:
    """A port whose draw [W] follows from elsewhere, to a standard deviation: it feeds a unit that is read itself."""

    port: int
    watts: float
    sd_w: float


@dataclass(frozen=True, slots=True)
class Sample:
    """One poll: `on` by port, None where its state is not known; `total_w` as it is told.

    `turning`: dusk or dawn is near, so that devices change to or from their night watts one by one. Ports in
    `outside` are not learned. `every_s` is the poll interval.
    """

    time_s: float
    total_w: float
    on: tuple[bool | None, ...]
    night: bool
    turning: bool
    outside: tuple[Outside, ...] = ()
    every_s: float = 30.0

    @property
    def outside_w(self) -> float:
        """What of the total follows from elsewhere [W]."""
        return sum(one.watts for one in self.outside if self.on[one.port])


@dataclass(frozen=True, slots=True)
class Mean:
    """A total that stands still: its mean [W], the variance [W^2] of it from being told whole, its whole grains."""

    watts: float
    variance: float
    grains: int


@dataclass(frozen=True, slots=True)
class Step:
    """One port switched: by how much the total moved [W, positive], and what it was before and after."""

    port: int
    night: bool
    before: Mean
    after: Mean

    @property
    def watts(self) -> float:
        """What the port drew, as the total has it."""
        return abs(self.after.watts - self.before.watts)


@dataclass(frozen=True, slots=True)
class Level:
    """The total stands still with these ports on."""

    on: tuple[int, ...]
    night: bool
    mean: Mean


@dataclass(frozen=True, slots=True)
class OddStep:
    """The total moved by so much [W, positive] and no port changed its state."""

    time_s: float
    watts: float


@dataclass(frozen=True, slots=True)
class TotalWatch:
    """What the next poll is held against. `began`: a port that switched and the mean before it. `window` is
    without `outside_w`."""

    on: tuple[bool | None, ...] = ()
    last_s: float = -1e18
    settled_s: float = -1e18
    level_s: float = -1e18
    window: tuple[float, ...] = ()
    outside_w: float = 0.0
    began: tuple[int, Mean] | None = None


Finding = Step | Level | OddStep


def watch(
    before: TotalWatch, sample: Sample, priors: Sequence[PortPrior], grain_w: float
) -> tuple[TotalWatch, Finding | None]:
    """Return the watch after one more poll, and what it found, if anything."""
    gap_s = sample.time_s - before.last_s
    if not 0 < gap_s <= MOST_GAP_POLLS * sample.every_s or len(before.on) != len(sample.on):
        settled_s = sample.time_s + _startup_s(priors, [port for port, on in enumerate(sample.on) if on is not False])
        return replace(before, on=sample.on, last_s=sample.time_s, settled_s=settled_s, window=(), began=None), None
    outside_w = sample.outside_w
    if sample.on != before.on:
        after, step = _switched(before, sample, priors, grain_w)
        return replace(after, outside_w=outside_w), step
    if abs(outside_w - before.outside_w) > OUTSIDE_MOVED_W:
        moved = replace(before, last_s=sample.time_s, outside_w=outside_w, window=(), began=None)
        return replace(moved, settled_s=max(moved.settled_s, sample.time_s + SETTLE_S)), None
    if sample.turning:
        return replace(before, last_s=sample.time_s, window=(), began=None), None
    if sample.time_s < before.settled_s:
        return replace(before, last_s=sample.time_s), None
    window = (*before.window, sample.total_w - outside_w)[-MOST_IN_WINDOW:]
    now = replace(before, last_s=sample.time_s, outside_w=outside_w, window=window)
    odd_w = None if sample.outside else _odd_step_w(window, grain_w)
    if odd_w is not None:
        return replace(now, window=window[-2:], began=None), OddStep(sample.time_s, odd_w)
    if now.began is not None and len(window) >= ENOUGH_IN_WINDOW:
        return replace(now, began=None), _step(now, sample, grain_w)
    level_due = None not in sample.on and sample.time_s - now.level_s >= LEVEL_EVERY_S
    if level_due and now.began is None and len(window) >= ENOUGH_IN_WINDOW:
        elsewhere = {one.port for one in sample.outside}
        on = tuple(port for port, is_on in enumerate(sample.on) if is_on and port not in elsewhere)
        mean = mean_of(window, grain_w)
        mean = replace(mean, variance=mean.variance + sum(one.sd_w**2 for one in sample.outside))
        return replace(now, level_s=sample.time_s), Level(on, sample.night, mean)
    return now, None


def _switched(
    before: TotalWatch, sample: Sample, priors: Sequence[PortPrior], grain_w: float
) -> tuple[TotalWatch, Finding | None]:
    """One port or several changed: end the step before, if there is enough of it, and begin the next one."""
    step = _step(before, sample, grain_w) if len(before.window) > FEWEST_IN_WINDOW else None
    changed = [port for port, (was, now) in enumerate(zip(before.on, sample.on, strict=True)) if was != now]
    came_on = [port for port in changed if sample.on[port]]
    settled_s = max(before.settled_s, sample.time_s + _startup_s(priors, came_on) if came_on else -1e18)
    steady = before.window[:-1]  # states and total are read one after the other: the last one may be of after
    began = None
    learnable = len(changed) == 1 and None not in (before.on[changed[0]], sample.on[changed[0]])
    learnable = learnable and all(one.port != changed[0] for one in sample.outside)
    if learnable and len(steady) >= FEWEST_IN_WINDOW and not sample.turning:
        began = (changed[0], mean_of(steady, grain_w))
    after = replace(before, on=sample.on, last_s=sample.time_s, settled_s=settled_s, window=(), began=began)
    return after, step


def _step(watched: TotalWatch, sample: Sample, grain_w: float) -> Step | None:
    if watched.began is None:
        return None
    port, before = watched.began
    after = mean_of(watched.window[:-1], grain_w)
    if min(before.grains, after.grains) == 0:  # nothing on is told as 0 W exactly, without the bias of other totals
        return None
    return Step(port, sample.night, before, after)


def _odd_step_w(window: Sequence[float], grain_w: float) -> float | None:
    if len(window) < FEWEST_IN_WINDOW + 2:
        return None
    before_w = fmean(window[:-2])
    least_w = ODD_STEP_GRAINS * grain_w + ODD_STEP_SHARE * before_w
    moves = [total_w - before_w for total_w in window[-2:]]
    if min(moves) > least_w or max(moves) < -least_w:
        return max(abs(move) for move in moves)
    return None


def mean_of(window: Sequence[float], grain_w: float) -> Mean:
    """Return the mean of totals that stand still, and how far their being whole leaves it open."""
    watts = fmean(window)
    spread = TWICE_G2 if max(window) - min(window) > grain_w / 2 else ONCE_G2
    return Mean(watts, spread * grain_w**2, round(watts / grain_w))


def _startup_s(priors: Sequence[PortPrior], ports: Sequence[int]) -> float:
    return max((priors[port].startup_s * SETTLE_TIMES + SETTLE_S for port in ports), default=0.0)
