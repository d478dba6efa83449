"""What a scrape of a very large site costs: /metrics of 48,000 ports, and how long the poll loop waits meanwhile.

    .venv/bin/python -m tests.benchmarks.metrics_cost [--units 1000]

The site is invented and read without SNMP; judged and served as the agent does it, in one event loop. A client in a
process of its own asks for each address, gzipped, as a scraper does. The yardstick of the same run is the same
samples written by the metrics library, from its own objects.
"""

from __future__ import annotations

import argparse
import asyncio
import sys
import time
from collections.abc import Iterator

from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import Metric
from prometheus_client.parser import text_string_to_metric_families
from prometheus_client.registry import Collector
from tests.benchmarks.large_site import Answers, site_text
from tests.benchmarks.loop_lag import LoopLag
from tests.benchmarks.site_load import peak_mb

from portdraw.judgement.assessment import SiteAssessment
from portdraw.plan.loader import parse_site
from portdraw.plan.site import Site
from portdraw.reporting.current import AgentHealth
from portdraw.reporting.http.app import build_app
from portdraw.reporting.metrics import site_registry
from portdraw.service.cycle import Cycle
from portdraw.service.web_server import WebServer, bind

MOST_CPU_S = 3.0
NOON_S = 1_772_452_800.0
EVERY_S = 30.0
PATHS = ("/metrics", "/api/v1/site", "/", "/unit/core-01")
CLIENT = """
import sys, urllib.request
asked = urllib.request.Request(sys.argv[1], headers={"Accept-Encoding": "gzip", "Accept": "*/*"})
with urllib.request.urlopen(asked, timeout=120) as answer:
    print(len(answer.read()))
"""


class Judged:
    """What the pages are made from: a site that was judged once."""

    def __init__(self, site: Site) -> None:
        self._cycle = Cycle(site, EVERY_S, None, (), emulated=True)
        self._answers = Answers(site)
        self._site = site
        self.time_s = NOON_S

    def judge(self) -> float:
        """Take an answer of every unit, judge, and return the CPU seconds of the judging."""
        self.time_s += EVERY_S
        for name in self._site.units:
            self._cycle.take(self._answers.of(name, self.time_s))
        began_s = time.process_time()
        self._cycle.run(self.time_s + 1)
        return time.process_time() - began_s

    def assessment(self) -> SiteAssessment | None:
        """Return the newest assessment."""
        return self._cycle.current

    def health(self) -> AgentHealth:
        """Return that all is well."""
        now_s = self.now_s()
        return AgentHealth(NOON_S, now_s, 0.1, 1, (), True, "", (), "1", True, "")

    def now_s(self) -> float:
        """Return the site clock."""
        return self.time_s + 5


class Written(Collector):
    """The samples of a text as the library's objects."""

    def __init__(self, text: str) -> None:
        self._families = list(text_string_to_metric_families(text))

    def collect(self) -> Iterator[Metric]:
        """Yield them."""
        yield from self._families


async def asked(address: str, path: str) -> tuple[float, float, dict[str, float], int]:
    """Return CPU and wall seconds of one answer, the loop's lag meanwhile, and the octets that came."""
    await asyncio.sleep(0.2)
    lag = LoopLag()
    cpu_s, wall_s = time.process_time(), time.monotonic()
    client = await asyncio.create_subprocess_exec(
        sys.executable, "-c", CLIENT, f"{address}{path}", stdout=asyncio.subprocess.PIPE
    )
    told, _ = await client.communicate()
    cpu_s, wall_s = time.process_time() - cpu_s, time.monotonic() - wall_s
    if client.returncode:
        raise SystemExit(f"{path} was not answered")
    return cpu_s, wall_s, lag.stop(), int(told)


async def _measure(judged: Judged) -> bool:
    registry = site_registry(judged)
    server = WebServer(build_app(judged, registry), bind("127.0.0.1", 0))
    server.start()
    held = True
    try:
        await asyncio.sleep(0.5)
        for path in PATHS:
            cpu_s, wall_s, lag, octets = await asked(server.address, path)
            limit = ""
            if path == "/metrics":
                held = cpu_s <= MOST_CPU_S
                limit = f" (limit {MOST_CPU_S:g} s)"
            waited = f"the loop waited {lag['max']:.0f} ms at most, {lag['median']:.1f} ms at the median"
            took = f"{cpu_s:6.2f} s CPU{limit}, {wall_s:5.1f} s in all, {octets / 1e6:.1f} MB gzipped"
            print(f"{path:<16} {took}; {waited}")
    finally:
        await server.stop(2)
    return held


def main() -> None:
    """Run it and print the figures; exit code 1 where the limit does not hold."""
    parser = argparse.ArgumentParser(description="cost of /metrics on a very large site")
    parser.add_argument("--units", type=int, default=1000)
    units = max(1, parser.parse_args().units)
    began_s = time.process_time()
    site = parse_site(site_text(units))
    print(f"{units} fed units and their cores, {sum(len(unit.ports) for unit in site.units.values())} ports")
    print(f"the site file is loaded in {time.process_time() - began_s:.1f} s CPU, peak memory {peak_mb():.0f} MB")
    judged = Judged(site)
    first_s = judged.judge()
    later = [judged.judge() for _ in range(3)]
    print(f"judging: {first_s:.1f} s CPU at first, with the plan; then {sorted(later)[1]:.2f} s a cycle in one go")
    held = asyncio.run(_measure(judged))
    print(f"peak memory of all this: {peak_mb():.0f} MB")
    text = site_registry(judged).text()
    registry = CollectorRegistry()
    registry.register(Written(text.decode()))
    began_s = time.process_time()
    same = generate_latest(registry) == text
    library_s = time.process_time() - began_s
    began_s = time.process_time()
    text = site_registry(judged).text()
    ours_s = time.process_time() - began_s
    samples = sum(not line.startswith(b"#") for line in text.splitlines())
    print(f"{samples} samples, {len(text) / 1e6:.0f} MB: gathered and written in {ours_s:.2f} s CPU")
    print(f"yardstick, the library's writer alone: {library_s:.2f} s, the same octets: {'yes' if same else 'no'}")
    print(f"ratio ours / yardstick: {ours_s / library_s:.2f}")
    raise SystemExit(0 if held and same else 1)


if __name__ == "__main__":
    main()
