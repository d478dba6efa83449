"""Runs the estimator over an emulated unit's weeks and holds it against the truth. Watts at the PSE output."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from tests.judgement.estimate.emulated_totals import DAY_S, START_S, Bools, Floats, Weeks, is_night

from portdraw.judgement.estimate.port_prior import PortPrior, planned_prior
from portdraw.judgement.estimate.total_watch import Sample
from portdraw.judgement.estimate.unit_estimate import EstimateMemory, UnitEstimate, estimate, first_memory
from portdraw.rehearsal import class_power
from portdraw.rehearsal.load import Load

TURNING_S = 2700.0


@dataclass(frozen=True)
class Trial:
    """What was estimated, one row a poll; NaN where the poll was lost or the port off."""

    weeks: Weeks
    draw_w: Floats
    off_w: Floats
    learned: Bools
    memory: EstimateMemory
    last: UnitEstimate

    @property
    def day(self) -> NDArrayInt:
        """The day of each poll, from 0."""
        return ((self.weeks.time_s - START_S) // DAY_S).astype(int)

    @property
    def asked(self) -> Bools:
        """Where there is something to hold against the truth: the poll came and the port delivers."""
        return ~np.isnan(self.draw_w)

    def error_w(self, rows: Bools) -> Floats:
        """Mean absolute error by port over some rows."""
        return mean_off(np.abs(self.draw_w - self.weeks.true_w), self.asked & rows[:, None])

    def plan_error_w(self, rows: Bools) -> Floats:
        """What the plan alone is off, over the same rows."""
        return mean_off(np.abs(self.weeks.plan_w - self.weeks.true_w), self.asked & rows[:, None])

    def covered(self) -> Bools:
        """Where the truth lies inside what is stated."""
        return np.abs(self.draw_w - self.weeks.true_w) <= self.off_w


NDArrayInt = np.ndarray[tuple[int, ...], np.dtype[np.int64]]


def mean_off(off_w: Floats, where: Bools) -> Floats:
    """Mean by port, NaN for a port with nothing to hold."""
    count = where.sum(axis=0)
    total = np.where(where, off_w, 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def prior_of(load: Load) -> PortPrior:
    """What the estimator is told of a device: the plan and the class's watts at the port."""
    ceiling_w = class_power.at_pse_w(load.signature)
    return planned_prior(load.day_w, load.night_w, ceiling_w, load.startup_w, load.startup_s, load.frost_w)


def run_trial(weeks: Weeks) -> Trial:
    """Estimate poll by poll."""
    memory = first_memory([prior_of(load) for load in weeks.planned])
    draw = np.full(weeks.true_w.shape, np.nan)
    off = np.full(weeks.true_w.shape, np.nan)
    learned = np.zeros(weeks.true_w.shape, dtype=bool)
    last: UnitEstimate | None = None
    turning = [is_night(at - TURNING_S) != is_night(at + TURNING_S) for at in weeks.time_s.tolist()]
    for row, (time_s, told_w) in enumerate(zip(weeks.time_s.tolist(), weeks.told_w.tolist(), strict=True)):
        if told_w != told_w:
            continue
        on = tuple(weeks.on[row].tolist())
        sample = Sample(time_s, told_w, on, bool(weeks.night[row]), turning[row], every_s=weeks.scenario.every_s)
        memory, last = estimate(memory, sample)
        for port, found in enumerate(last.ports):
            if on[port]:
                draw[row, port], off[row, port], learned[row, port] = found.draw_w, found.off_w, found.learned
    assert last is not None
    return Trial(weeks, draw, off, learned, memory, last)
