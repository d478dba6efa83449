"""One run of the demo, watched from outside while it lasts: its pages, its metrics, a Prometheus that scrapes it.

A second demo is started beside it on the same port, which must take another, and is ended with Ctrl-C.
"""

from __future__ import annotations

import json
import signal
import time
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
import yaml
from tests.cli.command import ROOT, Child, started
from tests.cli.prometheus import Prometheus
from tests.service.slipway import free_tcp_port

QUERIES = ROOT / "dashboards" / "queries.yaml"
FOR_S = 75
LOST = ("north-pier", "breakwater")  # their breaker trips in the story
DRAWS = "portdraw_unit_draw_watts[8s]"

Rows = list[dict[str, Any]]


@dataclass
class DemoRun:
    """What was seen of a demo from outside. `output` is both outputs, `draws_scraped` each (unit, watts) scraped."""

    folder: Path
    address: str = ""
    exit_code: int | None = None
    output: str = ""
    left_in_temp: list[str] = field(default_factory=list)
    ready_codes: list[int] = field(default_factory=list)
    sites: list[dict[str, Any]] = field(default_factory=list)
    alarm_seen: dict[str, str] = field(default_factory=dict)
    status: dict[str, httpx.Response] = field(default_factory=dict)
    draws_scraped: set[tuple[str, float]] = field(default_factory=set)
    answers: dict[str, Rows] = field(default_factory=dict)
    second_folder: Path = field(default_factory=Path)
    second_address: str = ""
    second_exit_code: int | None = None
    second_output: str = ""


def watch_demo(base: Path) -> DemoRun:
    """Run both demos to their end. Every wait is bounded."""
    folder, second, temp = base / "first", base / "second", base / "temp"
    for one in (folder, second, temp):
        one.mkdir()
    run = DemoRun(folder, second_folder=second)
    more = {"TMPDIR": str(temp)}
    words = ("demo", "--for", str(FOR_S), "--no-browser", "--port", str(free_tcp_port()))
    with ExitStack() as stack:
        child = stack.enter_context(started(*words, cwd=folder, more=more))
        run.address = _address(child.until("Overview: "))
        prometheus = stack.enter_context(Prometheus(base / "prometheus", run.address))
        same_port = run.address.rsplit(":", 1)[1]
        other = stack.enter_context(started("demo", "--no-browser", "--port", same_port, cwd=second, more=more))
        _look_until_end(run, child, prometheus)
        run.exit_code, run.output = child.end(), f"{child.output}\n{child.error_output}"
        run.second_address = _address(other.until("Overview: "))
        other.until("raised  ")
        other.signal(signal.SIGINT)
        run.second_exit_code, run.second_output = other.end(), f"{other.output}\n{other.error_output}"
    run.left_in_temp = [path.name for path in temp.iterdir()]
    return run


def _address(line: str) -> str:
    return line.split("Overview: ", 1)[1].split()[0]


def _look_until_end(run: DemoRun, child: Child, prometheus: Prometheus) -> None:
    queries = yaml.safe_load(QUERIES.read_text(encoding="utf-8"))["queries"]
    give_up = time.monotonic() + FOR_S * 4
    with httpx.Client(base_url=run.address, trust_env=False, timeout=20) as client:
        while child.process.poll() is None and time.monotonic() < give_up:
            try:
                run.ready_codes.append(client.get("/ready").status_code)
                if run.ready_codes[-1] == httpx.codes.OK:
                    run.sites.append(client.get("/api/v1/site").json())
                    _look_at_alarms(run, client)
            except (httpx.HTTPError, json.JSONDecodeError):
                pass  # it is about to end
            for row in prometheus.ask(DRAWS):
                run.draws_scraped |= {(row["metric"]["unit"], float(value)) for _, value in row["values"]}
            if run.alarm_seen and not all(run.answers.values() or [None]):
                for query in queries:  # until each has brought something
                    if not run.answers.get(query["title"]):
                        run.answers[query["title"]] = prometheus.ask(query["expr"])
            time.sleep(0.3)


def _look_at_alarms(run: DemoRun, client: httpx.Client) -> None:
    """Keep metrics and overview of the first moment at which both units are known to have lost their AC."""
    if run.alarm_seen:
        return
    lost = {alarm["unit"] for alarm in run.sites[-1]["alarms"] if alarm["kind"] == "local-ac-lost"}
    up = {alarm["unit"] for alarm in run.sites[-1]["alarms"] if alarm["state"] == "raised"}
    if lost & up >= set(LOST):
        run.alarm_seen = {"metrics": client.get("/metrics").text, "page": client.get("/").text}
