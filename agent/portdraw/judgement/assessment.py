"""What is true of the site at one moment: the shape that pages, metrics, status and audit read.

Facts only, no computing: `compare` fills it from observations and plan, `rules` reads it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from math import isnan

from portdraw.judgement.alarm import Alarm
from portdraw.observation.record import Basis, PortState
from portdraw.observation.unit_observation import Outcome

NOT_ASKED = "not asked yet"  # the reason of a unit before its first poll


class Availability(StrEnum):
    """Whether a leg could carry the unit."""

    PROVEN = "proven"
    BELIEVED = "believed"
    UNKNOWN = "unknown"
    LOST = "lost"


class Carrying(StrEnum):
    """Which share of the unit's load a leg carries now."""

    ALL = "all"
    PART = "part"
    NONE = "none"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class Leg:
    """One way a unit gets power. `name` is "local AC" or "PoE feed"; `source` is the circuit or "core port 1".

    `since_s` is when it became so, None where it was so already when first read. `sure`: two independent signs agree.
    """

    name: str
    source: str
    availability: Availability
    carrying: Carrying
    evidence_for: tuple[str, ...] = ()
    evidence_against: tuple[str, ...] = ()
    since_s: float | None = None
    sure: bool = False


@dataclass(frozen=True)
class PortAssessment:
    """One port: plan beside reading. All watts at the PSE output.

    `planned_now_w` follows the site's night; `planned_max_w` is the largest declared steady case.
    `draw_w` is None when unknown, and `missing` then says why. `planned` is False for a port with a draw
    or a device that the site file does not name. A learned or estimated draw is right to +/- `uncertainty_w` [W];
    of other bases that is not stated.
    """

    unit: str
    port: str
    label: str
    hangs: str
    kind: str
    feeds_unit: str | None
    planned: bool
    planned_now_w: float | None
    planned_max_w: float | None
    class_limit_w: float | None
    device_class: int | None
    state: PortState | None
    draw_w: float | None
    basis: Basis | None
    source: str
    read_s: float | None
    missing: str | None
    denied_count: int | None = None
    neighbour: str | None = None
    uncertainty_w: float | None = None


@dataclass(frozen=True)
class UnitAssessment:
    """One unit. `budget_w` is the budget that holds on the leg that carries now; both legs' budgets beside it.

    `draw_w` is the sum over its ports at the PSE output, or the unit's own total where ports don't tell;
    `draw_complete` is False where that leaves out a delivering port, or where ports and total contradict each other.
    `share` is draw/budget, None when unknown. `fed_by` is the feeder unit's name, `notes` what is odd in readings.
    `feed_need_w` is what the feeder's port would have to give if the AC went now, `feed_limit_w` what it can.
    """

    unit: str
    place: str
    zone: str
    outcome: Outcome
    reason: str
    read_s: float | None
    stale: bool
    draw_w: float | None
    draw_basis: Basis | None
    draw_complete: bool
    total_w: float | None
    planned_now_w: float
    planned_max_w: float
    budget_w: float | None
    budget_on_ac_w: float | None
    budget_on_feed_w: float | None
    budget_reported_w: float | None
    share: float | None
    feed_need_w: float | None
    feed_limit_w: float | None
    legs: tuple[Leg, ...]
    ports: tuple[PortAssessment, ...]
    fed_by: str | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class NextLoss:
    """What a single loss (or the loss of all unbacked AC) would ask of the limit that it loads most.

    `need_w` is None when it can't be computed, and `reason` says why: that counts as the worst, never as fine.
    `assumed` names the units whose draw is not known, so that the largest planned watts stand for it.
    `keep_percent` of the limit is to be kept free after a failure, by the site's policy.
    """

    what: str
    limit: str
    need_w: float | None
    limit_w: float | None
    moved_units: tuple[str, ...]
    reason: str = ""
    assumed: tuple[str, ...] = ()
    keep_percent: float = 0.0

    @property
    def is_tight(self) -> bool:
        """True where it fits, but leaves less than is to be kept after a failure."""
        if self.short_w != 0.0 or self.need_w is None or self.limit_w is None:
            return False
        return self.need_w > self.limit_w * (1 - self.keep_percent / 100)

    @property
    def short_w(self) -> float | None:
        """Watts that are lacking, 0.0 when it fits, None when unknown."""
        if self.need_w is None or self.limit_w is None:
            return None
        short_w = self.need_w - self.limit_w
        return None if isnan(short_w) else max(0.0, short_w)


@dataclass(frozen=True)
class SiteAssessment:
    """The whole site at one moment."""

    time_s: float
    site: str
    timezone: str
    emulated: bool
    night: bool
    margin_percent: float
    units: tuple[UnitAssessment, ...]
    next_losses: tuple[NextLoss, ...]
    alarms: tuple[Alarm, ...]
    headline: str
    cycle: int = 0
    by_name: dict[str, UnitAssessment] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_name", {unit.unit: unit for unit in self.units})

    def unit(self, name: str) -> UnitAssessment | None:
        """Return a unit by its name, None where the site has no such unit."""
        return self.by_name.get(name)
