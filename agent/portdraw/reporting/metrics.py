"""The newest assessment as metrics: built at each scrape, so that a port that is gone is gone at once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from enum import StrEnum

from prometheus_client import CollectorRegistry
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from portdraw.judgement.alarm import AlarmKind
from portdraw.judgement.assessment import Availability, Carrying, PortAssessment, SiteAssessment, UnitAssessment
from portdraw.observation.record import PortState
from portdraw.observation.unit_observation import Outcome
from portdraw.reporting.current import AgentHealth, Source
from portdraw.reporting.metric_catalogue import BY_NAME, CATALOGUE, MetricType
from portdraw.reporting.plain_text import plain
from portdraw.reporting.wording import SHOWN_STATES, known, lacking_w

LEG_LABELS = {"local AC": "ac", "PoE feed": "feed"}
SECONDS_A_DAY = 86_400.0


class Samples:
    """Samples gathered by metric name; the unknown and the second of a doubled label set are left out."""

    def __init__(self) -> None:
        self._by_name: dict[str, dict[tuple[str, ...], float]] = {}

    def add(self, name: str, labels: Iterable[str], value: float | None) -> None:
        """Add one sample unless its value is unknown. KeyError where the catalogue lacks the metric."""
        metric = BY_NAME[f"portdraw_{name}"]
        figure = known(value)
        texts = tuple(plain(text) for text in labels)
        if len(texts) != len(metric.labels):
            raise ValueError(f"{metric.name} has the labels {metric.labels}, not {texts}")
        if figure is not None:
            self._by_name.setdefault(metric.name, {}).setdefault(texts, figure)

    def states(self, name: str, labels: tuple[str, ...], all_states: type[StrEnum], current: str | None) -> None:
        """Add a 0/1 sample for each state; none at all where the state is unknown."""
        if current is not None:
            for state in all_states:
                self.add(name, (*labels, state.value), 1.0 if state.value == current else 0.0)

    def families(self) -> Iterator[Metric]:
        """Yield a family for each metric that has samples, in the catalogue's order."""
        for metric in CATALOGUE:
            samples = self._by_name.get(metric.name)
            if not samples:
                continue
            kind = CounterMetricFamily if metric.type is MetricType.COUNTER else GaugeMetricFamily
            family = kind(metric.name, metric.help, labels=list(metric.labels))
            for labels, value in samples.items():
                family.add_metric(list(labels), value)
            yield family


class SiteCollector(Collector):
    """Turns what a source knows into metric families at each scrape."""

    def __init__(self, source: Source) -> None:
        self._source = source

    def collect(self) -> Iterator[Metric]:
        """Yield the families that have anything to say now."""
        samples = Samples()
        now_s = self._source.now_s()
        site = self._source.assessment()
        if site is not None:
            add_site(samples, site, now_s)
        add_health(samples, self._source.health(), now_s)
        yield from samples.families()


def site_registry(source: Source) -> CollectorRegistry:
    """Return a registry of its own with a collector over the source."""
    registry = CollectorRegistry()
    registry.register(SiteCollector(source))
    return registry


def site_label(site: SiteAssessment) -> str:
    """Return the name of the site for the label, with EMULATED behind it where nothing of it is real."""
    return f"{site.site} EMULATED" if site.emulated else site.site


def add_site(samples: Samples, site: SiteAssessment, now_s: float) -> None:
    """Add everything that an assessment says."""
    name = site_label(site)
    samples.add("emulated", (name,), float(site.emulated))
    samples.add("policy_margin_ratio", (name,), site.margin_percent / 100)
    for unit in site.units:
        _add_unit(samples, name, unit, now_s)
        for port in unit.ports:
            _add_port(samples, name, port)
    for loss in site.next_losses:
        labels = (name, loss.what, loss.limit)
        samples.add("next_loss_need_watts", labels, loss.need_w)
        samples.add("next_loss_limit_watts", labels, loss.limit_w)
        samples.add("next_loss_short_watts", labels, lacking_w(loss))
        samples.add("next_loss_known", labels, float(lacking_w(loss) is not None and not loss.assumed))
    # an alarm that is up comes before an older one of the same name that has returned
    for alarm in sorted(site.alarms, key=lambda alarm: alarm.state not in SHOWN_STATES):
        labels_of_alarm = (name, alarm.kind.value, alarm.unit, alarm.port or "", alarm.severity.value)
        samples.add("alarm_active", labels_of_alarm, float(alarm.state in SHOWN_STATES))
        if alarm.state in SHOWN_STATES and alarm.raised_s is not None:
            samples.add("alarm_age_seconds", labels_of_alarm, max(0.0, now_s - alarm.raised_s))
        days = known(alarm.value)
        if alarm.kind is AlarmKind.DRIFT and alarm.measure == "days" and days is not None:
            samples.add("drift_to_limit_seconds", (name, alarm.unit, alarm.port or ""), days * SECONDS_A_DAY)


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
        samples.states("leg_availability", leg_labels, Availability, way.availability.value)
        samples.states("leg_carrying", leg_labels, Carrying, way.carrying.value)
    samples.add("reading_age_seconds", labels, None if unit.read_s is None else max(0.0, now_s - unit.read_s))
    samples.add("reading_stale", labels, float(unit.stale))
    samples.states("poll_outcome", labels, Outcome, unit.outcome.value)


def _add_port(samples: Samples, site: str, port: PortAssessment) -> None:
    labels = (site, port.unit, port.port, port.label)
    if port.basis is not None:
        samples.add("port_draw_watts", (*labels, port.basis.value), port.draw_w)
    samples.add("port_planned_now_watts", labels, port.planned_now_w)
    samples.add("port_planned_max_watts", labels, port.planned_max_w)
    samples.add("port_class_limit_watts", labels, port.class_limit_w)
    samples.states("port_state", labels, PortState, None if port.state is None else port.state.value)
    samples.add("port_denied_total", labels, port.denied_count)


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
    samples.add("ready", (), float(health.ready))
    samples.add("build_info", (health.version,), 1.0)
