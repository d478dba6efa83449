"""Every metric the agent gives: one list, from which metrics, documents and dashboards are checked.

Names are in base units (watts, seconds, ratio); a state is a family of 0/1 samples, one per state, by the label
`state` (or `outcome`, `basis`). What is not known is absent. An emulated site says so in its `site` label.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

PREFIX = "portdraw_"


class MetricType(StrEnum):
    """Type of a metric as Prometheus names it."""

    GAUGE = "gauge"
    COUNTER = "counter"


@dataclass(frozen=True)
class Metric:
    """One metric: full name, unit ("" for a state or a count), type, help and its labels in their order."""

    name: str
    unit: str
    type: MetricType
    help: str
    labels: tuple[str, ...]


_PORT = ("site", "unit", "port", "label")
_SITE = ("site",)
_UNIT = ("site", "unit")
_LEG = ("site", "unit", "leg", "source", "state")
_FAILURE = ("site", "failure", "load")
_ALARM = ("site", "kind", "unit", "port", "severity")


def _gauge(name: str, unit: str, text: str, labels: tuple[str, ...]) -> Metric:
    return Metric(PREFIX + name, unit, MetricType.GAUGE, text, labels)


def _counter(name: str, unit: str, text: str, labels: tuple[str, ...]) -> Metric:
    return Metric(PREFIX + name, unit, MetricType.COUNTER, text, labels)


CATALOGUE: tuple[Metric, ...] = (
    _gauge(
        "port_draw_watts",
        "watts",
        "Power drawn at the port's output, with what the figure rests on.",
        (*_PORT, "basis"),
    ),
    _gauge("port_planned_now_watts", "watts", "Planned power at the port's output at this hour.", _PORT),
    _gauge("port_planned_max_watts", "watts", "Largest steady planned power at the port's output.", _PORT),
    _gauge("port_class_limit_watts", "watts", "Power at the port's output that the device's class allows.", _PORT),
    _gauge("port_state", "", "Detection state of the port, 1 for the state it is in.", (*_PORT, "state")),
    _counter("port_denied_total", "", "How often the port was denied power, as the unit counts it.", _PORT),
    _gauge(
        "unit_info",
        "",
        "Always 1: where the unit stands and which unit feeds it, to filter and to join by.",
        (*_UNIT, "zone", "place", "fed_by"),
    ),
    _gauge("unit_draw_watts", "watts", "Power drawn on all ports of the unit, at the outputs.", (*_UNIT, "basis")),
    _gauge("unit_draw_complete", "", "1 where every delivering port of the unit told its watts.", _UNIT),
    _gauge("unit_planned_now_watts", "watts", "Planned power on all ports at this hour.", _UNIT),
    _gauge("unit_planned_max_watts", "watts", "Largest steady planned power on all ports.", _UNIT),
    _gauge(
        "unit_budget_watts", "watts", "Power the unit may give on its ports while this leg carries.", (*_UNIT, "leg")
    ),
    _gauge("unit_headroom_watts", "watts", "Budget on this leg less the draw; negative when over.", (*_UNIT, "leg")),
    _gauge("unit_budget_used_ratio", "ratio", "Draw as a share of the budget on the leg that carries now.", _UNIT),
    _gauge("feed_need_watts", "watts", "Power the feeder's port would give if local AC went now.", _UNIT),
    _gauge("feed_limit_watts", "watts", "Power the feeder's port can give.", _UNIT),
    _gauge("leg_availability", "", "How sure it is that the leg could carry the unit, 1 for what holds.", _LEG),
    _gauge("leg_carrying", "", "Which share of the unit the leg carries, 1 for what holds.", _LEG),
    _gauge(
        "failure_dark_devices",
        "",
        "Devices that go dark if this fails next, on the load of now, of tonight, or of the plan's worst case; "
        "of many failures the 60 worst.",
        _FAILURE,
    ),
    _gauge("failure_may_go_dark_devices", "", "Devices of which readings or the plan leave that open.", _FAILURE),
    _gauge(
        "failure_unsafe",
        "",
        "1 where the site's must_survive is, or may be, broken, or a limit stays over.",
        _FAILURE,
    ),
    _gauge(
        "failure_headroom_watts",
        "watts",
        "Power left at the limit that binds then; negative when short.",
        (*_FAILURE, "limit"),
    ),
    _gauge("failure_limit_watts", "watts", "The limit that binds then.", (*_FAILURE, "limit")),
    _gauge(
        "failure_known",
        "",
        "1 where this is worked out; 0 where the largest planned watts stand in for a reading, or it can't be.",
        _FAILURE,
    ),
    _gauge("failures_studied", "", "How many failures were studied.", _SITE),
    _gauge(
        "alarm_active",
        "",
        "1 while the alarm is up, 0 once it has returned or is set aside.",
        _ALARM,
    ),
    _gauge("alarm_age_seconds", "seconds", "How long the alarm has been up, on the site clock.", _ALARM),
    _gauge(
        "drift_to_limit_seconds",
        "seconds",
        "Time until the draw's trend reaches its limit.",
        ("site", "unit", "port"),
    ),
    _gauge("reading_age_seconds", "seconds", "Age of the unit's newest reading.", _UNIT),
    _gauge("reading_stale", "", "1 where the unit's readings are too old to rest on.", _UNIT),
    _gauge("poll_outcome", "", "How the newest poll of the unit ended, 1 for what holds.", (*_UNIT, "outcome")),
    _gauge("policy_margin_ratio", "ratio", "Share of every limit that the site wants free in normal running.", _SITE),
    _gauge("emulated", "", "1 where the site is emulated and its figures prove nothing.", _SITE),
    _counter("cycles_total", "", "Cycles of reading and judging since the agent started.", ()),
    _gauge("cycle_duration_seconds", "seconds", "How long the newest cycle took.", ()),
    _gauge("cycle_age_seconds", "seconds", "Time since the newest cycle ended.", ()),
    _gauge("uptime_seconds", "seconds", "Time since the agent started, on the site clock.", ()),
    _gauge("overdue_units", "", "Units whose poll is past its due time.", ()),
    _gauge("history_ok", "", "1 where the history can be written.", ()),
    _gauge("receiver_ok", "", "1 where the newest delivery to the receiver of alarms went well.", ("receiver",)),
    _counter(
        "notifications_total",
        "",
        "SNMP traps and informs since the agent started, by what became of them; absent where none are listened for.",
        ("fate",),
    ),
    _counter("unit_requests_total", "", "SNMP requests sent to the unit since the agent started.", _UNIT),
    _counter("unit_reading_seconds_total", "", "Time spent on reading the unit since the agent started.", _UNIT),
    _counter("unit_notifications_total", "", "SNMP traps and informs taken as hints to read the unit.", _UNIT),
    _gauge("ready", "", "1 where the agent is ready.", ()),
    _gauge("build_info", "", "Version of the agent, always 1.", ("version",)),
)

BY_NAME: dict[str, Metric] = {metric.name: metric for metric in CATALOGUE}
