"""The emulated ferry terminal with a real agent, scraped by a real Prometheus that has our rules loaded.

It begins just before the breaker trips. When what the story has to tell is being alarmed on, and every unit has been
read in time, the moment is kept: all questions are asked as of then, after agent and emulation have ended.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Iterator
from contextlib import AsyncExitStack, closing, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tests.cli.prometheus import Prometheus
from tests.tools.dashboards.outputs import FOLDER
from tests.tools.dashboards.recording_rules import RECORDS

from portdraw.cli.demo import SCALE, SITE_FILE, story_start_s
from portdraw.cli.demo_desk import DemoDesk
from portdraw.cli.demo_folder import write_demo_folder
from portdraw.history.store import History
from portdraw.plan.loader import load_site
from portdraw.rehearsal.emulated_site import EmulatedSite
from portdraw.rehearsal.past import past_rows
from portdraw.rehearsal.story import LIVE, Restore
from portdraw.service.agent import Agent
from portdraw.service.clock import Clock
from portdraw.service.past import write_past
from portdraw.service.settings import load_settings
from portdraw.service.wiring import gather, open_history

BEGINS_AFTER_S = 225.0  # the breaker trips 15 s of site time later
PAST_DAYS, PAST_EVERY_S = 9, 3600.0
WITHIN_S = 180.0
# how many figures are unknown: readings too old, carriers not known, failures not worked out from readings
UNKNOWN = (
    'sum(portdraw_reading_stale) + sum(portdraw_leg_carrying{state="unknown"}) + sum(1 - portdraw_failure_known)'
)
RULES = tuple(sorted((FOLDER / "rules").glob("*.yaml")))
STORY = {  # what fires in the story, by alert and unit
    ("local-ac-lost", "north-pier"),
    ("local-ac-lost", "breakwater"),
    ("unplanned-device", "exit-lanes"),
    ("power-denied", "breakwater"),
    ("drift", "berth-1"),
}
Rows = list[dict[str, Any]]


@dataclass(frozen=True)
class Rehearsed:
    """A Prometheus that holds the story, and the moment as of which to ask it."""

    prometheus: Prometheus
    at_s: float

    def ask(self, expr: str) -> Rows:
        """Return what an expression brings as of the moment kept."""
        return self.prometheus.ask(expr, self.at_s)


@contextmanager
def rehearsed(folder: Path) -> Iterator[Rehearsed]:
    """Play the story until all of it is being alarmed on; then yield. Every wait is bounded."""
    site = load_site(SITE_FILE)
    start_s = story_start_s(site, time.time())
    with closing(History.open(folder / "history", site.site.timezone, emulated=True)) as history:
        rows = past_rows(site, start_s, 7, PAST_DAYS, PAST_EVERY_S)
        write_past(rows, site, history, PAST_EVERY_S, lambda _: None)
    with asyncio.Runner() as runner:
        stage = _Stage(folder, start_s)
        try:
            address = runner.run(stage.start())
            with Prometheus(folder / "prometheus", address, RULES) as prometheus:
                at_s = runner.run(stage.play(prometheus))
                runner.run(stage.stop())
                yield Rehearsed(prometheus, at_s)
        finally:
            runner.run(stage.stop())


class _Stage:
    """Emulation, desk and agent on one loop. `stop` ends what was started, and may be called twice."""

    def __init__(self, folder: Path, start_s: float) -> None:
        self._folder, self._start_s = folder, start_s
        self._started = AsyncExitStack()

    async def start(self) -> str:
        """Start all of it; return where the agent is."""
        site = load_site(SITE_FILE)
        clock = Clock(self._start_s + BEGINS_AFTER_S, SCALE)
        desk = DemoDesk(lambda _: None)
        await desk.start()
        self._started.push_async_callback(desk.stop)
        # nobody closes the breaker again: however slow this machine is, the moment that is kept is before that
        scenes = tuple(scene for scene in LIVE.scenes if not isinstance(scene.event, Restore))
        emulated = EmulatedSite(site, clock.now_s, self._start_s, 7, story=replace(LIVE, scenes=scenes))
        self._started.callback(emulated.stop)
        addresses = await emulated.start()
        access = next(unit.access for unit in site.units.values() if unit.readable)
        settings = write_demo_folder(self._folder, SITE_FILE, addresses, emulated.credentials, access, desk.url, 0)
        parts = gather(load_settings(settings), emulated=True)
        history = self._started.enter_context(closing(open_history(parts)))
        agent = Agent(parts, history, clock)
        ended = asyncio.Event()
        running = asyncio.create_task(agent.run(ended))

        async def end() -> None:
            ended.set()
            await running

        self._started.push_async_callback(end)
        return agent.address

    async def play(self, prometheus: Prometheus) -> float:
        """Wait until the whole story is being alarmed on and all is known; return that moment."""
        give_up = time.monotonic() + WITHIN_S
        missing = STORY
        while time.monotonic() < give_up:
            await asyncio.sleep(0.5)
            rows = await asyncio.to_thread(prometheus.ask, 'ALERTS{alertstate="firing"}')
            missing = STORY - {(row["metric"]["alertname"], row["metric"].get("unit", "")) for row in rows}
            records = await asyncio.to_thread(
                prometheus.ask, 'count(count by (__name__) ({__name__=~"portdraw:.+"}))'
            )
            at_s = time.time()
            unknown = await asyncio.to_thread(prometheus.ask, UNKNOWN, at_s)
            if missing or not records or not unknown:
                continue
            if int(records[0]["value"][1]) == len(RECORDS) and float(unknown[0]["value"][1]) == 0:
                return at_s
        raise AssertionError(f"not alarmed on: {sorted(missing)}, or never read in time")

    async def stop(self) -> None:
        """End everything that was started."""
        await self._started.aclose()
