"""The restart study as JSON: every course, moment, peak and delay, units in the names of fields."""

from __future__ import annotations

from portdraw.powerflow.changeover import Changeover
from portdraw.powerflow.course import Course, Peak
from portdraw.powerflow.limit_state import LimitState
from portdraw.powerflow.network import Network
from portdraw.reporting.studies.restart_study import RestartRow, SiteRestart
from portdraw.reporting.studies.restart_tables import headline

_TRACED = 40  # limits of each course of which the watts over time are given, the most loaded


def restarts_document(study: SiteRestart) -> dict[str, object]:
    """Return the study. Seconds from the moment at which power comes back; at the changeover, at which it goes."""
    return {
        "site": study.site.site.name,
        "findings": study.findings,
        "answer": headline(study),
        "courses": [_row(study.network, row) for row in study.rows],
        "changes_of_legs": [
            {"load": case.value, **_changeover(step)} for row in study.steps for case, step in row.cases
        ],
        "assumed": list(study.assumed),
    }


def _row(network: Network, row: RestartRow) -> dict[str, object]:
    restart = row.restart
    mend = restart.mend
    return {
        "what": row.what,
        "load": row.case.value,
        "fine": restart.fine,
        "retry_s": restart.retry_s,
        "sentences": list(restart.sentences),
        "not_back": list(restart.not_back),
        "shed_on_the_way": list(restart.tried_often),
        "too_much_all_the_time": restart.steady_over,
        "not_as_before": [
            {"what": one.kind.value, "unit": one.unit, "port": one.port, "before": one.before, "after": one.after}
            for one in restart.not_as_before
        ],
        **_course(network, restart.course),
        "start_delays": None
        if mend is None
        else {
            "mends": mend.mends,
            "full_service_s": mend.course.full_service_s,
            "ports": [
                {
                    "unit": delay.unit,
                    "port": delay.port,
                    "device": delay.device,
                    "start_delay_s": delay.delay_s,
                    "now_s": delay.now_s,
                }
                for delay in mend.delays
            ],
        },
        "changeover": None if row.changeover is None else _changeover(row.changeover),
    }


def _course(network: Network, course: Course) -> dict[str, object]:
    return {
        "full_service_s": course.full_service_s,
        "end_s": course.end_s,
        "settled": course.settled,
        "moments": [
            {
                "at_s": moment.at_s,
                "tier_w": [round(watts, 3) for watts in moment.tier_w],
                "units_up": moment.units_up,
                "devices_powered": moment.devices_powered,
                "devices_in_service": moment.devices_in_service,
            }
            for moment in course.moments
        ],
        "incidents": [{"at_s": one.at_s, "what": one.sentence(network)} for one in course.incidents],
        "peaks": [_peak(peak) for peak in course.peaks.values()],
        "limits_over_time": [
            {
                "limit": peak.limit.limit,
                "points": [
                    {
                        "at_s": point.at_s,
                        "most_w": _finite(point.most_w),
                        "after_w": _finite(point.after_w),
                        "limit_w": None if point.limit_w is None else _finite(point.limit_w),
                    }
                    for point in course.traces.get(peak.limit.limit, ())
                ],
            }
            for peak in sorted(course.peaks.values(), key=lambda peak: -peak.limit.share)[:_TRACED]
        ],
        "first_exceeded": [_peak(peak) for peak in course.over],
        "loops": [
            {"first_s": loop.first_s, "period_s": loop.period_s, "ports": list(course.device_names(loop.ports))}
            for loop in course.loops
        ],
    }


def _peak(peak: Peak) -> dict[str, object]:
    return {"at_s": peak.at_s, **_limit(peak.limit)}


def _limit(limit: LimitState) -> dict[str, object]:
    return {
        "limit": limit.limit,
        "drawn_w": _finite(limit.drawn_w),
        "booked_w": _finite(limit.booked_w),
        "limit_w": _finite(limit.limit_w),
        "short_w": _finite(limit.short_w),
        "reason": limit.reason,
    }


def _changeover(step: Changeover) -> dict[str, object]:
    return {
        "failure": step.failure.what,
        "sentences": list(step.sentences),
        "stages": [
            {
                "stage": stage.name.value,
                "until_s": stage.until_s,
                "limits": [_limit(limit) for limit in stage.limits],
                "dark": list(stage.dark),
                "dark_units": list(stage.dark_units),
            }
            for stage in step.stages
        ],
        "feeds": [
            {
                "unit": feed.unit,
                "feeder_port": feed.feeder_port,
                "hidden": feed.hidden,
                "restarts": feed.restarts,
                "standby_pd_w": round(feed.before_w, 3),
                "asked_pd_w": round(feed.asked_w, 3),
                "granted_pd_w": round(feed.allowed_w, 3),
                "asked_class": feed.asked_class,
                "granted_class": feed.granted_class,
                "stays_in_class": feed.stays_in_class,
            }
            for feed in step.feeds
        ],
        "to_ac": list(step.to_ac),
        "dark_for": [{"device": one.device, "unit": one.unit, "seconds": one.seconds} for one in step.dark_for],
    }


def _finite(watts: float) -> float | None:
    """None for what can't be computed: JSON has no infinity."""
    return None if watts == float("inf") else round(watts, 3)
