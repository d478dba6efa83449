"""The overview as it is shown: headline, alarms, what the next single loss asks, units in tree order."""

from __future__ import annotations

from dataclasses import dataclass

from portdraw.judgement.alarm import Alarm, AlarmState
from portdraw.judgement.assessment import NextLoss, SiteAssessment
from portdraw.observation.unit_observation import Outcome
from portdraw.reporting.budget_bar import BudgetBar, budget_bar
from portdraw.reporting.current import AgentHealth
from portdraw.reporting.plain_text import plain
from portdraw.reporting.unit_order import in_tree_order
from portdraw.reporting.unit_view import UnitView, unit_view
from portdraw.reporting.wording import (
    SHOWN_STATES,
    age,
    clock,
    figure,
    known,
    lacking_w,
    limit,
    loss_rests_on,
    loss_verdict,
    most_urgent_first,
    running_on,
    since,
    worst_first,
    zone,
)

MOST_ALARMS_IN_FULL = 12
MOST_ALARM_LINES = 100
MOST_LOSSES = 10


@dataclass(frozen=True)
class AlarmView:
    """An alarm in the order an operator asks: what, where, running on what, since when, what to do first."""

    severity: str
    state: str
    what: str
    unit: str
    where: str
    running_on: str
    since: str
    first: str
    consequence: str
    why: str


@dataclass(frozen=True)
class LossView:
    """What a single loss would ask of the limit that it loads most."""

    what: str
    limit: str
    need: str
    can_give: str
    verdict: str
    tone: str
    rests_on: str
    moved: str
    bar: BudgetBar


@dataclass(frozen=True)
class OverviewView:
    """Everything on the overview, in words and percent."""

    headline: str
    facts: tuple[str, ...]
    no_alarm: str
    alarms: tuple[AlarmView, ...]
    alarm_lines: tuple[str, ...]
    more_alarms: int
    set_aside: tuple[str, ...]
    losses: tuple[LossView, ...]
    more_losses: int
    units: tuple[UnitView, ...]


def overview_view(site: SiteAssessment, now_s: float) -> OverviewView:
    """Return how the site is shown at `now_s` (site clock, seconds since the epoch)."""
    shown = most_urgent_first(alarm for alarm in site.alarms if alarm.state in SHOWN_STATES)
    losses = worst_first(site.next_losses)
    return OverviewView(
        headline=plain(site.headline),
        facts=tuple(_facts(site, now_s)),
        no_alarm=_no_alarm_words(site),
        alarms=tuple(alarm_view(site, alarm, now_s) for alarm in shown[:MOST_ALARMS_IN_FULL]),
        alarm_lines=tuple(
            f"{alarm.severity.value}: {plain(alarm.sentence)}"
            for alarm in shown[MOST_ALARMS_IN_FULL : MOST_ALARMS_IN_FULL + MOST_ALARM_LINES]
        ),
        more_alarms=max(0, len(shown) - MOST_ALARMS_IN_FULL - MOST_ALARM_LINES),
        set_aside=tuple(_set_aside(site, now_s)),
        losses=tuple(_loss_view(loss) for loss in losses[:MOST_LOSSES]),
        more_losses=max(0, len(losses) - MOST_LOSSES),
        units=tuple(unit_view(site, unit, depth, now_s) for unit, depth in in_tree_order(site)),
    )


def alarm_view(site: SiteAssessment, alarm: Alarm, now_s: float) -> AlarmView:
    """Return how an alarm is shown."""
    unit = site.unit(alarm.unit)
    where = plain(alarm.unit)
    if alarm.port:
        where += f" port {plain(alarm.port)}"
    if unit is not None and unit.place:
        where += f", {plain(unit.place)}"
    return AlarmView(
        severity=alarm.severity.value,
        state=alarm.state.value,
        what=plain(alarm.sentence, 600),
        unit=plain(alarm.unit) if unit is not None else "",
        where=where,
        running_on=plain(running_on(unit)),
        since=since(alarm.began_s, site.timezone, now_s),
        first=plain(alarm.action, 600),
        consequence=plain(alarm.consequence, 600),
        why=plain(alarm.why_severity, 600),
    )


def late_words(site: SiteAssessment | None, health: AgentHealth, timezone: str, now_s: float) -> str:
    """Return why the page can't be relied on as news, "" where it can."""
    if not health.ready:
        return f"The agent is not ready: {plain(health.why_not_ready) or 'it does not say why'}."
    newest = [moment for moment in (health.last_cycle_s, None if site is None else site.time_s) if moment is not None]
    last_s = min(newest, default=health.started_s)
    if now_s - last_s > health.late_after_s:
        when = f"{clock(last_s, timezone, now_s)}, {age(now_s - last_s)} ago"
        return f"No new cycle since {when}. Everything below is that old."
    if not health.history_ok:
        return f"The history can't be written: {plain(health.history_error)}."
    return ""


def _facts(site: SiteAssessment, now_s: float) -> list[str]:
    readable = [unit for unit in site.units if unit.outcome is not Outcome.NOT_READABLE]
    fresh = [unit for unit in readable if unit.read_s is not None and not unit.stale]
    ages = [now_s - unit.read_s for unit in fresh if unit.read_s is not None]
    facts = [f"{len(fresh)} of {len(readable)} units read" + (f", oldest {age(max(ages))} ago" if ages else "")]
    by_design = len(site.units) - len(readable)
    if by_design:
        facts.append(f"{by_design} not readable by design")
    facts.append(f"{'night' if site.night else 'day'} plan")
    facts.append(f"margin {site.margin_percent:g} % of each limit")
    if str(zone(site.timezone)) != site.timezone:
        facts.append(f"times in UTC: the time zone {plain(site.timezone)} is not known here")
    return facts


def _no_alarm_words(site: SiteAssessment) -> str:
    """Return what an empty list of alarms means: quiet only where everything was read."""
    unread = sum(unit.read_s is None or unit.stale for unit in site.units if unit.outcome is not Outcome.NOT_READABLE)
    if not unread:
        return "No alarm is up."
    return f"No alarm is up, but {unread} of {len(site.units)} units are unknown: this list can't speak for them."


def _set_aside(site: SiteAssessment, now_s: float) -> list[str]:
    lines = []
    for alarm in most_urgent_first(site.alarms):
        if alarm.state in (AlarmState.PENDING, AlarmState.RETURNED, AlarmState.SHELVED, AlarmState.SUPPRESSED):
            when = (
                alarm.ended_s if alarm.state is AlarmState.RETURNED and alarm.ended_s is not None else alarm.began_s
            )
            moment = clock(when, site.timezone, now_s)
            lines.append(f"{alarm.state.value}, {moment}: {plain(alarm.sentence)}")
    return lines[:MOST_ALARM_LINES]


def _loss_view(loss: NextLoss) -> LossView:
    short_w, need_w, limit_w = lacking_w(loss), known(loss.need_w), known(loss.limit_w)
    scale_w = max(need_w or 0.0, limit_w or 0.0)
    tone = "unknown" if short_w is None else "urgent" if short_w > 0 else "warning" if loss.is_tight else "quiet"
    names = [plain(name) for name in loss.moved_units]
    moved = ", ".join(names[:8]) + (f" and {len(names) - 8} more" if len(names) > 8 else "")
    return LossView(
        what=plain(loss.what),
        limit=plain(loss.limit),
        need=figure(need_w),
        can_give=limit(limit_w),
        verdict=plain(loss_verdict(loss)),
        tone=tone,
        moved=moved or "none",
        rests_on=plain(loss_rests_on(loss)),
        bar=budget_bar(need_w, limit_w, scale_w, 0.0),
    )
