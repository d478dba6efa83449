"""`portdraw tell`: one trial message to each receiver, now, and how each went."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from typing import Annotated

import typer

from portdraw.cli.open_secrets import warn_of_open_secrets
from portdraw.cli.problems import COULD_NOT_READ, FINE, tell
from portdraw.history.file_check import marked_emulated
from portdraw.history.store import FILE_NAME, History, HistoryError
from portdraw.plan.loader import load_site
from portdraw.reporting.notify.alarm_message import trial_message
from portdraw.reporting.notify.attempt import Attempt, Notifier
from portdraw.reporting.site_json import Json
from portdraw.reporting.terminal import print_json
from portdraw.reporting.wording import clock, iso
from portdraw.service.clock import Clock
from portdraw.service.notifiers import notifiers
from portdraw.service.settings import SettingsError, load_settings
from portdraw.service.trials import last_trials, note_trials

TIMEOUT_S = 10.0
# Syslog acknowledges nothing (RFC 5424, section 4; RFC 5425 and RFC 6587 add no answer). Over TCP and TLS the other
# side has read to the end; what it then did with the message it does not say.
_UNANSWERED = {
    "syslog over UDP": "sent; UDP has no answer, so look at the receiver",
    "syslog over TCP": "sent and read to its end; syslog acknowledges nothing, so look at the receiver",
    "syslog over TLS": "sent and read to its end; syslog acknowledges nothing, so look at the receiver",
}


def tell_receivers(
    settings: Annotated[Path, typer.Option(help="The agent's settings file.")],
    receiver: Annotated[str | None, typer.Argument(help="Only this receiver; each of them where left out.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print how each went as JSON.")] = False,
) -> None:
    """Send a trial message to each receiver of alarms at once, and say how each went.

    The message says that nothing has happened. The agent may go on running. The date of each trial that was taken,
    or over syslog sent, is kept in the history. Exit codes: 0 all took it, 2 wrong input, 3 a receiver did not.
    """
    loaded = load_settings(settings)
    site = load_site(loaded.site_path).site
    file = loaded.history_folder / FILE_NAME
    emulated = marked_emulated(file)
    known = notifiers(loaded, emulated=emulated)
    warn_of_open_secrets(loaded)
    if not known:
        raise SettingsError(f"{loaded.path}: there is no receiver to tell")
    if receiver is not None and receiver not in known:
        raise SettingsError(f"{loaded.path}: no receiver is named '{receiver}'; there are: {', '.join(known)}")
    chosen = {name: one for name, one in known.items() if receiver in (None, name)}
    now_s = Clock().now_s()
    results = asyncio.run(_send(chosen, trial_message(site.name, emulated, now_s, site.timezone)))
    taken = {name: now_s for name, result in results.items() if result.ok}
    before = _keep(loaded.history_folder, site.timezone, emulated, taken) if file.exists() else {}
    if as_json:
        rows: list[Json] = [
            {
                "receiver": name,
                "way": chosen[name].way,
                "taken": result.ok,
                "acknowledged": result.ok and chosen[name].way not in _UNANSWERED,
                "error": result.error,
                "took_s": round(result.took_s, 3),
                "taken_before_at": iso(before.get(name), site.timezone),
            }
            for name, result in results.items()
        ]
        print_json({"site": site.name, "emulated": emulated, "receivers": rows})
    else:
        if emulated:
            print("EMULATED")
        for name, result in results.items():
            print(_line(name, chosen[name], result, before.get(name), site.timezone, now_s))
    raise typer.Exit(FINE if len(taken) == len(chosen) else COULD_NOT_READ)


async def _send(chosen: Mapping[str, Notifier], message: Mapping[str, Json]) -> dict[str, Attempt]:
    """Tell all at the same time; a slow one delays nobody."""
    results = await asyncio.gather(*(one.send(message, 0, TIMEOUT_S) for one in chosen.values()))
    return dict(zip(chosen, results, strict=True))


def _keep(folder: Path, timezone: str, emulated: bool, taken: Mapping[str, float]) -> dict[str, float]:
    """Keep the dates of what was taken; return those of before. A history that can't be used is told, no more."""
    try:
        with closing(History.open(folder, timezone, emulated=emulated)) as history:
            before = last_trials(history)
            if taken:
                note_trials(history, taken)
            return before
    except HistoryError as error:
        tell(f"the date is not kept: {error}")
        return {}


def _line(name: str, one: Notifier, result: Attempt, before_s: float | None, timezone: str, now_s: float) -> str:
    went = _UNANSWERED.get(one.way, "taken") if result.ok else "NOT taken"
    if not result.ok:
        went += f": {result.error}"
    elif one.way not in _UNANSWERED:
        went += f" in {result.took_s:.1f} s"
    last = "" if before_s is None else f"; before that {moment_words(before_s, timezone, now_s)}"
    return f"{name} ({one.way}): {went}{last}"


def moment_words(time_s: float, timezone: str, now_s: float) -> str:
    """Return a moment in a sentence: "at 16:12:35 today", "on 2026-11-24 at 16:12:35"."""
    told = clock(time_s, timezone, now_s)
    date, gap, time = told.rpartition(" ")
    return f"on {date} at {time}" if gap else f"at {time} today"
