"""The audit of a period: what was designed, what was drawn, what needs attention, what was never seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from portdraw.history.port_day import PortDay
from portdraw.history.site_day import day_of, day_start_s
from portdraw.history.store import History
from portdraw.judgement.assessment import Carrying
from portdraw.judgement.plan_sheet import STEADY_CASES, PlanSheet, plan_now, plan_sheet
from portdraw.judgement.port_draw import PortPlan
from portdraw.observation.record import Basis
from portdraw.plan.load_case import Case, case_now
from portdraw.plan.ports import sort_key
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.powerflow.port_power import class_limit_w, planned_port_w, port_class
from portdraw.powerflow.two_legs import budget_on_ac_w, budget_on_feed_w
from portdraw.powerflow.unit_assumption import unit_assumptions
from portdraw.reporting.audit.alarm_spans import PASSED, RAISED, RETURNED, alarm_spans
from portdraw.reporting.audit.audit_rows import (
    AuditEvent,
    AuditFinding,
    DriftRow,
    LegVerdict,
    LossStudy,
    PortRow,
    UnitDaySummary,
    UnitRow,
    Unseen,
    Weight,
)
from portdraw.reporting.audit.drift_rows import drift_rows
from portdraw.reporting.audit.findings import (
    NOTHING_DRAWN_W,
    PortFacts,
    leg_verdict,
    lost_leg,
    port_findings,
    unit_findings,
)
from portdraw.reporting.audit.loss_rows import loss_findings, loss_study
from portdraw.reporting.audit.period_days import period_days
from portdraw.reporting.audit.unseen import Days, carried_s, unseen
from portdraw.reporting.wording import clock, share_text

LOCAL_AC_LOST = "local-ac-lost"
FULL = 100.0


@dataclass(frozen=True)
class Audit:
    """The whole audit. Times in seconds since the epoch, watts at the PSE output.

    The period is `from_s` to `to_s`; figures are of the local days `first_day` to `last_day`, so far as they fall
    in it. `coverage_percent` is the share of the period with known watts, over all readable units; the readings of
    the period lie between `first_reading_s` and `last_reading_s`, None where nothing was read.
    """

    site: str
    timezone: str
    emulated: bool
    made_s: float
    from_s: float
    to_s: float
    first_day: date
    last_day: date
    night: str | None
    margin_percent: float
    margin_after_failure_percent: float
    coverage_percent: float | None
    first_reading_s: float | None
    last_reading_s: float | None
    units: tuple[UnitRow, ...]
    losses: LossStudy
    ports: tuple[PortRow, ...]
    events: tuple[AuditEvent, ...]
    drift: tuple[DriftRow, ...]
    unseen: tuple[Unseen, ...]
    assumptions: tuple[str, ...]

    def findings(self) -> list[tuple[str, AuditFinding]]:
        """Return every finding with the place it is about, the weightiest first."""
        listed = [(row.unit, finding) for row in self.units for finding in row.findings]
        listed += [(port_name(row), finding) for row in self.ports for finding in row.findings]
        listed += [
            (event.unit or "", lost_leg(event, self.timezone)) for event in self.events if event.kind == LOCAL_AC_LOST
        ]
        listed += loss_findings(self.losses)
        order = list(Weight)
        return sorted(listed, key=lambda item: order.index(item[1].weight))

    def count(self, weight: Weight) -> int:
        """Return how many findings have this weight."""
        return sum(finding.weight is weight for _, finding in self.findings())


def port_name(row: PortRow) -> str:
    """Return "north-pier port 3 (pier-ap)"."""
    return f"{row.unit} port {row.port}" + (f" ({row.hangs})" if row.hangs else "")


def what_was_read(audit: Audit) -> str:
    """Return from when to when there are readings, and how much of the period that is."""
    first_s, last_s = audit.first_reading_s, audit.last_reading_s
    if first_s is None or last_s is None:
        return "Nothing was read in it."
    first, last = (clock(time_s, audit.timezone, 0.0)[:16] for time_s in (first_s, last_s))
    return f"Readings from {first} to {last}, for {share_text(audit.coverage_percent)} of the period."


@dataclass(frozen=True)
class _Period:
    from_s: float
    to_s: float
    sheet: PlanSheet
    carrying: dict[tuple[str, str], PortPlan]
    now: Case
    days: Days
    drift: dict[tuple[str, str | None], DriftRow]
    alarms: tuple[AuditEvent, ...]

    def planned_now_w(self, unit: str, port: str) -> float | None:
        return self.sheet.watts.get((unit, port), {}).get(self.now)

    def planned_max_w(self, unit: str, port: str) -> float | None:
        return _planned_max_w(self.sheet, unit, port)

    def coverage_percent(self, day: PortDay | None) -> float | None:
        if day is None or self.to_s <= self.from_s:
            return None
        return min(FULL, FULL * day.seconds_known / (self.to_s - self.from_s))


def build_audit(
    site: Site, tree: Tree, history: History, first_s: float, last_s: float, now_s: float, emulated: bool
) -> Audit:
    """Return the audit of the local days from `first_s` to `last_s` [s since the epoch].

    Whole days count; the first counts from `first_s` only where history began later than that day did. `now_s`
    decides which plan is "planned now". Raises HistoryError where history can't be read, ValueError where the
    period ends before it begins.
    """
    to_s = min(last_s, now_s)
    if to_s <= first_s:
        raise ValueError("the period of the audit ends before it begins")
    # a period that ends at midnight has nothing of the day that begins there
    first_day, last_day = day_of(first_s, history.zone), day_of(max(first_s, to_s - 1), history.zone)
    days = period_days(history.each_port_day(first_day, last_day))
    told = [event for kind in (RAISED, RETURNED, PASSED) for event in history.events(0.0, to_s, kind)]
    info = history.info()
    began_s = info.first_reading_s
    sheet = plan_sheet(site, tree)
    drift = drift_rows(days.points, _marks(site, tree, sheet), last_day)
    period = _Period(
        from_s=max(day_start_s(first_day, history.zone), min(first_s, first_s if began_s is None else began_s)),
        to_s=to_s,
        sheet=sheet,
        carrying=plan_now(sheet, tree, dict.fromkeys(site.units, Carrying.ALL), Case.TYPICAL),
        now=case_now(site, now_s),
        days=days.merged,
        drift={(row.unit, row.port): row for row in drift},
        alarms=alarm_spans(told, first_s, to_s),
    )
    ports = tuple(row for name in site.units for row in _port_rows(site, tree, period, name))
    units = tuple(_unit_row(site, tree, period, days.unit_days.get(name, ()), name) for name in site.units)
    covered = [row.coverage_percent or 0.0 for row in units if row.readable]
    coverage_percent = sum(covered) / len(covered) if covered else None
    night = site.site.night
    return Audit(
        site=site.site.name,
        timezone=site.site.timezone,
        emulated=emulated,
        made_s=now_s,
        from_s=period.from_s,
        to_s=to_s,
        first_day=first_day,
        last_day=last_day,
        night=None if night is None else f"{night.start} to {night.end}",
        margin_percent=site.policy.margin_percent,
        margin_after_failure_percent=site.policy.margin_after_failure_percent,
        coverage_percent=coverage_percent,
        first_reading_s=max(period.from_s, began_s) if coverage_percent and began_s is not None else None,
        last_reading_s=min(to_s, info.last_reading_s)
        if coverage_percent and info.last_reading_s is not None
        else None,
        units=units,
        losses=loss_study(site, tree, sheet, days.merged),
        ports=ports,
        events=period.alarms,
        drift=drift,
        unseen=unseen(site, tree, days.merged, to_s - period.from_s),
        assumptions=_assumptions(site, tree),
    )


def _planned_max_w(sheet: PlanSheet, unit: str, port: str) -> float | None:
    cases = sheet.watts.get((unit, port), {})
    steady = [watts for case in STEADY_CASES if (watts := cases.get(case)) is not None]
    return max(steady) if len(steady) == len(STEADY_CASES) else None


def _marks(site: Site, tree: Tree, sheet: PlanSheet) -> dict[tuple[str, str | None], list[tuple[str, float | None]]]:
    """Return what a rising draw would meet: a unit its margin and lesser budget, a device port its plan and class."""
    marks: dict[tuple[str, str | None], list[tuple[str, float | None]]] = {}
    for name, unit in site.units.items():
        budgets = [budget_on_ac_w(unit)] if unit.supplies else []
        if tree.feeder_of(name) is not None:
            budgets.append(budget_on_feed_w(site, tree, name, None))
        if unit.pse is not None and budgets:
            least_w = min(budgets)
            kept_free = site.policy.margin_percent
            marks[name, None] = [
                (f"the margin of {kept_free:g} %", least_w * (1 - kept_free / 100)),
                ("its lesser budget", least_w),
            ]
        for key, port in unit.ports.items():
            if port.device is not None:
                plan_w = _planned_max_w(sheet, name, key)
                marks[name, key] = [
                    ("its plan", plan_w),
                    ("its class limit", class_limit_w(port_class(site, name, key))),
                ]
    return marks


def _port_rows(site: Site, tree: Tree, period: _Period, name: str) -> list[PortRow]:
    """Return the ports of a unit that the plan uses, or that gave power or an alarm though it does not."""
    unit = site.units[name]
    keys = {key for key, port in unit.ports.items() if port.hangs is not None}
    for (owner, key), day in period.days.items():
        if owner == name and key is not None and (day.seconds_delivering > 0 or (day.max_w or 0.0) > NOTHING_DRAWN_W):
            keys.add(key)
    keys |= {alarm.port for alarm in period.alarms if alarm.unit == name and alarm.port is not None}
    return [_port_row(site, tree, period, name, key) for key in sorted(keys, key=sort_key)]


def _port_row(site: Site, tree: Tree, period: _Period, name: str, key: str) -> PortRow:
    port = site.units[name].ports.get(key)
    planned = port is not None and port.hangs is not None
    day = period.days.get((name, key))
    total = period.days.get((name, None))
    coverage = period.coverage_percent(day)
    class_w = class_limit_w(port_class(site, name, key))
    feeds_unit = None if port is None else port.feeds_unit
    facts = PortFacts(
        readable=site.units[name].readable,
        unit_tells=total is not None and total.max_w is not None,
        planned=planned,
        planned_off=port is not None and port.off,
        hangs="" if port is None else port.hangs or "",
        feeds_unit=feeds_unit,
        planned_now_w=period.planned_now_w(name, key) if planned else None,
        planned_max_w=period.planned_max_w(name, key) if planned else None,
        class_limit_w=class_w,
        day=day,
        coverage_percent=coverage if planned else period.coverage_percent(total),
        carried_s=None if feeds_unit is None else carried_s(site, tree, period.days, feeds_unit),
        drift=period.drift.get((name, key)),
        alarms=tuple(alarm for alarm in period.alarms if (alarm.unit, alarm.port) == (name, key)),
    )
    return PortRow(
        unit=name,
        port=key,
        label="" if port is None else port.label or "",
        hangs=facts.hangs,
        kind="" if port is None else port.type or "",
        feeds_unit=feeds_unit,
        planned=planned,
        planned_now_w=facts.planned_now_w,
        planned_max_w=facts.planned_max_w,
        planned_carrying_max_w=None if feeds_unit is None else period.carrying[name, key].max_w,
        class_limit_w=class_w,
        p50_w=None if day is None else day.percentile(50),
        p95_w=None if day is None else day.percentile(95),
        max_w=None if day is None else day.max_w,
        max_s=None if day is None else day.peak_s,
        basis=_main_basis(day),
        coverage_percent=coverage,
        delivering_s=0.0 if day is None else day.seconds_delivering,
        findings=port_findings(facts),
    )


def _unit_row(site: Site, tree: Tree, period: _Period, unit_days: Sequence[UnitDaySummary], name: str) -> UnitRow:
    unit = site.units[name]
    day = period.days.get((name, None))
    p95_w, max_w = (None, None) if day is None else (day.percentile(95), day.max_w)
    policy = site.policy
    coverage = period.coverage_percent(day)
    on_ac = on_feed = None
    if unit.pse is not None and unit.supplies:
        on_ac = leg_verdict("local AC", budget_on_ac_w(unit), policy.margin_percent, p95_w, max_w, coverage)
    if unit.pse is not None and tree.feeder_of(name) is not None:
        kept_free = policy.margin_after_failure_percent if unit.supplies else policy.margin_percent
        budget_w = budget_on_feed_w(site, tree, name, None)
        on_feed = leg_verdict("PoE feed", budget_w, kept_free, p95_w, max_w, coverage)
    legs: list[LegVerdict] = [leg for leg in (on_ac, on_feed) if leg is not None]
    return UnitRow(
        unit=name,
        place=unit.place,
        readable=unit.readable,
        planned_now_w=_sum([period.planned_now_w(name, key) for key in unit.ports]),
        planned_max_w=_sum([period.planned_max_w(name, key) for key in unit.ports]),
        p50_w=None if day is None else day.percentile(50),
        p95_w=p95_w,
        max_w=max_w,
        max_s=None if day is None else day.peak_s,
        basis=_main_basis(day),
        coverage_percent=coverage,
        on_ac=on_ac,
        on_feed=on_feed,
        days=tuple(sorted(unit_days, key=lambda one: one.day)),
        findings=unit_findings(
            unit.readable,
            legs,
            {} if day is None else day.basis_shares,
            coverage,
            period.drift.get((name, None)),
        ),
    )


def _main_basis(day: PortDay | None) -> Basis | None:
    return None if day is None else next(iter(day.basis_shares), None)


def _sum(watts: Sequence[float | None]) -> float | None:
    known = [one for one in watts if one is not None]
    return sum(known) if len(known) == len(watts) else None


def _assumptions(site: Site, tree: Tree) -> tuple[str, ...]:
    """Return what the plan leaves open and how it was counted, each once."""
    said: dict[str, None] = {}
    for name, unit in site.units.items():
        said.update(dict.fromkeys(unit_assumptions(name, unit, is_fed=tree.feeder_of(name) is not None)))
        for key in unit.ports:
            for case in STEADY_CASES:
                said.update(dict.fromkeys(planned_port_w(site, tree, name, key, case).assumed))
    return tuple(said)
