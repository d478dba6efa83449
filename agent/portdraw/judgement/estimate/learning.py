"""What a unit's total has taught so far: every finding of the watch taken in, doubtful ones with care."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from portdraw.judgement.estimate.draw_model import DrawModel, fresh_model
from portdraw.judgement.estimate.port_prior import PortPrior
from portdraw.judgement.estimate.total_watch import Finding, Level, Mean, OddStep, Step

ODD_FROM = 3.5  # standard deviations
ALIKE_W = 1.2  # two odd steps of a port that agree so well: what hangs there is another device now
NOISE_SHARE = 0.002  # of the total: noise of devices in a mean of some minutes, and their wander meanwhile
WANDER_SHARE = (
    0.004  # of the total: slow wander of all devices together, which a level has in it and a step nearly not
)
LEVEL_OFF_W = 0.15
FROST_SHARE = 0.2  # of the heaters' watts: by how much a night may be colder or milder than the next
ODD_KEPT_S = 7 * 86_400.0
MOST_ODD = 40
CYCLING_STEPS = 3
CYCLING_SHARE = 0.3  # of a cycling load may stand in the mean before or after a step
MOST_SEEN = 500

Seen = Mapping[tuple[int, int, bool, int, int], int]


@dataclass(frozen=True, slots=True)
class PortLearnt:
    """How many steps of a port were taken in; the last odd one [W], where it is not yet confirmed or disproved."""

    steps: int = 0
    odd_w: float | None = None


@dataclass(frozen=True)
class Learning:
    """The joint model of a unit's ports and what led to it. `seen` counts steps and levels that look alike."""

    model: DrawModel
    ports: tuple[PortLearnt, ...]
    odd_steps: tuple[OddStep, ...] = ()
    seen: Seen = field(default_factory=dict)
    taken_s: float | None = None

    def cycling_w(self, time_s: float) -> float:
        """Return the largest step [W] of the last seven days that no port's state explains, 0.0 without one."""
        return max((step.watts for step in self.odd_steps if time_s - step.time_s <= ODD_KEPT_S), default=0.0)

    def is_cycling(self, time_s: float) -> bool:
        """Say whether such steps are many enough to speak of a load that nobody reports."""
        return sum(time_s - step.time_s <= ODD_KEPT_S for step in self.odd_steps) >= CYCLING_STEPS


def begin(priors: Sequence[PortPrior]) -> Learning:
    """Return what is known at first."""
    return Learning(fresh_model(priors), tuple(PortLearnt() for _ in priors))


def learn(before: Learning, found: Finding, priors: Sequence[PortPrior], time_s: float, grain_w: float) -> Learning:
    """Return what is known after a finding at a time [s since the epoch]."""
    if isinstance(found, OddStep):
        kept = [step for step in before.odd_steps if time_s - step.time_s <= ODD_KEPT_S]
        return replace(before, odd_steps=(*kept, found)[-MOST_ODD:])
    since_s = 0.0 if before.taken_s is None else min(max(0.0, time_s - before.taken_s), ODD_KEPT_S)
    faded = replace(before, model=before.model.fade(priors, since_s), taken_s=time_s)
    if isinstance(found, Step):
        return _take_step(faded, found, priors, time_s, grain_w)
    return _take_level(faded, found, priors, time_s, grain_w)


def _take_step(before: Learning, step: Step, priors: Sequence[PortPrior], time_s: float, grain_w: float) -> Learning:
    port = before.ports[step.port]
    row = before.model.row([step.port], step.night, bias=False)
    seen, times = _again(before.seen, (step.port, 0, step.night, step.before.grains, step.after.grains))
    noise_w = NOISE_SHARE * max(step.before.watts, step.after.watts)
    variance = (step.before.variance + step.after.variance) * times**2 + noise_w**2
    variance += (CYCLING_SHARE * before.cycling_w(time_s)) ** 2
    if step.night:
        variance += (FROST_SHARE * priors[step.port].frost_extra_w) ** 2
    before = replace(before, seen=seen)
    if abs(before.model.surprise(row, step.watts, variance)) <= ODD_FROM:
        model = before.model.take_in(row, step.watts, variance)
        return _with_port(replace(before, model=model), step.port, PortLearnt(port.steps + 1))
    if port.odd_w is None or abs(port.odd_w - step.watts) > ALIKE_W:
        return _with_port(before, step.port, replace(port, odd_w=step.watts))
    model = before.model.begin_anew(step.port, priors[step.port], (port.odd_w + step.watts) / 2)
    return _with_port(replace(before, model=model), step.port, PortLearnt(1))


def _take_level(
    before: Learning, level: Level, priors: Sequence[PortPrior], time_s: float, grain_w: float
) -> Learning:
    mean: Mean = level.mean
    ports_on = sum(1 << port for port in level.on)
    seen, times = _again(before.seen, (-1, ports_on, level.night, mean.grains, 0))
    variance = mean.variance * times**2 + (WANDER_SHARE * mean.watts) ** 2 + LEVEL_OFF_W**2
    variance += before.cycling_w(time_s) ** 2
    if level.night:
        variance += (FROST_SHARE * sum(priors[port].frost_extra_w for port in level.on)) ** 2
    row = before.model.row(level.on, level.night, bias=True)
    surprise = abs(before.model.surprise(row, mean.watts, variance))
    if surprise > ODD_FROM:  # frost, say: heaters that the plan's night does not have
        variance *= (surprise / ODD_FROM) ** 2 * 4
    return replace(before, model=before.model.take_in(row, mean.watts, variance), seen=seen)


def _again(seen: Seen, what: tuple[int, int, bool, int, int]) -> tuple[Seen, int]:
    """Count a look-alike: the same readings again bring the same error from being whole, so they count for less."""
    times = seen.get(what, 0) + 1
    kept = dict(seen)
    kept.pop(what, None)
    kept[what] = times
    while len(kept) > MOST_SEEN:
        kept.pop(next(iter(kept)))
    return kept, times


def _with_port(learning: Learning, port: int, learnt: PortLearnt) -> Learning:
    return replace(learning, ports=(*learning.ports[:port], learnt, *learning.ports[port + 1 :]))
