"""Reads a site for a while into a history of its own, for a visitor's audit where no agent has been running."""

from __future__ import annotations

import asyncio
import signal
from dataclasses import replace
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from portdraw.cli.problems import tell
from portdraw.history.store import History
from portdraw.service.agent import Agent
from portdraw.service.clock import Clock
from portdraw.service.settings import LoadedSettings
from portdraw.service.wiring import gather


def read_for(loaded: LoadedSettings, minutes: float, folder: Path) -> float:
    """Poll the site for `minutes` into a new history in `folder`, tell no receiver; return the time it began [s].

    Ctrl-C ends it early and what was read is kept. Raises PlanError, SettingsError, HistoryError.
    """
    parts = replace(gather(loaded), destinations={})
    history = History.open(folder, parts.site.site.timezone)
    try:
        clock = Clock()
        began_s = clock.now_s()
        agent = Agent(parts, history, clock, serve=False)
        for sentence in asyncio.run(_run(agent, minutes * 60)):
            tell(f"left undone: {sentence}")
        return began_s
    finally:
        history.close()


async def _run(agent: Agent, for_s: float) -> list[str]:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    loop.call_later(for_s, stop.set)
    running = asyncio.create_task(agent.run(stop))
    columns = (TextColumn("reading the site"), BarColumn(), TimeRemainingColumn())
    console = Console(stderr=True)
    if not console.is_terminal:
        tell(f"reading the site for {for_s / 60:g} minutes ...")
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task("live", total=for_s)
        began = loop.time()
        while not running.done() and not stop.is_set():
            await asyncio.wait([running], timeout=1)
            progress.update(task, completed=loop.time() - began)
    return await running
