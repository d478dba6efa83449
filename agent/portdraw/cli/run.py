"""`portdraw run`: the service itself."""

from __future__ import annotations

import asyncio
import logging
import signal
import sys
import tempfile
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from portdraw.cli.open_secrets import warn_of_open_secrets
from portdraw.cli.problems import COULD_NOT_READ, FINDINGS, FINE, tell
from portdraw.history.store import History
from portdraw.judgement.alarm import AlarmState
from portdraw.judgement.assessment import SiteAssessment
from portdraw.judgement.wording import count_text, list_text
from portdraw.observation.unit_observation import Outcome
from portdraw.reporting.plain_text import plain
from portdraw.reporting.site_json import site_json
from portdraw.reporting.status_table import print_status
from portdraw.reporting.terminal import print_json
from portdraw.service.agent import Agent
from portdraw.service.clock import Clock
from portdraw.service.history_lock import history_lock
from portdraw.service.settings import SettingsError, load_settings
from portdraw.service.wiring import Parts, gather, open_history

MOST_TOLD = 3
_UNREAD = (Outcome.SILENT, Outcome.REFUSED, Outcome.GARBLED)
_FOUND = (AlarmState.PENDING, AlarmState.RAISED, AlarmState.ACKNOWLEDGED, AlarmState.RETURNING)


def run(
    settings: Annotated[Path, typer.Option(help="The agent's settings file.")],
    once: Annotated[bool, typer.Option("--once", help="Read every unit once, print the state, and end.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="With --once: print JSON.")] = False,
) -> None:
    """Watch the site: poll, compare, alarm, serve pages and metrics, until told to stop.

    Exit codes: 0 stopped as told (with --once: all fine), 1 with --once: alarms or findings, 2 wrong input,
    3 with --once: a unit could not be read.
    """
    if as_json and not once:
        raise SettingsError("--json goes with --once; while the agent runs, ask its /api/v1/site")
    level = logging.WARNING if once else logging.INFO  # once: the printed state says it all
    logging.basicConfig(stream=sys.stderr, level=level, format="%(asctime)s %(levelname)s %(message)s")
    logging.getLogger("apscheduler").setLevel(logging.WARNING)
    logging.getLogger("httpx").setLevel(logging.WARNING)
    loaded = load_settings(settings)
    parts = gather(loaded)
    warn_of_open_secrets(loaded)
    with closing(open_history(parts)) as history, history_lock(loaded.history_folder) as ours:
        if ours:
            work = _once(parts, history, as_json) if once else _serve(parts, history)
            raise typer.Exit(asyncio.run(work))
    if not once:
        raise SettingsError(f"another agent is writing the history in {loaded.history_folder}; two would count twice")
    with (  # a look beside a running agent
        tempfile.TemporaryDirectory(prefix="portdraw-once-") as folder,
        closing(History.open(Path(folder), parts.site.site.timezone)) as history,
    ):
        raise typer.Exit(asyncio.run(_once(replace(parts, destinations={}), history, as_json)))


async def _serve(parts: Parts, history: History) -> int:
    agent = Agent(parts, history, Clock())
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    units = sum(1 for unit in parts.site.units.values() if unit.readable)
    tell(f"portdraw watches {parts.site.site.name}: {units} units to read; overview at {agent.address}")
    left = await agent.run(stop)
    for sentence in left:
        tell(f"stopped; {sentence}")
    if not left:
        tell("stopped; nothing was left undone")
    return FINE


async def _once(parts: Parts, history: History, as_json: bool) -> int:
    clock = Clock()
    agent = Agent(parts, history, clock, serve=False)
    assessment = await agent.once()
    if as_json:
        print_json(site_json(assessment, clock.now_s()))
    else:
        print_status(assessment, clock.now_s())
    code = exit_code(assessment)
    if code != FINE:
        tell(exit_words(assessment, code))
    return code


def exit_words(assessment: SiteAssessment, code: int) -> str:
    """Return why the exit code is not 0, in one line."""
    if code == COULD_NOT_READ:
        unread = [unit for unit in assessment.units if unit.outcome in _UNREAD]
        return f"exit code {code}: not read: {list_text([plain(unit.unit) for unit in unread])}"
    found = [alarm for alarm in assessment.alarms if alarm.state in _FOUND]
    waiting = [alarm for alarm in found if alarm.state is AlarmState.PENDING]
    count = count_text(len(found), "finding")
    delay = ""
    if waiting:
        of = "" if len(waiting) == len(found) else f"{len(waiting)} of them "
        delay = f", {of}not yet an alarm, as the on-delay is not over"
    sentences = " ".join(plain(alarm.sentence, 300) for alarm in found[:MOST_TOLD])
    more = f" And {len(found) - MOST_TOLD} more." if len(found) > MOST_TOLD else ""
    return f"exit code {code}: {count}{delay}: {sentences}{more}"


def exit_code(assessment: SiteAssessment) -> int:
    """Return what a state means for a script: unread units count more than findings."""
    if any(unit.outcome in _UNREAD for unit in assessment.units):
        return COULD_NOT_READ
    return FINDINGS if any(alarm.state in _FOUND for alarm in assessment.alarms) else FINE
