"""Metrics: what is emitted, what is left out, and what promtool and a real Prometheus make of it."""

from __future__ import annotations

import json
import math
import subprocess
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import pytest
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import Metric
from prometheus_client.openmetrics.parser import text_string_to_metric_families as open_families
from prometheus_client.parser import text_string_to_metric_families
from prometheus_client.registry import Collector
from tests.reporting.samples import (
    ALL_AC,
    SCRIPT,
    SITE,
    ac_lost,
    all_fine,
    healthy,
    hostile,
    nothing_known,
    silent_unit,
    source,
)
from tests.reporting.served import free_socket, served
from tests.requirements import need_program

from portdraw.judgement.assessment import SiteAssessment
from portdraw.reporting.current import ReceiverHealth
from portdraw.reporting.http.app import build_app
from portdraw.reporting.metric_catalogue import CATALOGUE, MetricType
from portdraw.reporting.metric_text import content_type
from portdraw.reporting.metrics import site_registry

Labels = tuple[tuple[str, str], ...]
SAMPLES = [all_fine, ac_lost, silent_unit, nothing_known, hostile]


def scraped(site: SiteAssessment | None) -> dict[tuple[str, Labels], float]:
    """Return samples by name and labels, as the library's own parser reads them back."""
    text = site_registry(source(site)).text().decode()
    return {
        (sample.name, tuple(sorted(sample.labels.items()))): float(sample.value)
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def get(site: SiteAssessment, name: str, **labels: str) -> float | None:
    """Return one sample, None where it is absent."""
    return scraped(site).get((f"portdraw_{name}", tuple(sorted({"site": SITE, **labels}.items()))))


def test_every_metric_of_the_catalogue_is_emitted_and_no_other() -> None:
    emitted = {name for sample in SAMPLES for name, _ in scraped(sample())}
    assert emitted == {metric.name for metric in CATALOGUE}


def test_labels_are_those_of_the_catalogue() -> None:
    by_name = {metric.name: set(metric.labels) for metric in CATALOGUE}
    for sample in SAMPLES:
        for name, labels in scraped(sample()):
            assert {label for label, _ in labels} == by_name[name]


def test_names_carry_their_unit() -> None:
    assert len({metric.name for metric in CATALOGUE}) == len(CATALOGUE)
    for metric in CATALOGUE:
        assert metric.name.startswith("portdraw_")
        assert not metric.unit or metric.name.endswith(f"_{metric.unit}")
        assert (metric.type is MetricType.COUNTER) == metric.name.endswith("_total")
        assert metric.help.endswith(".")


@pytest.mark.parametrize("sample", [*SAMPLES, None])
def test_promtool_has_nothing_to_say(sample: Callable[[], SiteAssessment] | None) -> None:
    text = site_registry(source(sample() if sample else None)).text()
    found = subprocess.run(
        [need_program("promtool"), "check", "metrics"], input=text, capture_output=True, timeout=60, check=False
    )
    assert (found.returncode, found.stdout, found.stderr) == (0, b"", b"")


class Parsed(Collector):
    """Families as the library's parser read them, for the library's writer."""

    def __init__(self, text: str) -> None:
        self._families = list(text_string_to_metric_families(text))

    def collect(self) -> list[Metric]:
        """Return them."""
        return self._families


@pytest.mark.parametrize("sample", [*SAMPLES, None])
def test_every_octet_is_as_the_library_would_write_it(sample: Callable[[], SiteAssessment] | None) -> None:
    told = site_registry(source(sample() if sample else None)).text()
    registry = CollectorRegistry()
    registry.register(Parsed(told.decode()))
    assert generate_latest(registry) == told


@pytest.mark.parametrize("sample", SAMPLES)
def test_open_metrics_say_the_same(sample: Callable[[], SiteAssessment]) -> None:
    """Read back by the library's parser of OpenMetrics 1.0.0, which is strict about names, types and the end."""
    registry = site_registry(source(sample()))
    told = registry.text(content_type("application/openmetrics-text;version=1.0.0,text/plain;q=0.5"))
    found = {
        (one.name, tuple(sorted(one.labels.items()))): float(one.value)
        for family in open_families(told.decode())  # type: ignore[no-untyped-call]  # the library has no type here
        for one in family.samples
    }
    assert found == scraped(sample())
    assert told.endswith(b"# EOF\n")
    assert not registry.text(content_type("")).endswith(b"# EOF\n")


def test_figures_of_a_unit_on_its_feed() -> None:
    site = replace(ac_lost(), emulated=False)
    draw_w = get(site, "unit_draw_watts", unit="berth-1", basis="measured")
    assert draw_w == 49.5
    assert get(site, "unit_budget_watts", unit="berth-1", leg="feed") == 59.6
    assert get(site, "unit_headroom_watts", unit="berth-1", leg="feed") == pytest.approx(59.6 - 49.5)
    assert get(site, "unit_headroom_watts", unit="berth-1", leg="ac") == pytest.approx(90 - 49.5)
    leg = {"unit": "berth-1", "leg": "ac", "source": "quay-3"}
    assert get(site, "leg_availability", **leg, state="lost") == 1
    assert get(site, "leg_availability", **leg, state="proven") == 0
    feed = {"unit": "berth-1", "leg": "feed", "source": "core port 2"}
    assert get(site, "leg_carrying", **feed, state="all") == 1
    alarm = {"kind": "local-ac-lost", "port": "", "severity": "urgent"}
    assert get(site, "alarm_active", **alarm, unit="berth-1") == 1
    assert get(site, "alarm_active", **alarm, unit="ticket-hall") == 0
    fails = {"failure": ALL_AC, "load": "now"}
    assert get(site, "failure_headroom_watts", **fails, limit="core budget") == pytest.approx(440 - 460.4)
    assert get(site, "failure_limit_watts", **fails, limit="core budget") == 440
    assert get(site, "failure_dark_devices", **fails) == 3
    assert get(site, "failure_may_go_dark_devices", **fails) == 1
    assert get(site, "failure_unsafe", **fails) == get(site, "failure_known", **fails) == 1
    assert get(site, "failure_unsafe", failure="circuit quay-3", load="now") == 0
    assert get(site, "failures_studied") == 6 + 44
    assert get(site, "drift_to_limit_seconds", unit="exit-lanes", port="4") == 23 * 86_400
    port = {"unit": "berth-1", "port": "1", "label": "BE-01"}
    assert get(site, "port_draw_watts", **port, basis="measured") == 26.3
    assert get(site, "port_class_limit_watts", **port) == 45
    assert get(site, "port_state", **port, state="delivering") == 1


def test_where_a_unit_stands_and_how_long_an_alarm_has_been_up() -> None:
    site = replace(ac_lost(), emulated=False)
    place = {"zone": "quay", "place": "cabinet at berth 1", "fed_by": "core port 2"}
    assert get(site, "unit_info", unit="berth-1", **place) == 1
    assert get(site, "policy_margin_ratio") == pytest.approx(site.margin_percent / 100)
    lost = {"kind": "local-ac-lost", "port": "", "severity": "urgent"}
    assert get(site, "alarm_age_seconds", unit="berth-1", **lost) == pytest.approx(217)
    assert get(site, "alarm_age_seconds", unit="ticket-hall", **lost) is None  # it has returned


def test_unknown_is_absent() -> None:
    found = scraped(nothing_known())
    absent = ("port_draw", "unit_draw", "unit_headroom", "port_state", "reading_age", "failure_headroom", "feed_need")
    assert not [name for name, _ in found if name.removeprefix("portdraw_").startswith(absent)]
    assert not [value for value in found.values() if math.isnan(value) or math.isinf(value)]
    assert get(nothing_known(), "failure_known", failure="circuit quay-3", load="now") == 0
    assert get(nothing_known(), "poll_outcome", unit="core", outcome="no answer") == 1


def test_a_sum_over_unknown_ports_gives_no_headroom() -> None:
    assert get(silent_unit(), "unit_draw_watts", unit="entry-lanes", basis="estimated") == 21.4
    assert get(silent_unit(), "unit_draw_complete", unit="entry-lanes") == 0
    assert get(silent_unit(), "unit_headroom_watts", unit="entry-lanes", leg="ac") is None


def test_not_a_number_is_left_out() -> None:
    site = all_fine()
    broken = replace(site.units[1], draw_w=math.nan, feed_need_w=math.inf)
    found = scraped(replace(site, units=(site.units[0], broken)))
    assert not [
        name for name, labels in found if name.endswith("unit_draw_watts") and ("unit", "north-pier") in labels
    ]
    assert not [value for value in found.values() if not math.isfinite(value)]


def test_an_emulated_site_says_so_in_every_site_label() -> None:
    sites = {value for _, labels in scraped(ac_lost()) for label, value in labels if label == "site"}
    assert sites == {f"{SITE} EMULATED"}


def test_the_agent_about_itself() -> None:
    well = source(None)
    well.state = replace(
        healthy(), overdue_units=("core",), history_ok=False, receivers=(ReceiverHealth("desk", False, "no answer"),)
    )
    lines = site_registry(well).text().decode().splitlines()
    assert "portdraw_overdue_units 1.0" in lines
    assert "portdraw_history_ok 0.0" in lines
    assert 'portdraw_receiver_ok{receiver="desk"} 0.0' in lines
    assert 'portdraw_build_info{version="0.1.0"} 1.0' in lines
    assert "portdraw_cycle_duration_seconds 0.412" in lines


def test_script_in_a_name_stays_one_label() -> None:
    labels = [
        dict(labels)["label"] for name, labels in scraped(hostile()) if name == "portdraw_port_planned_now_watts"
    ]
    evil = [label for label in labels if SCRIPT in label]
    assert len(evil) == 1
    assert "\x1b" not in evil[0]
    assert "\n" not in evil[0]


def test_a_real_prometheus_scrapes_it(tmp_path: Path) -> None:
    """The draw that a query of Debian's prometheus returns is the draw that /api/v1/site says."""
    told = source(ac_lost())
    with served(build_app(told, site_registry(told))) as agent, free_socket() as reserved:
        port = reserved.getsockname()[1]
        reserved.close()
        target = agent.address.removeprefix("http://")
        config = {
            "scrape_configs": [{"job_name": "a", "scrape_interval": "1s", "static_configs": [{"targets": [target]}]}]
        }
        (tmp_path / "p.yml").write_text(json.dumps(config), encoding="utf-8")
        server = subprocess.Popen(
            [
                need_program("prometheus"),
                f"--config.file={tmp_path / 'p.yml'}",
                f"--storage.tsdb.path={tmp_path / 'data'}",
                f"--web.listen-address=127.0.0.1:{port}",
                "--log.level=error",
            ]
        )
        try:
            query = 'portdraw_unit_draw_watts{unit="berth-2"}'
            answer = _query_until_found(f"http://127.0.0.1:{port}/api/v1/query", query)
        finally:
            server.terminate()
            server.wait(30)
        site = httpx.get(f"{agent.address}/api/v1/site", trust_env=False).json()
    unit = next(unit for unit in site["units"] if unit["unit"] == "berth-2")
    assert float(answer["value"][1]) == unit["draw"]["value_w"] == 47.1
    assert answer["metric"]["site"] == f"{SITE} EMULATED"
    assert answer["metric"]["basis"] == unit["draw"]["basis"]


def _query_until_found(url: str, query: str) -> dict[str, Any]:
    patience_s = time.monotonic() + 90
    while time.monotonic() < patience_s:
        try:
            found = httpx.get(url, params={"query": query}, trust_env=False, timeout=5).json()["data"]["result"]
        except (httpx.HTTPError, KeyError, ValueError):
            found = []
        if found:
            first: dict[str, Any] = found[0]
            return first
        time.sleep(0.3)
    raise AssertionError("Prometheus never had the metric")
