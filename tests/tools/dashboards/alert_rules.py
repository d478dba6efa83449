"""Alerting rules for teams that alarm from the metrics.

Two groups. The agent's own alarms, passed on: one rule a kind, alike in name, consequence and action, with the
severity that the agent worked out; delays, dead-bands, shelving and planned work are the agent's. And what the agent
does not alarm on by itself: its own silence, and what holds now but not tonight or by design.
Delays of the second group are common practice.
"""

from __future__ import annotations

from dataclasses import dataclass

from tests.tools.dashboards.look import kind_words

from portdraw.judgement.alarm_rule import ALARM_RULES, AlarmRule
from portdraw.reporting.current import AgentHealth

WHERE = "{{ or $labels.unit `the site` }}{{ with $labels.port }} port {{ . }}{{ end }}"
KEPT = "2m"  # the agent starts again, or a scrape fails: an alarm does not blink


@dataclass(frozen=True)
class OwnRule:
    """A rule of the second group."""

    name: str
    expr: str
    wait: str
    severity: str
    summary: str
    consequence: str
    action: str


def kind_rule(rule: AlarmRule) -> dict[str, object]:
    """Return the rule that passes one kind of alarm on; its severity is the alarm's own."""
    return {
        "alert": rule.kind.value,
        "expr": f'max by (site, unit, port, severity) (portdraw_alarm_active{{kind="{rule.kind.value}"}}) == 1',
        "keep_firing_for": KEPT,
        "annotations": {
            "summary": f"{WHERE}: {kind_words(rule.kind)} ({{{{ $labels.site }}}})",
            "consequence": rule.consequence,
            "action": rule.action,
        },
    }


LATE_S = AgentHealth.late_after_s

OWN: tuple[OwnRule, ...] = (
    OwnRule(
        "next-failure-unsafe-later",
        'max by (site, failure, load) (portdraw_failure_unsafe{load!="now"}) == 1',
        "1h",
        "notice",
        "Unsafe on the load {{ $labels.load }}: {{ $labels.failure }} ({{ $labels.site }})",
        "Nothing is wrong now. If it fails on such a load, devices go dark that the site promised to keep.",
        "See the standing findings on the agent's overview; have the integrator plan the change that mends it.",
    ),
    OwnRule(
        "next-failure-not-known",
        'count by (site) (max by (site, failure) (portdraw_failure_known{load="now"}) == 0) > 0',
        "30m",
        "notice",
        "{{ $value }} of the failures that may come next are not worked out from readings ({{ $labels.site }})",
        "Whether they would darken anything is not known: count them as the worst.",
        "See which units are not read, or do not tell their watts, and have that mended first.",
    ),
    OwnRule(
        "spare-leg-over-budget",
        "max by (site, unit, leg) (portdraw_unit_headroom_watts) < 0 unless on (site, unit, leg) "
        'max by (site, unit, leg) (portdraw_leg_carrying{state="all"}) == 1',
        "5m",
        "warning",
        "{{ $labels.unit }} draws more than its budget on leg {{ $labels.leg }}, which does not carry it now: "
        "{{ $value | printf `%.1f` }} W left ({{ $labels.site }})",
        "All is powered. If this leg has to carry the unit, it sheds devices.",
        "Add nothing to this unit. Have load moved or taken off, or the feed raised, before work on its other leg.",
    ),
    OwnRule(
        "feeder-port-too-small",
        "max by (site, unit) (portdraw_feed_need_watts) > max by (site, unit) (portdraw_feed_limit_watts)",
        "5m",
        "warning",
        "{{ $labels.unit }} would take {{ $value | printf `%.1f` }} W at its feeder's port, more than that can give "
        "({{ $labels.site }})",
        "All is powered. If local AC goes, the feeder may cut the whole unit off.",
        "Call the network engineer: class and limit of the feeder's port, length of the cable, load of the unit.",
    ),
    OwnRule(
        "agent-silent",
        "(max by (job, instance, site) (max_over_time(portdraw_emulated[1d])) unless on (job, instance, site) "
        "portdraw_emulated) or absent_over_time(portdraw_emulated[1d])",
        "2m",
        "urgent",
        "No news of {{ or $labels.site `any site` }}: the agent at {{ or $labels.instance `an unknown address` }} "
        "tells nothing",
        "Whatever goes wrong there is not seen here. That other alarms are quiet means nothing.",
        "Open the agent's overview. Is its machine up, its service running, the way to it open? Watch the site by "
        "other means until it is back.",
    ),
    OwnRule(
        "agent-not-ready",
        "portdraw_ready == 0",
        "5m",
        "warning",
        "The agent at {{ $labels.instance }} runs, but has ended no cycle",
        "Nothing is judged yet; no alarm can come.",
        "See why it is not ready: its /ready says so in one sentence.",
    ),
    OwnRule(
        "cycle-late",
        f"portdraw_cycle_age_seconds > {LATE_S:g}",
        "1m",
        "urgent",
        "The agent at {{ $labels.instance }} last judged its site {{ $value | humanizeDuration }} ago",
        "Figures and alarms are those of that time; nothing newer is known.",
        "Read the agent's log; see whether its machine is out of memory or its disk full. Restart it if it stands.",
    ),
    OwnRule(
        "polls-late",
        "portdraw_overdue_units > 0",
        "10m",
        "notice",
        "{{ $value }} units are polled late by the agent at {{ $labels.instance }}",
        "Their readings grow old, and alarms for them come late.",
        "See the load of the agent's machine, and whether many units hang at once.",
    ),
    OwnRule(
        "history-not-written",
        "portdraw_history_ok == 0",
        "1m",
        "warning",
        "The agent at {{ $labels.instance }} can't write its history",
        "Reading and alarming go on, but the audit will have a gap, and trends are not worked out.",
        "See whether the disk is full or the history's folder is closed to the agent. Delete nothing in that folder.",
    ),
    OwnRule(
        "receiver-not-reached",
        "portdraw_receiver_ok == 0",
        "1m",
        "warning",
        "Alarms do not reach {{ $labels.receiver }} from the agent at {{ $labels.instance }}",
        "They are kept and sent again, but nobody is told by this way now.",
        "Is the receiver up, its address and its secret still right? Watch the overview by eye until it is mended.",
    ),
)


def own_rule(rule: OwnRule) -> dict[str, object]:
    """Return a rule of the second group as Prometheus reads it."""
    return {
        "alert": rule.name,
        "expr": rule.expr,
        "for": rule.wait,
        "labels": {"severity": rule.severity},
        "annotations": {"summary": rule.summary, "consequence": rule.consequence, "action": rule.action},
    }


def alert_groups() -> dict[str, object]:
    """Return both groups."""
    return {
        "groups": [
            {"name": "portdraw-alarms", "rules": [kind_rule(rule) for rule in ALARM_RULES.values()]},
            {"name": "portdraw-own", "rules": [own_rule(rule) for rule in OWN]},
        ]
    }
