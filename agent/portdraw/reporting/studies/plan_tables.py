"""The plan's papers in the terminal: load schedule, margins of every limit, port schedule, findings."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby

from rich.console import Group, RenderableType
from rich.text import Text

from portdraw.plan.finding import Finding
from portdraw.plan.load_case import Case
from portdraw.plan.planned_load import STEADY, LoadSchedule, PlannedUnit
from portdraw.plan.site import Site
from portdraw.reporting.load_schedule import schedule_parts, stands
from portdraw.reporting.plain_text import plain
from portdraw.reporting.studies.limit_margins import MarginCell, MarginRow, Mark, PowerState
from portdraw.reporting.studies.margins_not_kept import NotKept, margins_not_kept, not_promised
from portdraw.reporting.studies.port_schedule import PortRow
from portdraw.reporting.studies.study_text import parts_text, print_parts, text_table
from portdraw.reporting.studies.study_words import HEADS, percent

_STYLES = {Mark.MARGIN: "yellow", Mark.OVER: "bold red", Mark.UNKNOWN: "magenta"}
_NAME_WIDTH = 30


@dataclass(frozen=True)
class PlanPapers:
    """All that `plan` shows of a site."""

    site: Site
    schedule: LoadSchedule
    findings: Sequence[Finding]
    margins: Sequence[MarginRow]
    ports: Sequence[PortRow]

    @cached_property
    def not_kept(self) -> tuple[NotKept, ...]:
        """Limits and margins that are not kept beside the sums of the load schedule."""
        return margins_not_kept(self.site, self.margins, self.schedule)

    @property
    def stand(self) -> bool:
        """Whether the plan fits: no error in its structure, every load powered, every limit and margin kept."""
        return stands(self.schedule, self.findings) and not self.not_kept


def print_plan(papers: PlanPapers) -> None:
    """Print all papers on standard output."""
    print_parts(_parts(papers))


def plan_text(papers: PlanPapers) -> str:
    """Return all papers as plain text of 100 columns."""
    return parts_text(_parts(papers))


def _parts(papers: PlanPapers) -> Iterator[RenderableType]:
    between = [_margins(papers.margins, not_promised(papers.site, papers.margins)), *_ports(papers)]
    more = [(one.sentence, one.verdict) for one in papers.not_kept]
    yield from schedule_parts(papers.schedule, list(papers.findings), instead_of_ports=between, more=more)


def _margins(rows: Sequence[MarginRow], aside: str | None) -> RenderableType:
    title = Text(
        "\nMargins of every limit: share used, normal running / all AC lost / all PoE feeds lost", style="bold"
    )
    if not rows:
        return Group(title, Text("The plan has no limit."))
    table = text_table("limit")
    table.columns[0].max_width = _NAME_WIDTH
    for cell in rows[0].cells:
        table.add_column(f"{_SHORT[cell.state]}\n{HEADS[cell.case]}", justify="right", no_wrap=True)
    order = [(cell.state, cell.case) for cell in rows[0].cells]
    for row in rows:
        cells = {(cell.state, cell.case): cell for cell in row.cells}
        table.add_row(plain(row.limit), *(cell_text(cells[key]) for key in order))
    note = "Before anything is shed. AC lost: all local AC without a generator. -: nothing is on it."
    return Group(title, Text(note), table, *([Text(plain(aside, 600))] if aside else []))


_SHORT = {PowerState.NORMAL: "normal", PowerState.AC_LOST: "no AC", PowerState.FEED_LOST: "no feed"}


def cell_text(cell: MarginCell) -> Text:
    """Return the share used with its mark."""
    if cell.found is None:
        return Text("dark " if cell.dark else "- ", style="dim")
    if cell.mark is Mark.UNKNOWN or not math.isfinite(cell.found.share):
        return Text("? " if cell.mark is Mark.UNKNOWN else "over!", style=_STYLES.get(cell.mark, ""))
    return Text(f"{percent(cell.found.share)}{cell.mark.value}", style=_STYLES.get(cell.mark, ""))


def _ports(papers: PlanPapers) -> Iterator[RenderableType]:
    units = {unit.unit: unit for unit in papers.schedule.units}
    note = (
        "Watts at the PD input and at the PSE output: day/night/frost night. Limit at the PSE output: the port's or "
        "its class's. V at the far end, heaviest steady load. Start-up and maximum: --html, --json."
    )
    yield Group(Text("\nPort schedule", style="bold"), Text(note))
    for name, rows in groupby(papers.ports, key=lambda row: row.unit):
        yield _unit_ports(units[name], list(rows))


def _unit_ports(unit: PlannedUnit, rows: Sequence[PortRow]) -> RenderableType:
    table = text_table("port", "label", "on it", "priority", "cl", "cable")
    for column, width in zip(table.columns, (6, 9, 20, 8, 3, 11), strict=True):
        column.max_width = width
    for head in ("W at PD", "W at PSE", "limit", "V"):
        table.add_column(head, justify="right", no_wrap=True)
    for row in rows:
        port = row.port
        limit = "" if row.limit_w is None else f"{row.limit_w:.1f}"
        if not port.hangs:
            table.add_row(port.port, plain(port.label), "(spare)", "", "", "", "", "", limit, "")
            continue
        volts = "?" if row.pd_v is None else f"{row.pd_v:.1f}"
        feeds = port.kind == "feed"
        table.add_row(
            port.port,
            plain(port.label),
            plain(port.hangs),
            port.priority,
            class_words(port.device_class),
            plain(row.cable),
            three(row.pd_w),
            three(port.pse_w),
            limit,
            "" if feeds else volts,
        )
        if feeds:
            table.add_row(
                "", "", "  carrying", "", "", "", three(row.pd_carrying_w), three(port.carrying_w), "", volts
            )
    return Group(Text(f"\n{plain(unit_title(unit))}", style="bold"), table)


def unit_title(unit: PlannedUnit) -> str:
    """Return a unit with its place and its legs: "Ports of berth-1 (gantry): local AC from quay-3; PoE feed ..."."""
    legs = []
    if unit.supplied_by:
        legs.append(f"{'local AC' if unit.fed_by else 'AC'} from {', '.join(unit.supplied_by)}")
    if unit.fed_by:
        legs.append(f"PoE feed from {unit.fed_by}")
    where = f" ({unit.place})" if unit.place else ""
    return f"Ports of {unit.unit}{where}: {'; '.join(legs) or 'no source'}"


def three(watts: Mapping[Case, float | None]) -> str:
    """Return steady watts as "6.8/10.4/12.5", once where all are alike."""
    said = ["?" if (one := watts.get(case)) is None else f"{one:.1f}" for case in STEADY]
    return said[0] if len(set(said)) == 1 else "/".join(said)


def class_words(found: int | tuple[int, int] | None) -> str:
    """Return a class, a dual signature as "3+3"."""
    if found is None:
        return ""
    return "+".join(map(str, found)) if isinstance(found, tuple) else str(found)
