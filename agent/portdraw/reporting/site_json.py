"""The assessment as JSON for other programs: units in the field names, basis and age on each watt.

A figure is an object: `value_w` is null where it is unknown, and `missing` then says why.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from portdraw.judgement.alarm import Alarm
from portdraw.judgement.assessment import Leg, PortAssessment, SiteAssessment, UnitAssessment
from portdraw.judgement.next_failure import NextFailure, Outlook
from portdraw.observation.record import Basis
from portdraw.reading.notification_gate import Fate, NotificationCounts
from portdraw.reporting.current import AgentHealth
from portdraw.reporting.plain_text import plain
from portdraw.reporting.unit_order import in_tree_order
from portdraw.reporting.wording import iso, known

Json = Mapping[str, "Json"] | Sequence["Json"] | str | float | int | bool | None
FORMAT = 1


def site_json(site: SiteAssessment, now_s: float) -> dict[str, Json]:
    """Return the whole assessment; ages are against `now_s` (site clock, seconds since the epoch)."""
    return {
        "format": FORMAT,
        "site": plain(site.site),
        "emulated": site.emulated,
        "timezone": plain(site.timezone),
        "assessed_at": iso(site.time_s, site.timezone),
        "assessed_at_s": known(site.time_s),
        "now_s": known(now_s),
        "cycle": site.cycle,
        "night": site.night,
        "margin_percent": known(site.margin_percent),
        "headline": plain(site.headline),
        "units": [unit_json(unit, site.timezone, now_s) for unit, _ in in_tree_order(site)],
        "next_failures": [_failure(failure) for failure in site.next_failures],
        "more_failures": site.more_failures,
        "tonight_rests_on": plain(site.tonight_rests_on),
        "findings": [
            {"load": one.load.value, "what": plain(one.what), "sentence": plain(one.sentence, 600)}
            for one in site.findings
        ],
        "alarms": [alarm_json(alarm, site.timezone) for alarm in site.alarms],
    }


def unit_json(unit: UnitAssessment, timezone: str, now_s: float) -> dict[str, Json]:
    """Return one unit with its legs and ports."""
    why = unit.reason or ("the unit was not read" if unit.read_s is None else "the unit did not tell")
    draw = _watts(unit.draw_w, unit.draw_basis, unit.read_s, now_s, why)
    draw["complete"] = unit.draw_complete and known(unit.draw_w) is not None
    return {
        "unit": plain(unit.unit),
        "place": plain(unit.place),
        "zone": plain(unit.zone),
        "fed_by": None if unit.fed_by is None else plain(unit.fed_by),
        "poll": {
            "outcome": unit.outcome.value,
            "reason": plain(unit.reason),
            "read_at": iso(unit.read_s, timezone),
            "read_at_s": known(unit.read_s),
            "age_s": _age(unit.read_s, now_s),
            "stale": unit.stale,
        },
        "draw": draw,
        "total": _watts(unit.total_w, Basis.MEASURED, unit.read_s, now_s, "the unit gave no total of its own"),
        "planned_now": _planned(unit.planned_now_w),
        "planned_max": _planned(unit.planned_max_w),
        "budget": {
            "now": _limit(unit.budget_w, "it is not known which leg carries, or the budget on it"),
            "on_local_ac": _limit(unit.budget_on_ac_w, "the unit has no budget on local AC, or it is not declared"),
            "on_poe_feed": _limit(
                unit.budget_on_feed_w, "the unit takes no PoE feed, or its budget can't be worked out"
            ),
            "reported": _limit(unit.budget_reported_w, "the unit did not report one"),
        },
        "budget_used_ratio": known(unit.share),
        "feed_need": _watts(
            unit.feed_need_w, unit.draw_basis, unit.read_s, now_s, "the unit takes no feed, or its draw is unknown"
        ),
        "feed_limit": _limit(unit.feed_limit_w, "the unit takes no feed, or the port's limit is unknown"),
        "notes": [plain(note) for note in unit.notes],
        "legs": [_leg(leg, timezone) for leg in unit.legs],
        "ports": [_port(port, timezone, now_s) for port in unit.ports],
    }


def alarm_json(alarm: Alarm, timezone: str) -> dict[str, Json]:
    """Return one alarm."""
    return {
        "kind": alarm.kind.value,
        "unit": plain(alarm.unit),
        "port": None if alarm.port is None else plain(alarm.port),
        "state": alarm.state.value,
        "severity": alarm.severity.value,
        "why_severity": plain(alarm.why_severity),
        "sentence": plain(alarm.sentence, 600),
        "consequence": plain(alarm.consequence, 600),
        "action": plain(alarm.action, 600),
        "value": known(alarm.value),
        "limit": known(alarm.limit),
        "measure": plain(alarm.measure),
        "began_at": iso(alarm.began_s, timezone),
        "began_at_s": known(alarm.began_s),
        "raised_at": iso(alarm.raised_s, timezone),
        "raised_at_s": known(alarm.raised_s),
        "ended_at": iso(alarm.ended_s, timezone),
        "ended_at_s": known(alarm.ended_s),
        "handling": handling_json(alarm, timezone),
    }


def alarms_json(site: SiteAssessment) -> dict[str, Json]:
    """Return all alarms of an assessment, those that are up first."""
    return {
        "format": FORMAT,
        "site": plain(site.site),
        "emulated": site.emulated,
        "timezone": plain(site.timezone),
        "assessed_at": iso(site.time_s, site.timezone),
        "assessed_at_s": known(site.time_s),
        "alarms": [alarm_json(alarm, site.timezone) for alarm in site.alarms],
    }


def handling_json(alarm: Alarm, timezone: str) -> Json:
    """Return who has an alarm in hand, why and until when; None where nobody has."""
    if alarm.handling is None:
        return None
    return {
        "owner": plain(alarm.handling.owner),
        "reason": plain(alarm.handling.reason),
        "until_at": iso(alarm.handling.until_s, timezone),
        "until_at_s": known(alarm.handling.until_s),
    }


def health_json(health: AgentHealth, now_s: float) -> dict[str, Json]:
    """Return the agent's own health."""
    return {
        "alive": True,
        "version": health.version,
        "emulated": health.emulated,
        "ready": health.ready,
        "why_not_ready": plain(health.why_not_ready),
        "uptime_s": max(0.0, round(now_s - health.started_s, 1)),
        "cycles": health.cycles,
        "cycle_age_s": _rounded(_age(health.last_cycle_s, now_s), 1),
        "cycle_took_s": _rounded(known(health.last_cycle_took_s), 3),
        "overdue_units": [plain(unit) for unit in health.overdue_units],
        "clock_note": plain(health.clock_note),
        "busy_note": plain(health.busy_note),
        "history": {"ok": health.history_ok, "error": plain(health.history_error)},
        "receivers": [
            {"name": plain(receiver.name), "ok": receiver.ok, "last_error": plain(receiver.last_error)}
            for receiver in health.receivers
        ],
        "notifications": None if health.notifications is None else _notifications(health.notifications),
    }


def _notifications(counts: NotificationCounts) -> dict[str, Json]:
    return {
        "taken": counts.fates.get(Fate.TAKEN, 0),
        "unknown_sender": counts.fates.get(Fate.UNKNOWN, 0),
        "credentials_refused": counts.fates.get(Fate.REFUSED, 0),
        "not_understood": counts.fates.get(Fate.MALFORMED, 0),
        "too_many": counts.fates.get(Fate.DROPPED, 0),
        "units": {plain(unit): count for unit, count in counts.units.items()},
    }


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)


def _age(read_s: float | None, now_s: float) -> float | None:
    moment_s = known(read_s)
    return None if moment_s is None else max(0.0, round(now_s - moment_s, 3))


def _watts(value: float | None, basis: Basis | None, read_s: float | None, now_s: float, why: str) -> dict[str, Json]:
    value_w = known(value)
    return {
        "value_w": value_w,
        "basis": None if value_w is None or basis is None else basis.value,
        "age_s": None if value_w is None else _age(read_s, now_s),
        "missing": plain(why) if value_w is None else None,
    }


def _planned(value: float | None) -> dict[str, Json]:
    value_w = known(value)
    return {
        "value_w": value_w,
        "basis": None if value_w is None else Basis.PLANNED.value,
        "age_s": None,
        "missing": "the site file gives no watts for it" if value_w is None else None,
    }


def _limit(value: float | None, why: str) -> dict[str, Json]:
    value_w = known(value)
    return {"value_w": value_w, "missing": why if value_w is None else None}


def _leg(leg: Leg, timezone: str) -> dict[str, Json]:
    return {
        "name": leg.name,
        "source": plain(leg.source),
        "availability": leg.availability.value,
        "carrying": leg.carrying.value,
        "since": iso(leg.since_s, timezone),
        "since_s": known(leg.since_s),
        "sure": leg.sure,
        "evidence_for": [plain(text) for text in leg.evidence_for],
        "evidence_against": [plain(text) for text in leg.evidence_against],
    }


def _port(port: PortAssessment, timezone: str, now_s: float) -> dict[str, Json]:
    draw = _watts(port.draw_w, port.basis, port.read_s, now_s, port.missing or "the port's watts were not read")
    draw["uncertainty_w"] = None if draw["value_w"] is None else known(port.uncertainty_w)
    draw["source"] = plain(port.source)
    draw["read_at"] = iso(port.read_s, timezone)
    draw["read_at_s"] = known(port.read_s)
    return {
        "port": plain(port.port),
        "label": plain(port.label),
        "hangs": plain(port.hangs),
        "kind": plain(port.kind),
        "feeds_unit": None if port.feeds_unit is None else plain(port.feeds_unit),
        "planned": port.planned,
        "state": None if port.state is None else port.state.value,
        "device_class": port.device_class,
        "class_limit": _limit(port.class_limit_w, "the class is not known"),
        "draw": draw,
        "planned_now": _planned(port.planned_now_w),
        "planned_max": _planned(port.planned_max_w),
        "denied_count": port.denied_count,
        "neighbour": None if port.neighbour is None else plain(port.neighbour),
    }


def _failure(failure: NextFailure) -> dict[str, Json]:
    return {
        "what": plain(failure.what),
        "kind": failure.kind.value,
        "moved_units": [plain(unit) for unit in failure.moved_units],
        "outlooks": [_outlook(outlook) for outlook in failure.outlooks],
    }


def _outlook(outlook: Outlook) -> dict[str, Json]:
    why = plain(outlook.reason) or "this failure loads no limit more"
    return {
        "load": outlook.load.value,
        "outcome": outlook.outcome.value,
        "dark": [plain(name) for name in outlook.dark],
        "may_go_dark": [plain(name) for name in outlook.may_go_dark],
        "limit": plain(outlook.limit),
        "limit_of": plain(outlook.subject),
        "need": _limit(outlook.need_w, why),
        "limit_can_give": _limit(outlook.limit_w, why),
        "headroom": _limit(outlook.headroom_w, why),
        "stay_over": [plain(name) for name in outlook.over],
        "margin_used": outlook.tight,
        "battery": plain(outlook.battery),
        "battery_minutes": known(outlook.minutes),
        "why": [plain(reason, 600) for reason in outlook.why],
        "highest_criticality": outlook.highest,
        "planned_watts_stand_for": [plain(unit) for unit in outlook.assumed],
        "rests_on_undeclared": outlook.undeclared,
    }
