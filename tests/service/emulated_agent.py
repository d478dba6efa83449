"""A real agent on the emulated slipway, served as its settings say, for tests of what is served."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.service.slipway import NOON_S, changed, slipway, write_folder

from portdraw.history.store import History
from portdraw.judgement.alarm import AlarmKind, AlarmState
from portdraw.rehearsal.emulated_site import EmulatedSite
from portdraw.rehearsal.story import Scene, Story, Trip
from portdraw.service.agent import Agent
from portdraw.service.clock import Clock
from portdraw.service.settings import load_settings
from portdraw.service.wiring import gather, open_history

SCALE = 30.0  # a poll of 30 s comes every second
PATIENCE_S = 90.0
LOST_AC = Story((Scene(20.0, Trip("slip-2"), "breaker 2 opens"),))
READ_TOKEN, OPERATE_TOKEN = "read-token-0123456789", "operate-token-0123456789"
TOKENS = "tokens: {scraper: {secret: {file: scraper}}, shift: {secret: {file: shift}, scopes: [read, operate]}}"
SECRETS = {"scraper": READ_TOKEN, "shift": OPERATE_TOKEN}


@dataclass
class Served:
    """A running agent, its history and its settings file."""

    agent: Agent
    history: History
    settings: Path

    @property
    def port(self) -> int:
        """Where it listens."""
        return int(self.agent.address.rsplit(":", 1)[1])

    def state(self, kind: AlarmKind) -> AlarmState | None:
        """Return the state of the first alarm of a kind."""
        assessment = self.agent.assessment()
        alarms = () if assessment is None else assessment.alarms
        return next((alarm.state for alarm in alarms if alarm.kind is kind), None)


def run(work: Callable[[], Awaitable[None]]) -> None:
    """Run in a loop of its own; nothing may escape."""
    escaped: list[str] = []

    async def watched() -> None:
        asyncio.get_running_loop().set_exception_handler(lambda _, context: escaped.append(repr(context)))
        async with asyncio.timeout(PATIENCE_S):
            await work()

    asyncio.run(watched())
    assert not escaped


async def until(holds: Callable[[], bool]) -> None:
    """Wait until something holds; `run` bounds it."""
    while not holds():
        await asyncio.sleep(0.02)


@asynccontextmanager
async def emulated_agent(
    folder: Path,
    listen: str = "",
    more: str = "",
    secrets: Mapping[str, str] = SECRETS,
    story: Story = LOST_AC,
    port: int = 0,
    every_s: int = 30,
) -> AsyncIterator[Served]:
    """Run an agent until the block ends. `listen` goes into its group, `more` stands before `access:`.

    `every_s`: the poll interval [s of site time].
    """
    clock = Clock(NOON_S, SCALE)
    emulated = EmulatedSite(slipway(), clock.now_s, NOON_S, seed=1, story=story)
    told = emulated.credentials
    settings = changed("user: watch", f"user: {told.user}")
    group = "host: 127.0.0.1, " if "host:" not in listen else ""
    settings = changed("host: 127.0.0.1, port: 0", f"{group}port: {port}{', ' if listen else ''}{listen}", settings)
    settings = changed("access:", f"{more}access:", settings)
    settings = changed("poll: {every_s: 30,", f"poll: {{every_s: {every_s},", settings)
    path = write_folder(
        folder,
        settings,
        secrets={"auth": told.auth_secret, "privacy": told.priv_secret, **secrets},
        addresses=await emulated.start(),
    )
    stop = asyncio.Event()
    try:
        parts = gather(load_settings(path), emulated=True)
        history = open_history(parts)
        agent = Agent(parts, history, clock)
        task = asyncio.create_task(agent.run(stop))
        try:
            await until(lambda: agent.assessment() is not None or task.done())
            yield Served(agent, history, path)
        finally:
            stop.set()
            await task
            history.close()
    finally:
        emulated.stop()
