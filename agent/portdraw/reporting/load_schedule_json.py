"""The load schedule for programs: the same figures as the printed form, watts rounded to milliwatts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from portdraw.plan.finding import Finding
from portdraw.plan.load_case import Case
from portdraw.plan.planned_load import LoadSchedule, PlannedPort, Sum
from portdraw.reporting.load_schedule import CAUTION, assumptions, exceeded, not_judged, stands, unpowered


def schedule_json(schedule: LoadSchedule, findings: list[Finding]) -> dict[str, Any]:
    """Return the load schedule as plain data. null is unknown; a sum with `missing` parts is a lower bound."""
    return {
        "site": schedule.site,
        "stands": stands(schedule, findings),
        "margin_percent": schedule.margin_percent,
        "margin_after_failure_percent": schedule.margin_after_failure_percent,
        "units": [
            {
                "unit": unit.unit,
                "place": unit.place,
                "tier": unit.tier,
                "supplied_by": list(unit.supplied_by),
                "fed_by": unit.fed_by,
                "budget_on_ac_w": _rounded(unit.budget_on_ac_w),
                "budget_on_feed_w": _rounded(unit.budget_on_feed_w),
                "normal": _sums(unit.normal),
                "all_feeds_carrying": _sums(unit.carrying),
                "ports": [_port(port) for port in unit.ports],
            }
            for unit in schedule.units
        ],
        "tiers": [
            {
                "tier": tier.tier,
                "units": list(tier.units),
                "devices": _sums(tier.devices),
                "normal": _sums(tier.normal),
            }
            for tier in schedule.tiers
        ],
        "sources": [
            {
                "name": source.name,
                "kind": source.kind,
                "units": list(source.units),
                "other_load_w": source.other_load_w,
                "limit_w": _rounded(source.limit_w),
                "normal": _sums(source.normal),
                "all_feeds_carrying": _sums(source.carrying),
            }
            for source in schedule.sources
        ],
        "findings": [
            {"severity": finding.severity.value, "where": finding.where, "sentence": finding.sentence}
            for finding in findings
        ],
        "unpowered": list(unpowered(schedule)),
        "exceeded": list(exceeded(schedule)),
        "assumed": assumptions(schedule),
        "not_judged": not_judged(schedule),
        "caution": CAUTION,
    }


def _port(port: PlannedPort) -> dict[str, Any]:
    return {
        "port": port.port,
        "label": port.label,
        "kind": port.kind,
        "hangs": port.hangs or None,
        "type": port.device_type or None,
        "class": list(port.device_class) if isinstance(port.device_class, tuple) else port.device_class,
        "priority": port.priority,
        "cable_m": port.length_m,
        "pd_w": _watts(port.pd_w) if port.kind == "device" else None,
        "pse_w": _watts(port.pse_w),
        "pse_all_feeds_carrying_w": _watts(port.carrying_w),
        "assumed": list(port.assumed),
    }


def _watts(figures: Mapping[Case, float | None]) -> dict[str, float | None]:
    return {case.value: _rounded(watts) for case, watts in figures.items()}


def _sums(sums: Mapping[Case, Sum]) -> dict[str, Any]:
    return {
        case.value: {"watts": _rounded(total.watts), "missing": list(total.missing)} for case, total in sums.items()
    }


def _rounded(watts: float | None) -> float | None:
    return None if watts is None else round(watts, 3)
