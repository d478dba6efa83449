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
    _print_losses(out, view)
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


def _print_losses(out: Console, view: OverviewView) -> None:
    out.print()
    out.print(Text("What the next single loss asks", style="bold"))
    if not view.losses:
        out.print(Text("Not worked out yet."))
        return
    table = _grid(30, 18, BAR_CELLS, 14, 24)
    for loss in view.losses:
        table.add_row(
            Text(loss.what),
            Text(loss.limit),
            Text(text_bar(loss.bar)),
            Text(f"{loss.need} of {loss.can_give}"),
            Text(loss.verdict, style=TONES[loss.tone]),
        )
        if loss.rests_on:
            table.add_row(Text(loss.rests_on))
    out.print(table)
    if view.more_losses:
        out.print(Text(f"and {view.more_losses} more, none of them worse"))


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
