"""`portdraw audit`: what was designed and what was drawn, over a period of the history."""

from __future__ import annotations

import tempfile
from datetime import date, datetime
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

import typer

from portdraw.cli.live_audit import read_for
from portdraw.cli.problems import COULD_NOT_READ, FINDINGS, FINE, WRONG_INPUT, tell
from portdraw.history.file_check import marked_emulated
from portdraw.history.site_day import day_end_s, day_start_s
from portdraw.history.store import FILE_NAME, History
from portdraw.plan.loader import load_site
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.reporting.audit.audit import Audit, build_audit, what_was_read
from portdraw.reporting.audit.audit_files import AuditFileError, write_audit
from portdraw.reporting.audit.audit_json import audit_document
from portdraw.reporting.audit.audit_rows import Weight
from portdraw.reporting.audit.folded import folded
from portdraw.reporting.plain_text import plain
from portdraw.reporting.terminal import print_json
from portdraw.service.clock import Clock
from portdraw.service.settings import load_settings

DAY_S = 86_400
DAYS = 14


def audit(
    settings: Annotated[Path, typer.Option(help="The agent's settings file.")],
    days: Annotated[
        int | None,
        typer.Option(min=1, max=3660, help=f"How many days back, today included; {DAYS} where left out."),
    ] = None,
    from_day: Annotated[
        str | None, typer.Option("--from", help="First local day, 2026-03-01; instead of --days.")
    ] = None,
    to_day: Annotated[
        str | None, typer.Option("--to", help="Last local day, 2026-03-31; today when left out.")
    ] = None,
    out: Annotated[
        Path, typer.Option(help="Folder for the audit; a file that is there is never overwritten.")
    ] = Path(),
    live: Annotated[
        float | None,
        typer.Option(
            min=1, max=1440, metavar="MINUTES", help="Read the site for so long instead of from the history."
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the audit as JSON and write no file.")] = False,
) -> None:
    """Hold the design budget against what was drawn: per port and unit, as a page to print, tables and JSON.

    Reads the history only; the agent may go on running. With --live it reads the switches for a while instead and
    leaves the history alone: for a visitor with a laptop, where no agent has been running.

    Exit codes: 0 nothing to act on, 1 findings to act on, 2 wrong input, 3 there is nothing to read, or the audit
    could not be written.
    """
    loaded = load_settings(settings)
    site = load_site(loaded.site_path)
    zone = ZoneInfo(site.site.timezone)
    if live is not None:
        if from_day is not None or to_day is not None or days is not None:
            tell("--live is about now and not about the history: leave out --days, --from and --to")
            raise typer.Exit(WRONG_INPUT)
        with tempfile.TemporaryDirectory(prefix="portdraw-live-") as name:
            first_s = read_for(loaded, live, Path(name))
            now_s = Clock().now_s()
            result = _audit_of(site, Path(name), first_s, now_s, now_s)
    else:
        now_s = Clock().now_s()
        first_s, last_s = _period(days, from_day, to_day, now_s, zone)
        result = _audit_of(site, loaded.history_folder, first_s, last_s, now_s)
    if as_json:
        print_json(audit_document(result))
    else:
        tell_audit(result, out, f"audit-{result.first_day}-to-{result.last_day}")
    if not result.coverage_percent:
        tell(f"nothing was read from {result.first_day} to {result.last_day}")
        raise typer.Exit(COULD_NOT_READ)
    raise typer.Exit(FINDINGS if result.count(Weight.ACT) else FINE)


def _audit_of(site: Site, folder: Path, first_s: float, last_s: float, now_s: float) -> Audit:
    emulated = marked_emulated(folder / FILE_NAME)
    history = History.open(folder, site.site.timezone, emulated=emulated, read_only=True)
    try:
        return build_audit(site, Tree(site), history, first_s, last_s, now_s, emulated)
    finally:
        history.close()


def tell_audit(result: Audit, folder: Path, stem: str) -> None:
    """Write the audit's files and print where they are and what was found; ends with exit code 3 where it can't."""
    try:
        paths = write_audit(result, folder, stem)
    except AuditFileError as error:
        tell(str(error))
        raise typer.Exit(COULD_NOT_READ) from None
    if result.emulated:
        print("EMULATED")
    print(f"{result.first_day} to {result.last_day}: {what_was_read(result)}")
    for where, finding in folded(one for one in result.findings() if one[1].weight is not Weight.KNOW):
        print(f"{finding.weight.value}: {plain(where, 600)}: {plain(finding.sentence)}")
    if not any(path.stem == stem for path in paths):
        print(f"an audit called {stem} is there already and stays as it is; this one has a number")
    for path in paths:
        print(f"wrote {path}")


def _period(
    days: int | None, from_day: str | None, to_day: str | None, now_s: float, zone: ZoneInfo
) -> tuple[float, float]:
    """Return first and last second of the period; ends with exit code 2 where the days make none."""
    if days is not None and from_day is not None:
        tell("--days and --from both say where the period begins: leave one of them out")
        raise typer.Exit(WRONG_INPUT)
    last_s = now_s if to_day is None else min(now_s, day_end_s(_day(to_day, "--to"), zone) - 1)
    if from_day is not None:
        first_s = day_start_s(_day(from_day, "--from"), zone)
    else:
        first_s = day_start_s(datetime.fromtimestamp(last_s - ((days or DAYS) - 1) * DAY_S, zone).date(), zone)
    if first_s >= last_s:
        tell("the period has no time in it: --from must be before --to, and not in the future")
        raise typer.Exit(WRONG_INPUT)
    return first_s, last_s


def _day(text: str, option: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        tell(f"{option} {text!r} is no day; write it as 2026-03-31")
        raise typer.Exit(WRONG_INPUT) from None
