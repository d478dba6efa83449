"""`portdraw demo`: an emulated site and a real agent that watches it over SNMP, on this machine only."""

from __future__ import annotations

import asyncio
import os
import signal
import socket
import sys
import tempfile
import time
import webbrowser
from collections.abc import Callable
from contextlib import closing
from datetime import datetime, timedelta
from itertools import takewhile
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from portdraw.cli.demo_desk import DemoDesk
from portdraw.cli.demo_folder import write_demo_folder
from portdraw.cli.demo_words import DemoWords, say, switch_lines
from portdraw.cli.problems import COULD_NOT_READ, FINE, tell
from portdraw.history.store import History
from portdraw.plan.loader import load_site
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.rehearsal.emulated_site import EmulatedSite
from portdraw.rehearsal.past import past_rows
from portdraw.rehearsal.story import LIVE
from portdraw.reporting.audit.audit import build_audit
from portdraw.reporting.audit.audit_files import write_audit
from portdraw.service.agent import Agent
from portdraw.service.clock import Clock
from portdraw.service.past import write_past
from portdraw.service.settings import load_settings
from portdraw.service.wiring import gather, open_history

SCALE = 15.0  # site seconds in a wall second: a poll of 30 s comes every 2 s
PAST_DAYS = 14
PAST_EVERY_S = 1800.0
DEFAULT_PORT = 8437
SITE_FILE = Path(__file__).resolve().parent.parent / "rehearsal" / "site.yaml"


def demo(
    for_s: Annotated[
        float | None, typer.Option("--for", help="End by itself after this many seconds.", min=1, max=86_400)
    ] = None,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Do not open the overview.")] = False,
    seed: Annotated[int, typer.Option(help="Seed of the emulation's noise.")] = 7,
    port: Annotated[
        int, typer.Option(help="Where to serve the overview; a free port where it is taken.", min=0, max=65535)
    ] = DEFAULT_PORT,
) -> None:
    """Run the whole job on an emulated ferry terminal; Ctrl-C ends it with an audit in the current folder.

    Nothing outside this machine is read or told. Everything it shows is EMULATED.
    """
    check_writable(Path.cwd())
    with tempfile.TemporaryDirectory(prefix="portdraw-demo-") as folder:
        raise typer.Exit(asyncio.run(_demo(Path(folder), for_s, not no_browser, seed, port)))


async def _demo(folder: Path, for_s: float | None, browser: bool, seed: int, port: int) -> int:
    site = load_site(SITE_FILE)
    start_s = story_start_s(site, time.time())
    say(f"EMULATED: {site.site.name}, {len(site.units)} units. Site time runs {SCALE:.0f} times as fast as yours.")
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    with closing(History.open(folder / "history", site.site.timezone, emulated=True)) as history:
        await asyncio.to_thread(_write_past, site, history, start_s, seed, stop.is_set)
    if stop.is_set():
        say("EMULATED: stopped before the story began; there is nothing to audit.")
        return FINE

    clock = Clock(start_s, SCALE)
    words = DemoWords(site.site.timezone, clock)
    desk = DemoDesk(words.message)
    emulated = EmulatedSite(site, clock.now_s, start_s, seed)
    try:
        await desk.start()
        addresses = await emulated.start()
        access = next(unit.access for unit in site.units.values() if unit.readable)
        settings = write_demo_folder(
            folder, SITE_FILE, addresses, emulated.credentials, access, desk.url, _free_port(port)
        )
        parts = gather(load_settings(settings), emulated=True)
        with closing(open_history(parts)) as history:
            agent = Agent(parts, history, clock, on_change=words.change)
            say(f"Overview: {agent.address}")
            say(f"Metrics:  {agent.address}/metrics")
            for line in switch_lines(addresses, settings, access):
                say(line)
            say(f"Ctrl-C ends it and writes the audit into {Path.cwd()}.")
            for scene in LIVE.on(site).scenes:
                loop.call_later(clock.wall_s(start_s + scene.after_s - clock.now_s()), words.scene, scene.told)
            if for_s is not None:
                loop.call_later(for_s, stop.set)
            if browser and _has_screen():
                await asyncio.to_thread(webbrowser.open, agent.address)
            watch = asyncio.create_task(words.busy(lambda: agent.health().busy_note))
            for sentence in await agent.run(stop):
                tell(f"left undone: {sentence}")
            watch.cancel()
            now_s = clock.now_s()
            began_s = start_s - PAST_DAYS * 86_400
            audit = build_audit(parts.site, Tree(parts.site), history, began_s, now_s, now_s, True)
            paths = write_audit(audit, Path.cwd(), "portdraw-audit-EMULATED")
    finally:
        emulated.stop()
        await desk.stop()
    told = f"{words.came_up} alarms came up, {words.over} returned, {len(desk.messages)} messages at the webhook"
    say(f"EMULATED: {told}.")
    for path in paths:
        say(f"audit written: {path}")
    return FINE


def check_writable(folder: Path) -> None:
    """End with exit code 3 and one sentence where the audit could not be written at the end."""
    try:
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        tell(
            f"the audit at the end is written into the folder you stand in, and {folder} can't be written "
            f"({error.strerror}): change into a folder of your own, then start the demo there"
        )
        raise typer.Exit(COULD_NOT_READ) from None


def story_start_s(site: Site, now_s: float) -> float:
    """Return 14:00 site time of the day before `now_s`: whole days lie behind, and no reading is of the future."""
    zone = ZoneInfo(site.site.timezone)
    yesterday = datetime.fromtimestamp(now_s, zone) - timedelta(days=1)
    return yesterday.replace(hour=14, minute=0, second=0, microsecond=0).timestamp()


def _write_past(site: Site, history: History, start_s: float, seed: int, stopped: Callable[[], bool]) -> None:
    said = f"writing the {PAST_DAYS} days before"
    console = Console()
    if not console.is_terminal:
        say(f"{said} ...")
    columns = (TextColumn(said), BarColumn(), TextColumn("{task.percentage:.0f} %"))
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        began_s = start_s - PAST_DAYS * 86_400
        task = progress.add_task("past", total=start_s - began_s)
        rows = past_rows(site, start_s, seed, PAST_DAYS, PAST_EVERY_S)
        write_past(
            takewhile(lambda _: not stopped(), rows),
            site,
            history,
            PAST_EVERY_S,
            lambda time_s: progress.update(task, completed=time_s - began_s),
        )


def _has_screen() -> bool:
    """False where opening a browser would take over a terminal without a screen."""
    return sys.platform in ("darwin", "win32") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _free_port(wanted: int) -> int:
    """Return `wanted`, or 0 (any free one) where it is taken."""
    with socket.socket() as sock:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            sock.bind(("127.0.0.1", wanted))
        except OSError:
            return 0
    return wanted
