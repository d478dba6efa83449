"""The watts of one unit in one state of the site."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class CarriedBy(StrEnum):
    """Which leg carries a unit. EITHER: the file does not say which, both are counted in full."""

    AC = "ac"
    FEED = "feed"
    EITHER = "either"
    NONE = "none"


@dataclass(frozen=True)
class UnitFlow:
    """One unit. Outputs and budget in W at its PSE outputs, `ac_w` at AC, `feeder_w` at the feeder's PSE output.

    `feeder_w` is what the feed carries, or its standby while AC does; 0.0 for a unit without a live feed, None
    where it can't be computed. `feeds_w` has the same for each of its feeds, by (feeder, port). `supplies_w` has
    the watts of each supply, in the file's order. `feed_pd_w`, `feed_pd_v` and `feed_loss_w` belong to the feed
    that carries.

    `complete` False: `outputs_w` or `feeder_w` is only the part that is known. `reasons` says why, and what
    cannot be powered. `assumed` lists what was taken to the worse side.
    """

    outputs_w: float
    budget_w: float
    leg: CarriedBy
    ac_w: float
    feeder_w: float | None
    powered: bool
    feeds_w: Mapping[tuple[str, str], float | None] = field(default_factory=dict)
    supplies_w: tuple[float, ...] = ()
    feed_pd_w: float = 0.0
    feed_pd_v: float | None = None
    feed_loss_w: float = 0.0
    complete: bool = True
    reasons: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
