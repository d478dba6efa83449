"""The overview for a terminal: at most 100 columns, plain text where the output is not a terminal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from portdraw.judgement.assessment import SiteAssessment
from portdraw.reporting import terminal
from portdraw.reporting.alarm_view import AlarmView
from portdraw.reporting.budget_bar import BudgetBar
from portdraw.reporting.current import AgentHealth
from portdraw.reporting.failure_view import OutlookView
from portdraw.reporting.overview_view import OverviewView, late_words, overview_view
from portdraw.reporting.plain_text import plain
from portdraw.reporting.site_json_reader import site_from_json
from portdraw.reporting.unit_view import LegView, UnitView
from portdraw.reporting.wording import clock

WIDEST = 100
BAR_CELLS = 10
TONES = {"urgent": "bold red", "warning": "yellow", "unknown": "bold", "lost": "bold red", "quiet": ""}
SEVERITY_SIGNS = {"urgent": "!!", "warning": "!", "notice": "-"}


def print_status(
    site: SiteAssessment | None, now_s: float, health: AgentHealth | None = None, console: Console | None = None
) -> None:
    """Print how the site stands at `now_s` (site clock); a site of None is said to be unknown, never fine."""
    out = console or terminal.console()
    out.width = min(WIDEST, out.width)
    timezone = "UTC" if site is None else site.timezone
    if site is not None and site.emulated:
        out.print(Text("EMULATED: every figure here comes from a rehearsal", style="bold reverse"))
    late = "" if health is None else late_words(site, health, timezone, now_s)
    if late:
        out.print(Text(f"OLD NEWS: {late}", style="bold red"))
    if site is None:
        out.print(Text("No readings yet: no cycle has ended.", style="bold"))
        return
    view = overview_view(site, now_s)
    out.print(Text(view.headline, style="bold"))
    out.print(Text(f"{plain(site.site)}, {clock(now_s, timezone)} {plain(timezone)}"))
    out.print(Text(", ".join(view.facts)))
    _print_alarms(out, view)
    _print_failures(out, view)
    _print_units(out, view)


def print_status_json(given: Mapping[str, Any], console: Console | None = None) -> None:
    """Print the state that a running agent gave as JSON. ValueError with one sentence where it can't be read."""
    site, now_s = site_from_json(given)
    print_status(site, now_s, console=console)


def _print_alarms(out: Console, view: OverviewView) -> None:
    out.print()
    out.print(Text("Alarms", style="bold"))
    if not view.alarms:
        out.print(Text(view.no_alarm))
    for alarm in view.alarms:
        out.print(_alarm(alarm))
    for line in view.alarm_lines:
        out.print(Text(line))
    if view.more_alarms:
        out.print(Text(f"and {view.more_alarms} more"))
    for line in view.set_aside:
        out.print(Text(line, style="dim"))


def _alarm(alarm: AlarmView) -> Table:
    table = _grid(16, 83)
    sign = f"{SEVERITY_SIGNS[alarm.severity]:2} {alarm.severity}"
    table.add_row(Text(sign, style=TONES.get(alarm.severity, "")), Text(alarm.what, style="bold"))
    for name, words in (
        ("where", alarm.where),
        ("running on", alarm.running_on),
        ("since", f"{alarm.since}, {alarm.state}"),
        ("do first", alarm.first or "nothing: it is for your information"),
        ("if left alone", alarm.consequence or "unknown"),
    ):
        table.add_row(Text(f"   {name}"), Text(words))
    return table


def _print_failures(out: Console, view: OverviewView) -> None:
    out.print()
    out.print(Text("What fails next, the worst first", style="bold"))
    if not view.failures:
        out.print(Text("Not worked out yet."))
        return
    for failure in view.failures:
        out.print(Text(failure.what, style="bold"))
        table = _grid(15, 24, BAR_CELLS, 47)
        for outlook in failure.outlooks[:1] if failure.alike else failure.outlooks:
            table.add_row(
                Text("  every load" if failure.alike else f"  {outlook.head}"),
                Text(outlook.verdict, style=TONES[outlook.tone]),
                Text("" if outlook.bar is None else text_bar(outlook.bar)),
                Text("; ".join(_outlook_lines(outlook))),
            )
        out.print(table)
    if view.more_failures:
        out.print(Text(f"and {view.more_failures} more, none of them worse"))
    if view.tonight_rests_on:
        out.print(Text(f"tonight: {view.tonight_rests_on}", style="dim"))
    if view.findings:
        out.print(Text("Standing findings", style="bold"))
    for finding in view.findings:
        out.print(Text(f"- {finding}"))


def _outlook_lines(outlook: OutlookView) -> list[str]:
    limit = f"{outlook.limit} {outlook.figures}, {outlook.headroom}" if outlook.limit else ""
    return [line for line in (outlook.dark, limit, outlook.lasts, outlook.rests_on) if line]


def _print_units(out: Console, view: OverviewView) -> None:
    out.print()
    out.print(Text("Units, each below what feeds it", style="bold"))
    for unit in view.units:
        _print_unit(out, unit)


def _print_unit(out: Console, unit: UnitView) -> None:
    head = Text(unit.unit, style="bold")
    head.append(f"  {unit.place}  " if unit.place else "  ", style="not bold")
    head.append(unit.reading, style="bold" if unit.reading_tone == "unknown" else "not bold")
    out.print(Padding(head, (0, 0, 0, 2 * unit.depth)))
    if unit.reason:
        out.print(Padding(Text(unit.reason), (0, 0, 0, 2 * unit.depth + 2)))
    table = _grid(31, 20, BAR_CELLS, 17, 18)
    for leg in unit.legs:
        table.add_row(*_leg("  " * unit.depth, leg))
    if unit.legs:
        out.print(table)


def _leg(indent: str, leg: LegView) -> tuple[Text, ...]:
    return (
        Text(f"{indent} {leg.name} {leg.source}"),
        Text(leg.words, style=TONES["lost"] if leg.shape.value == "lost" else ""),
        Text(text_bar(leg.bar)),
        Text(leg.bar.words),
        Text(leg.bar.verdict, style=TONES[leg.bar.tone]),
    )


def text_bar(bar: BudgetBar) -> str:
    """Return a bar in letters: # drawn, . free, X over, ~ drawn but not sure, ? unknown; blank beyond the budget."""
    if bar.frame is None:
        return "?" * BAR_CELLS
    over = max(1, round(BAR_CELLS * bar.over / 100)) if bar.over else 0
    frame = min(BAR_CELLS - over, max(1, round(BAR_CELLS * bar.frame / 100)))
    if bar.fill is None:
        return "?" * frame
    fill = min(frame, round(BAR_CELLS * bar.fill / 100))
    return ("~" if bar.doubtful else "#") * fill + "." * (frame - fill) + "X" * over


def _grid(*widths: int) -> Table:
    table = Table.grid(padding=(0, 1, 0, 0), pad_edge=False)
    for width in widths:
        table.add_column(width=width, overflow="fold")
    return table
