"""What is true of the site at one moment: the shape that pages, metrics, status and audit read.

Facts only, no computing: `compare` fills it from observations and plan, `rules` reads it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from portdraw.judgement.alarm import Alarm
from portdraw.judgement.next_failure import Finding, NextFailure
from portdraw.observation.record import Basis, PortState
from portdraw.observation.unit_observation import Outcome

NOT_ASKED = "not asked yet"  # the reason of a unit before its first poll


class Availability(StrEnum):
    """Whether a leg could carry the unit."""

    PROVEN = "proven"
    BELIEVED = "believed"
    UNKNOWN = "unknown"
    LOST = "lost"


class Reach(StrEnum):
    """Whether a unit answers, and where it does not, whether it has power."""

    ANSWERS = "answers"
    REFUSES = "refuses our credentials"
    POWERED = "unreachable (powered)"
    DARK = "dark"
    SILENT = "not heard"  # whether it has power is not known
    NOT_READABLE = "not readable by design"


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
    `seen_s` is from when on it has been seen so without a break, and `again` says that it was seen lost before that.
    `proof_w` is what it has carried alone [W], for `proof_s` [s], last at `proven_s`; None: never, or not any more.
    """

    name: str
    source: str
    availability: Availability
    carrying: Carrying
    evidence_for: tuple[str, ...] = ()
    evidence_against: tuple[str, ...] = ()
    since_s: float | None = None
    sure: bool = False
    seen_s: float | None = None
    again: bool = False
    proof_w: float | None = None
    proof_s: float | None = None
    proven_s: float | None = None


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
    `reach` says whether it answers, and if not, whether it has power; `reach_why` by what that is known.
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
    reach: Reach = Reach.SILENT
    reach_why: str = ""


@dataclass(frozen=True)
class SiteAssessment:
    """The whole site at one moment.

    `next_failures` are the failures that matter most, the worst first; `more_failures` is how many were studied
    beside them, none of them worse. `findings` stand until the plan is changed. `tonight_rests_on` says what the load
    of tonight is.
    """

    time_s: float
    site: str
    timezone: str
    emulated: bool
    night: bool
    margin_percent: float
    units: tuple[UnitAssessment, ...]
    next_failures: tuple[NextFailure, ...]
    alarms: tuple[Alarm, ...]
    headline: str
    cycle: int = 0
    more_failures: int = 0
    tonight_rests_on: str = ""
    findings: tuple[Finding, ...] = ()
    by_name: dict[str, UnitAssessment] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_name", {unit.unit: unit for unit in self.units})

    def unit(self, name: str) -> UnitAssessment | None:
        """Return a unit by its name, None where the site has no such unit."""
        return self.by_name.get(name)
