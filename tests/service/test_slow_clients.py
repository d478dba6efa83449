"""Two hundred clients that do everything wrong, beside a real agent: it polls and answers on."""

from __future__ import annotations

import asyncio
from pathlib import Path

import httpx
import pytest
from tests.service.emulated_agent import emulated_agent, run, until
from tests.service.nuisance import Nuisance

from portdraw.reporting.http import patience

CLIENTS = 200


@pytest.fixture
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody is cut for taking too long, however slow this machine is."""
    monkeypatch.setattr(patience, "_LONGEST_S", {})
    monkeypatch.setattr(patience, "STALL_S", 3600.0)


@pytest.mark.usefixtures("patient")
def test_two_hundred_nuisances_delay_neither_poll_nor_scrape(tmp_path: Path) -> None:
    async def work() -> None:
        async with emulated_agent(tmp_path) as one, httpx.AsyncClient(trust_env=False, timeout=60) as client:
            nuisances = [Nuisance(number) for number in range(CLIENTS)]
            tasks = [asyncio.create_task(nuisance.go(one.port)) for nuisance in nuisances]
            lasting = sum(nuisance.lasts for nuisance in nuisances)
            try:
                await until(lambda: all(nuisance.connected for nuisance in nuisances))
                assert one.agent.open_connections >= lasting
                before = one.agent.health()
                for _ in range(3):
                    answer = await client.get(f"{one.agent.address}/metrics")
                    assert (answer.status_code, "portdraw_unit_draw_watts" in answer.text) == (200, True)
                # whole cycles end meanwhile, each with fresh readings of both units
                await until(lambda: one.agent.health().cycles >= before.cycles + 3)
                site = (await client.get(f"{one.agent.address}/api/v1/site")).json()
                assert one.agent.open_connections > lasting  # they were all there, and ours too
                assert not one.agent.health().overdue_units
                polls = [unit["poll"] for unit in site["units"]]
                assert [(poll["outcome"], poll["stale"]) for poll in polls] == [("answered", False)] * 2
            finally:
                for task in tasks:
                    task.cancel()
                await asyncio.gather(*tasks, return_exceptions=True)

    run(work)


def test_those_that_take_too_long_are_let_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(patience, "_LONGEST_S", dict.fromkeys(patience._LONGEST_S, 0.2))
    monkeypatch.setattr(patience, "STALL_S", 0.2)

    async def work() -> None:
        async with emulated_agent(tmp_path) as one:
            nuisances = [Nuisance(number) for number in range(20)]
            tasks = [asyncio.create_task(nuisance.go(one.port)) for nuisance in nuisances]
            await until(lambda: all(nuisance.connected for nuisance in nuisances))
            await until(lambda: one.agent.open_connections == 0)  # none of them goes by itself
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)

    run(work)
