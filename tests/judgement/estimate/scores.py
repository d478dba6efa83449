"""What trials come to: errors against the plan's, share of pairs inside the stated interval by day, calibration."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from tests.judgement.estimate.trial import Trial

LEARNED_EDGES = 3
PARTS = (0.25, 0.5, 0.75, 1.0)  # of the stated half-width


@dataclass(frozen=True)
class Score:
    """Figures of several units of one kind. Errors [W] are of the eighth day, after one week; coverage of all days.

    `switched_w`: mean over ports with three edges or more of their own, NaN without any. `ratio`: all ports' error
    against what the plan alone gives, `worst_ratio` that of the worst unit. `inside`: share of (port, poll) pairs
    inside, by day. `never_w`, `never_plan_w`: error of ports that never switched, and the plan's. `sums_off`: polls
    of which the ports' sum is more than one grain off the total. `told_right`, `told_wrong`: units whose way of
    making the total whole is named, rightly and wrongly.
    """

    units: int
    switched_w: float
    ratio: float
    worst_ratio: float
    inside: tuple[float, ...]
    never_w: float
    never_plan_w: float
    sums_off: int
    told_right: int
    told_wrong: int
    marked: int
    odd_widths: int


@dataclass(frozen=True)
class Calibration:
    """Of one basis: pairs, root mean square error [W], mean stated half-width [W], share within parts of it."""

    basis: str
    pairs: int
    error_w: float
    stated_w: float
    inside: tuple[float, ...]


_NAMED = {"truncates": "truncated", "rounds": "rounded", "goes up": "rounded up"}


def score(trials: Sequence[Trial]) -> Score:
    """Return the figures of trials of one kind."""
    errors, plans, switched, never, never_plan, ratios = [], [], [], [], [], []
    sums_off = right = wrong = marked = odd_widths = 0
    for trial in trials:
        after_week = trial.day == 7
        error, plan = trial.error_w(after_week), trial.plan_error_w(after_week)
        edges = np.array(trial.weeks.edges)
        errors += error.tolist()
        plans += plan.tolist()
        switched += error[edges >= LEARNED_EDGES].tolist()
        never += error[edges == 0].tolist()
        never_plan += plan[edges == 0].tolist()
        ratios.append(float(np.nanmean(error) / np.nanmean(plan)))
        sums = np.nansum(trial.draw_w, axis=1)
        polled = ~np.isnan(trial.weeks.told_w)
        sums_off += int(np.count_nonzero(np.abs(sums - trial.weeks.told_w)[polled] > 1.0 + 1e-6))
        named = trial.last.told.value
        right += named == _NAMED[trial.weeks.scenario.told]
        wrong += named not in (_NAMED[trial.weeks.scenario.told], "truncated or rounded")
        marked += trial.last.is_cycling
        odd_widths += _never_too_sure(trial)
    return Score(
        units=len(trials),
        switched_w=_mean(switched),
        ratio=_mean(errors) / _mean(plans),
        worst_ratio=max(ratios),
        inside=inside_by_day(trials),
        never_w=_mean(never),
        never_plan_w=_mean(never_plan),
        sums_off=sums_off,
        told_right=right,
        told_wrong=wrong,
        marked=marked,
        odd_widths=odd_widths,
    )


def inside_by_day(trials: Sequence[Trial]) -> tuple[float, ...]:
    """Return, by day, the share of (port, poll) pairs of delivering ports whose truth lies inside what is stated."""
    shares = []
    for day in range(int(trials[0].day.max()) + 1):
        asked = [trial.asked & (trial.day == day)[:, None] for trial in trials]
        inside = sum(np.count_nonzero(trial.covered() & rows) for trial, rows in zip(trials, asked, strict=True))
        shares.append(float(inside / sum(np.count_nonzero(rows) for rows in asked)))
    return tuple(shares)


def calibration(trials: Sequence[Trial]) -> tuple[Calibration, ...]:
    """Return how the stated widths compare with the errors, for each basis."""
    found = []
    for basis in ("learned", "estimated"):
        rows = [(trial, trial.asked & (trial.learned == (basis == "learned"))) for trial in trials]
        off = np.concatenate([np.abs(trial.draw_w - trial.weeks.true_w)[where] for trial, where in rows])
        stated = np.concatenate([trial.off_w[where] for trial, where in rows])
        if len(off):
            shares = tuple(float(np.mean(off <= part * stated)) for part in PARTS)
            error_w = float(np.sqrt(np.mean(off**2)))
            found.append(Calibration(basis, len(off), error_w, float(np.mean(stated)), shares))
    return tuple(found)


def _never_too_sure(trial: Trial) -> int:
    """Count ports that never switched and are called learned, or are stated surer than the plan itself."""
    edges = trial.weeks.edges
    bad = 0
    for port, prior in enumerate(trial.memory.priors):
        if edges[port] == 0:
            stated = trial.off_w[:, port][trial.asked[:, port]]
            bad += bool(
                trial.learned[:, port].any() or (stated < min(prior.plan_off_w, prior.ceiling_w) - 1e-9).any()
            )
    return bad


def _mean(values: Sequence[float]) -> float:
    found = [value for value in values if value == value]
    return float(np.mean(found)) if found else float("nan")
