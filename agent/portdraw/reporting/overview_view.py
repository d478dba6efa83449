"""The overview as it is shown: headline, alarms, what fails next, units in tree order."""

from __future__ import annotations

from dataclasses import dataclass

from portdraw.judgement.alarm import AlarmState
from portdraw.judgement.assessment import SiteAssessment
from portdraw.observation.unit_observation import Outcome
from portdraw.reporting.alarm_view import AlarmView, ShelvedView, alarm_view, shelved_view
from portdraw.reporting.current import AgentHealth
from portdraw.reporting.failure_view import FailureView, failure_views
from portdraw.reporting.plain_text import plain
from portdraw.reporting.unit_order import in_tree_order
from portdraw.reporting.unit_trouble import unit_troubles
from portdraw.reporting.unit_view import UnitView, unit_view
from portdraw.reporting.wording import (
    SHOWN_STATES,
    age,
    clock,
    most_urgent_first,
    zone,
)
from portdraw.reporting.zone_view import ZoneView, zone_views

MOST_ALARMS_IN_FULL = 12
MOST_ALARM_LINES = 100
MOST_FAILURES = 8
# beyond as many units a sheet shows those that need a look, and all of them by zone
MOST_UNITS_IN_FULL = 24
SET_ASIDE = frozenset({AlarmState.SHELVED, AlarmState.SUPPRESSED})
WAITING = frozenset({AlarmState.PENDING, AlarmState.RETURNED})


@dataclass(frozen=True)
class OverviewView:
    """Everything on the overview, in words and percent.

    `set_aside` are sentences of all alarms that are not in the list; `shelved` are those that a person took out of
    it, `waiting` the others. `units` are shown in full; on a large site these are the worst of those that need a
    look, `more_units` is how many more do, and `zones` has all. `findings` stand until the plan is changed.
    """

    headline: str
    facts: tuple[str, ...]
    no_alarm: str
    alarms: tuple[AlarmView, ...]
    alarm_lines: tuple[str, ...]
    more_alarms: int
    set_aside: tuple[str, ...]
    shelved: tuple[ShelvedView, ...]
    waiting: tuple[str, ...]
    failures: tuple[FailureView, ...]
    more_failures: int
    tonight_rests_on: str
    findings: tuple[str, ...]
    units: tuple[UnitView, ...]
    more_units: int
    zones: tuple[ZoneView, ...]


def overview_view(site: SiteAssessment, now_s: float, most_units: int | None = None) -> OverviewView:
    """Return how the site is shown at `now_s` (site clock, seconds since the epoch).

    A site of more than `most_units` units is shown by zone; None shows each unit in full.
    """
    shown = most_urgent_first(alarm for alarm in site.alarms if alarm.state in SHOWN_STATES)
    shelved = most_urgent_first(alarm for alarm in site.alarms if alarm.state in SET_ASIDE)
    failures = failure_views(site.next_failures)
    listed = in_tree_order(site)
    zones: tuple[ZoneView, ...] = ()
    more_units = 0
    if most_units is not None and len(listed) > most_units:
        troubles = unit_troubles(site)
        zones = zone_views(site, troubles)
        needing = [row for row in listed if troubles[row[0].unit].needs_a_look]
        needing.sort(key=lambda row: troubles[row[0].unit].rank)
        listed = [(unit, 0) for unit, _ in needing[:most_units]]
        more_units = len(needing) - len(listed)
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
        set_aside=tuple(_lines_of(site, SET_ASIDE | WAITING, now_s)),
        shelved=tuple(shelved_view(site, alarm, now_s) for alarm in shelved[:MOST_ALARM_LINES]),
        waiting=tuple(_lines_of(site, WAITING, now_s)),
        failures=tuple(failures[:MOST_FAILURES]),
        more_failures=max(0, len(failures) - MOST_FAILURES) + site.more_failures,
        tonight_rests_on=plain(site.tonight_rests_on),
        findings=tuple(plain(finding.sentence, 600) for finding in site.findings),
        units=tuple(unit_view(site, unit, depth, now_s) for unit, depth in listed),
        more_units=more_units,
        zones=zones,
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
    note = health.clock_note or health.busy_note
    return f"Note: {plain(note)}." if note else ""


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


def _lines_of(site: SiteAssessment, states: frozenset[AlarmState], now_s: float) -> list[str]:
    lines = []
    for alarm in most_urgent_first(alarm for alarm in site.alarms if alarm.state in states):
        returned_s = alarm.ended_s if alarm.state is AlarmState.RETURNED else None
        moment = clock(alarm.began_s if returned_s is None else returned_s, site.timezone, now_s)
        lines.append(f"{alarm.state.value}, {moment}: {plain(alarm.sentence)}")
    return lines[:MOST_ALARM_LINES]
