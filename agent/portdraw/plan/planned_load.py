"""The records of the load schedule: planned ports, units, tiers, sources, and each sum against its limit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from portdraw.plan.load_case import Case

STEADY = (Case.TYPICAL, Case.NIGHT, Case.FROST_NIGHT)

_STEP_W = 1e-6  # of arithmetic: a limit met exactly is met


@dataclass(frozen=True)
class PortWatts:
    """Watts at the PSE output of a port; None can't be computed. `reason` says why a load can't be powered."""

    pse_w: float | None
    reason: str | None = None
    assumed: tuple[str, ...] = ()


class Verdict(StrEnum):
    """How a sum stands against its limit."""

    FITS = "fits"
    MARGIN_USED = "margin used"
    OVER = "over"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class Sum:
    """Watts summed; `missing` names the parts that are not in it because they can't be computed."""

    watts: float
    missing: tuple[str, ...] = ()

    def held_against(self, limit_w: float | None, margin_percent: float) -> Verdict:
        """Say how the sum stands against a limit of which a margin is to stay free. Equal fits."""
        if limit_w is None:
            return Verdict.UNKNOWN
        if self.watts > limit_w + _STEP_W:
            return Verdict.OVER
        if self.missing:
            return Verdict.UNKNOWN
        return Verdict.MARGIN_USED if self.watts > limit_w * (1 - margin_percent / 100) + _STEP_W else Verdict.FITS


@dataclass(frozen=True)
class PlannedPort:
    """One port of the plan. `pd_w` at the PD input (devices only), `pse_w` at the PSE output, by case.

    A feed's `pse_w` is in normal running, its `carrying_w` with all feeds carrying. `kind` is "device", "feed" or
    "spare". `reasons` say why a load can't be powered and in which cases, `assumed` what undeclared figures
    rest on.
    """

    unit: str
    port: str
    label: str
    kind: str
    hangs: str
    device_type: str
    device_class: int | tuple[int, int] | None
    priority: str
    length_m: float | None
    pd_w: dict[Case, float | None]
    pse_w: dict[Case, float | None]
    carrying_w: dict[Case, float | None]
    reasons: dict[str, tuple[Case, ...]]
    assumed: tuple[str, ...]


@dataclass(frozen=True)
class PlannedUnit:
    """One unit: PSE outputs by case in normal running and with all feeds carrying, against its two budgets."""

    unit: str
    place: str
    tier: int
    supplied_by: tuple[str, ...]
    fed_by: str | None
    ports: tuple[PlannedPort, ...]
    normal: dict[Case, Sum]
    carrying: dict[Case, Sum]
    budget_on_ac_w: float | None
    budget_on_feed_w: float | None

    @property
    def carrying_budget_w(self) -> float | None:
        """The budget that holds with all feeds carrying: the feed's, for a unit without a feed its supplies'."""
        return self.budget_on_ac_w if self.fed_by is None else self.budget_on_feed_w

    @property
    def normal_budget_w(self) -> float | None:
        """The budget that holds in normal running: the supplies', for a unit without supplies its feed's."""
        return self.budget_on_ac_w if self.supplied_by else self.budget_on_feed_w


@dataclass(frozen=True)
class PlannedTier:
    """All units equally far from the source: devices' watts at the PD input and PSE outputs, by case."""

    tier: int
    units: tuple[str, ...]
    devices: dict[Case, Sum]
    normal: dict[Case, Sum]


@dataclass(frozen=True)
class PlannedSource:
    """A circuit or a UPS: watts at AC by case, its own other load included, against its limit."""

    name: str
    kind: str
    units: tuple[str, ...]
    other_load_w: float
    normal: dict[Case, Sum]
    carrying: dict[Case, Sum]
    limit_w: float


@dataclass(frozen=True)
class Held:
    """One sum held against one limit [W]. `judged` is False for sums that are shown but promise nothing."""

    what: str
    case: Case
    total: Sum
    limit_w: float | None
    verdict: Verdict
    judged: bool

    @property
    def stands(self) -> bool:
        """False where a sum that counts is over its limit, uses the margin, or can't be said."""
        return not self.judged or self.verdict is Verdict.FITS


@dataclass(frozen=True)
class LoadSchedule:
    """The whole load schedule of a site. `survives_ac_loss`: the site promises to outlast loss of all unbacked AC.

    `not_judged` names what the file declares and no figure here is held against. Units in a ring are left out.
    """

    site: str
    margin_percent: float
    margin_after_failure_percent: float
    survives_ac_loss: bool
    units: tuple[PlannedUnit, ...]
    tiers: tuple[PlannedTier, ...]
    sources: tuple[PlannedSource, ...]
    not_judged: tuple[str, ...] = ()

    def held(self) -> Iterator[Held]:
        """Yield every sum with its limit.

        Steady cases count, with the margin; start-up counts in normal running, without a margin; all at maximum is
        shown only. With all feeds carrying, a fed unit's budget on its feed counts always, a limit above it only
        where the site promises to outlast the loss of all unbacked AC.
        """
        for unit in self.units:
            yield from self._normal(f"{unit.unit}, normal running", unit.normal, unit.normal_budget_w)
            judged = unit.fed_by is not None or self.survives_ac_loss
            yield from self._carrying(unit.unit, unit.carrying, unit.carrying_budget_w, judged)
        for source in self.sources:
            name = f"{source.kind} {source.name}"
            yield from self._normal(f"{name}, normal running", source.normal, source.limit_w)
            yield from self._carrying(name, source.carrying, source.limit_w, self.survives_ac_loss)

    def _normal(self, what: str, sums: dict[Case, Sum], limit_w: float | None) -> Iterator[Held]:
        for case, total in sums.items():
            margin_percent = self.margin_percent if case in STEADY else 0.0
            verdict = total.held_against(limit_w, margin_percent)
            yield Held(what, case, total, limit_w, verdict, case is not Case.MAXIMUM)

    def _carrying(self, name: str, sums: dict[Case, Sum], limit_w: float | None, judged: bool) -> Iterator[Held]:
        for case, total in sums.items():
            margin_percent = self.margin_after_failure_percent if case in STEADY else 0.0
            verdict = total.held_against(limit_w, margin_percent)
            yield Held(f"{name}, all feeds carrying", case, total, limit_w, verdict, judged and case in STEADY)
