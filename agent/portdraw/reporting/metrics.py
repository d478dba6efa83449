"""The newest assessment as metrics: built at each scrape, so that a port that is gone is gone at once."""

from __future__ import annotations

from enum import StrEnum

from portdraw.judgement.alarm import AlarmKind
from portdraw.judgement.assessment import Availability, Carrying, PortAssessment, SiteAssessment, UnitAssessment
from portdraw.observation.record import PortState
from portdraw.observation.unit_observation import Outcome
from portdraw.reporting.current import AgentHealth, Source
from portdraw.reporting.metric_text import Samples, exposition, label_text
from portdraw.reporting.wording import SHOWN_STATES, known

LEG_LABELS = {"local AC": "ac", "PoE feed": "feed"}
SECONDS_A_DAY = 86_400.0


class SiteMetrics:
    """Turns what a source knows into text at each scrape."""

    def __init__(self, source: Source) -> None:
        self._source = source

    def text(self, told_as: str = "text/plain") -> bytes:
        """Return all that there is to say now, in the format of a content type."""
        samples = Samples()
        now_s = self._source.now_s()
        site = self._source.assessment()
        if site is not None:
            add_site(samples, site, now_s)
        health = self._source.health()
        add_health(samples, health, now_s)
        if site is not None:
            for unit in site.units:
                if unit.unit in health.polling:
                    requests, seconds = health.polling[unit.unit]
                    samples.add("unit_requests_total", (site_label(site), unit.unit), float(requests))
                    samples.add("unit_reading_seconds_total", (site_label(site), unit.unit), seconds)
        if site is not None and health.notifications is not None:
            for unit in site.units:
                told = health.notifications.units.get(unit.unit, 0)
                samples.add("unit_notifications_total", (site_label(site), unit.unit), float(told))
        return b"".join(exposition(samples, told_as))


def site_registry(source: Source) -> SiteMetrics:
    """Return the metrics over a source."""
    return SiteMetrics(source)


def site_label(site: SiteAssessment) -> str:
    """Return the name of the site for the label, with EMULATED behind it where nothing of it is real."""
    return f"{site.site} EMULATED" if site.emulated else site.site


def add_site(samples: Samples, site: SiteAssessment, now_s: float) -> None:
    """Add everything that an assessment says."""
    name = site_label(site)
    samples.add("emulated", (name,), float(site.emulated))
    samples.add("policy_margin_ratio", (name,), site.margin_percent / 100)
    ports = _PortSamples(samples, name)
    for unit in site.units:
        _add_unit(samples, name, unit, now_s)
        written = label_text("unit", unit.unit)
        for port in unit.ports:
            ports.add(port, written)
    _add_failures(samples, name, site)
    # an alarm that is up comes before an older one of the same name that has returned
    for alarm in sorted(site.alarms, key=lambda alarm: alarm.state not in SHOWN_STATES):
        labels_of_alarm = (name, alarm.kind.value, alarm.unit, alarm.port or "", alarm.severity.value)
        samples.add("alarm_active", labels_of_alarm, float(alarm.state in SHOWN_STATES))
        if alarm.state in SHOWN_STATES and alarm.raised_s is not None:
            samples.add("alarm_age_seconds", labels_of_alarm, max(0.0, now_s - alarm.raised_s))
        days = known(alarm.value)
        if alarm.kind is AlarmKind.DRIFT and alarm.measure == "days" and days is not None:
            samples.add("drift_to_limit_seconds", (name, alarm.unit, alarm.port or ""), days * SECONDS_A_DAY)


def _add_failures(samples: Samples, name: str, site: SiteAssessment) -> None:
    """Add what each failure that matters would do; before the first study there is nothing to say."""
    if not site.next_failures:
        return
    samples.add("failures_studied", (name,), float(len(site.next_failures) + site.more_failures))
    for failure in site.next_failures:
        for outlook in failure.outlooks:
            labels = (name, failure.what, outlook.load.value)
            samples.add("failure_dark_devices", labels, float(len(outlook.dark)))
            samples.add("failure_may_go_dark_devices", labels, float(len(outlook.may_go_dark)))
            samples.add("failure_unsafe", labels, float(outlook.unsafe))
            samples.add("failure_known", labels, float(outlook.known))
            if outlook.limit:
                samples.add("failure_headroom_watts", (*labels, outlook.limit), outlook.headroom_w)
                samples.add("failure_limit_watts", (*labels, outlook.limit), outlook.limit_w)


def _add_unit(samples: Samples, site: str, unit: UnitAssessment, now_s: float) -> None:
    labels = (site, unit.unit)
    samples.add("unit_info", (*labels, unit.zone, unit.place, unit.fed_by or ""), 1.0)
    draw_w = known(unit.draw_w)
    if unit.draw_basis is not None:
        samples.add("unit_draw_watts", (*labels, unit.draw_basis.value), draw_w)
    samples.add("unit_draw_complete", labels, None if draw_w is None else float(unit.draw_complete))
    samples.add("unit_planned_now_watts", labels, unit.planned_now_w)
    samples.add("unit_planned_max_watts", labels, unit.planned_max_w)
    samples.add("unit_budget_used_ratio", labels, unit.share)
    for leg, budget_w in (("ac", unit.budget_on_ac_w), ("feed", unit.budget_on_feed_w)):
        samples.add("unit_budget_watts", (*labels, leg), budget_w)
        if known(budget_w) is not None and budget_w is not None and draw_w is not None and unit.draw_complete:
            samples.add("unit_headroom_watts", (*labels, leg), budget_w - draw_w)
    samples.add("feed_need_watts", labels, unit.feed_need_w)
    samples.add("feed_limit_watts", labels, unit.feed_limit_w)
    for way in unit.legs:
        leg_labels = (*labels, LEG_LABELS.get(way.name, way.name), way.source)
        _states(samples, "leg_availability", leg_labels, Availability, way.availability)
        _states(samples, "leg_carrying", leg_labels, Carrying, way.carrying)
    samples.add("reading_age_seconds", labels, None if unit.read_s is None else max(0.0, now_s - unit.read_s))
    samples.add("reading_stale", labels, float(unit.stale))
    _states(samples, "poll_outcome", labels, Outcome, unit.outcome)


def _states(
    samples: Samples, name: str, labels: tuple[str, ...], all_states: type[StrEnum], current: StrEnum
) -> None:
    """Add a 0/1 sample for each state."""
    for state in all_states:
        samples.add(name, (*labels, state.value), 1.0 if state is current else 0.0)


class _PortSamples:
    """Adds what is said of ports: the labels of each, which eleven samples share, are written once."""

    def __init__(self, samples: Samples, site: str) -> None:
        self._site = label_text("site", site)
        self._draw = samples.of("port_draw_watts")
        self._planned_now = samples.of("port_planned_now_watts")
        self._planned_max = samples.of("port_planned_max_watts")
        self._class_limit = samples.of("port_class_limit_watts")
        self._state = samples.of("port_state")
        self._denied = samples.of("port_denied_total")

    def add(self, port: PortAssessment, unit: str) -> None:
        """Add a port; `unit` is the label of its unit as written. Labels stand in the order of their names."""
        start = f"{label_text('label', port.label)},{label_text('port', port.port)},{self._site}"
        labels = f"{start},{unit}"
        if port.basis is not None:
            _put(self._draw, f"{label_text('basis', port.basis.value)},{labels}", port.draw_w)
        _put(self._planned_now, labels, port.planned_now_w)
        _put(self._planned_max, labels, port.planned_max_w)
        _put(self._class_limit, labels, port.class_limit_w)
        if port.state is not None:
            for state, written in _STATE_LABELS:
                self._state.setdefault(f"{start},{written},{unit}", 1.0 if state is port.state else 0.0)
        _put(self._denied, labels, port.denied_count)


_STATE_LABELS = tuple((state, label_text("state", state.value)) for state in PortState)


def _put(samples: dict[str, float], labels: str, value: float | None) -> None:
    figure = known(value)
    if figure is not None:
        samples.setdefault(labels, figure)


def add_health(samples: Samples, health: AgentHealth, now_s: float) -> None:
    """Add what the agent says about itself."""
    last_cycle_s = known(health.last_cycle_s)
    samples.add("cycles_total", (), float(health.cycles))
    samples.add("cycle_duration_seconds", (), health.last_cycle_took_s)
    samples.add("cycle_age_seconds", (), None if last_cycle_s is None else max(0.0, now_s - last_cycle_s))
    samples.add("uptime_seconds", (), max(0.0, now_s - health.started_s))
    samples.add("overdue_units", (), float(len(health.overdue_units)))
    samples.add("history_ok", (), float(health.history_ok))
    for receiver in health.receivers:
        samples.add("receiver_ok", (receiver.name,), float(receiver.ok))
    if health.notifications is not None:
        for fate, count in health.notifications.fates.items():
            samples.add("notifications_total", (fate.value,), float(count))
    samples.add("ready", (), float(health.ready))
    samples.add("build_info", (health.version,), 1.0)
