"""What 200 slow, silent, oversized and malformed HTTP clients cost a real agent: scrape and cycle, with and without.

    .venv/bin/python -m tests.benchmarks.slow_clients [--clients 200] [--scrapes 40]

Agent, emulated site and clients run in one process on loopback, so that the figures hold the clients' own work too.
The yardstick is the same agent without the clients, in the same run.
"""

from __future__ import annotations

import argparse
import asyncio
import statistics
import tempfile
import time
from pathlib import Path

import httpx
from tests.service.emulated_agent import Served, emulated_agent, until
from tests.service.nuisance import Nuisance


async def measure(one: Served, scrapes: int) -> tuple[list[float], list[float]]:
    """Return how long each scrape and each cycle took [ms]."""
    scrape_ms, cycle_ms = [], []
    async with httpx.AsyncClient(trust_env=False, timeout=60) as client:
        for _ in range(scrapes):
            began_s = time.perf_counter()
            answer = await client.get(f"{one.agent.address}/metrics", headers={"connection": "close"})
            scrape_ms.append(1000 * (time.perf_counter() - began_s))
            answer.raise_for_status()
            cycle_ms.append(1000 * (one.agent.health().last_cycle_took_s or 0.0))
            await asyncio.sleep(0.2)
    return scrape_ms, cycle_ms


def told(name: str, figures: list[float]) -> str:
    """Return median and largest."""
    return f"{name}: median {statistics.median(figures):.1f} ms, largest {max(figures):.1f} ms"


async def main(clients: int, scrapes: int) -> None:
    """Measure, print."""
    with tempfile.TemporaryDirectory() as folder:
        async with emulated_agent(Path(folder)) as one:
            quiet = await measure(one, scrapes)
            nuisances = [Nuisance(number) for number in range(clients)]
            tasks = [asyncio.create_task(nuisance.go_on(one.port)) for nuisance in nuisances]
            await until(lambda: all(nuisance.connected for nuisance in nuisances))
            cycles = one.agent.health().cycles
            loud = await measure(one, scrapes)
            print(f"{clients} clients, {one.agent.open_connections} of them connected at the end; each comes again")
            for name, place in (("scrape", 0), ("cycle", 1)):
                print(told(f"{name} without them", quiet[place]))
                print(told(f"{name} with them", loud[place]))
                ratio = statistics.median(loud[place]) / statistics.median(quiet[place])
                print(f"{name}, median, ratio: {ratio:.2f}")
            print(f"cycles meanwhile: {one.agent.health().cycles - cycles}")
            print(f"polls overdue: {len(one.agent.health().overdue_units)}")
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=200)
    parser.add_argument("--scrapes", type=int, default=40)
    given = parser.parse_args()
    asyncio.run(main(given.clients, given.scrapes))
