"""What is thought of a port's draw before anything was learned: the plan, and how far a plan is to be believed."""

from __future__ import annotations

import math
from dataclasses import dataclass

PLAN_OFF_PERCENT = 25.0  # a plan's watts are off by up to this much, evenly: common practice for typical watts
PLAN_OFF_W = 0.2
NIGHT_OFF_PERCENT = 4.0  # how far night and day differ besides what is planned, of the day's watts
STARTUP_S = 60.0  # where none is declared; common practice is 30 to 120 s
STARTUP_W_SHARE = 1.3  # where none is declared: start-up against the largest steady watts


@dataclass(frozen=True, slots=True)
class PortPrior:
    """A port before it is learned [W at the PSE output]: watts by day, what comes on top by night, and how sure.

    `day_sd_w`, `night_extra_sd_w` are standard deviations. `ceiling_w` is the most that it can draw. `plan_off_w` is
    the plan's own uncertainty, half of the whole width; `frost_extra_w` is what
    heaters add on a night of frost.
    """

    day_w: float
    night_extra_w: float
    day_sd_w: float
    night_extra_sd_w: float
    ceiling_w: float
    startup_w: float
    startup_s: float
    plan_off_w: float
    frost_extra_w: float = 0.0


def planned_prior(
    day_w: float,
    night_w: float,
    ceiling_w: float,
    startup_w: float | None = None,
    startup_s: float | None = None,
    frost_w: float | None = None,
) -> PortPrior:
    """Return the prior of a port whose device is planned with these watts [W at the PSE output]."""
    largest_w = max(day_w, night_w)
    extra_w = night_w - day_w
    return PortPrior(
        day_w=min(day_w, ceiling_w),
        night_extra_w=extra_w,
        day_sd_w=_spread_w(day_w),
        night_extra_sd_w=math.hypot(_spread_w(extra_w), day_w * NIGHT_OFF_PERCENT / 100),
        ceiling_w=ceiling_w,
        startup_w=max(largest_w, largest_w * STARTUP_W_SHARE if startup_w is None else startup_w),
        startup_s=STARTUP_S if startup_s is None else startup_s,
        plan_off_w=largest_w * PLAN_OFF_PERCENT / 100 + PLAN_OFF_W,
        frost_extra_w=max(0.0, (frost_w or night_w) - night_w),
    )


def unplanned_prior(ceiling_w: float) -> PortPrior:
    """Return the prior of a port of which the plan says nothing: anything up to its ceiling [W]."""
    half_w = ceiling_w / 2
    return PortPrior(
        day_w=half_w,
        night_extra_w=0.0,
        day_sd_w=half_w / math.sqrt(3),
        night_extra_sd_w=half_w / 4,
        ceiling_w=ceiling_w,
        startup_w=ceiling_w,
        startup_s=STARTUP_S,
        plan_off_w=half_w,
    )


def _spread_w(watts: float) -> float:
    """Return the standard deviation of watts that are evenly off by up to the plan's percent."""
    return math.hypot(abs(watts) * PLAN_OFF_PERCENT / 100, PLAN_OFF_W) / math.sqrt(3)
