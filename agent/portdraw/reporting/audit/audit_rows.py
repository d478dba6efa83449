"""The rows of an audit. All watts are at the PSE output; all times are seconds since the epoch.

None is unknown, or does not exist here; it is never zero.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from portdraw.observation.record import Basis


class Weight(StrEnum):
    """What a finding asks of the reader."""

    ACT = "to act on"
    LOOK = "to look at"
    KNOW = "to know"


@dataclass(frozen=True)
class AuditFinding:
    """One finding of an audit: a sentence, and what it asks of the reader."""

    weight: Weight
    sentence: str


@dataclass(frozen=True)
class PortRow:
    """One port over the period: plan beside readings.

    `planned_now_w` is the plan for the moment of the audit, `planned_max_w` the largest declared steady case; of a
    port that feeds a unit both are of normal running, and `planned_carrying_max_w` is the largest with that unit and
    all below it on their feeds (None for other ports).
    `basis` is what most of the readings rest on. `coverage_percent` is the share of the period with known watts.
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
    planned_carrying_max_w: float | None
    class_limit_w: float | None
    p50_w: float | None
    p95_w: float | None
    max_w: float | None
    max_s: float | None
    basis: Basis | None
    coverage_percent: float | None
    delivering_s: float
    findings: tuple[AuditFinding, ...]


@dataclass(frozen=True)
class LegVerdict:
    """A unit's draw against the budget of one leg. `kept_free_percent` is the margin that the policy asks for."""

    leg: str
    budget_w: float | None
    kept_free_percent: float
    p95_share: float | None
    max_share: float | None
    words: str
    weight: Weight | None


@dataclass(frozen=True)
class UnitDaySummary:
    """A unit's draw on one local day, for the chart."""

    day: date
    p50_w: float | None
    p95_w: float | None
    max_w: float | None


@dataclass(frozen=True)
class UnitRow:
    """One unit over the period: the sum of its ports against its budgets."""

    unit: str
    place: str
    readable: bool
    planned_now_w: float | None
    planned_max_w: float | None
    p50_w: float | None
    p95_w: float | None
    max_w: float | None
    max_s: float | None
    basis: Basis | None
    coverage_percent: float | None
    on_ac: LegVerdict | None
    on_feed: LegVerdict | None
    days: tuple[UnitDaySummary, ...]
    findings: tuple[AuditFinding, ...]


@dataclass(frozen=True)
class LossNeed:
    """What a loss of AC would ask of the limit that it loads most, and whom it darkens, on one side of the load.

    `need_w` None: it can't be said, `words` has the reason. `planned_ports` are ports below that limit that told no
    watts, so that planned ones stand in the need. `dark` and `may_go_dark` are devices.
    """

    limit: str
    need_w: float | None
    limit_w: float | None
    words: str
    weight: Weight | None
    planned_ports: tuple[str, ...] = ()
    dark: tuple[str, ...] = ()
    may_go_dark: tuple[str, ...] = ()


@dataclass(frozen=True)
class LossRow:
    """The loss of AC, or another failure: what it would do as drawn and as planned, and which units go dark."""

    what: str
    circuits: tuple[str, ...]
    dark_units: tuple[str, ...]
    drawn_p95: LossNeed
    drawn_max: LossNeed
    planned: LossNeed


@dataclass(frozen=True)
class LossStudy:
    """Every next loss of AC, worst first, with all AC present before it.

    `planned_case` is the largest steady case that the plan declares. `planned_ports` told no watts in the period,
    so that planned ones count; of `shared_units` only the total did, which is shared out over its ports by plan.
    """

    planned_case: str
    keep_percent: float
    planned_ports: tuple[str, ...]
    shared_units: tuple[str, ...]
    rows: tuple[LossRow, ...]


@dataclass(frozen=True)
class AuditEvent:
    """An alarm of the period, from when to when. `from_s` None: before the period; `to_s` None: still there.

    Not `began_seen`: it was there when the unit was first read, so it lasted longer than from `from_s` on. Not
    `ended_seen`: readings were missing between `last_seen_s` and `to_s`, so that it ended at some time in between.
    Not `raised`: a leg was lost and came back before the on-delay was over, so that nobody was told.
    """

    kind: str
    unit: str | None
    port: str | None
    from_s: float | None
    to_s: float | None
    sentence: str
    began_seen: bool = True
    raised: bool = True
    last_seen_s: float | None = None
    ended_seen: bool = True

    @property
    def lasted_s(self) -> float | None:
        """How long it was seen to last [s], so at least; None where beginning or end is not in the period."""
        if self.from_s is None or self.to_s is None:
            return None
        if self.ended_seen:
            return self.to_s - self.from_s
        return max(0.0, min(self.last_seen_s or 0.0, self.to_s) - self.from_s)

    @property
    def at_most_s(self) -> float | None:
        """How long it can have lasted at most [s]; None where its beginning was not seen, or it is not over."""
        if self.from_s is None or self.to_s is None or not self.began_seen:
            return None
        return self.to_s - self.from_s


@dataclass(frozen=True)
class DriftRow:
    """The trend of one port, or of a unit's sum (port None), over the days of the period. Rates in W a day.

    `low_w_per_day` to `high_w_per_day` is the band of the rate. `days_to_limit` counts from the end of the period.
    """

    unit: str
    port: str | None
    rising: bool
    w_per_day: float | None
    low_w_per_day: float | None
    high_w_per_day: float | None
    limit_w: float | None
    days_to_limit: float | None
    sentence: str


@dataclass(frozen=True)
class Unseen:
    """Something that the period did not show, so that nothing in the audit speaks for it."""

    what: str
    sentence: str
