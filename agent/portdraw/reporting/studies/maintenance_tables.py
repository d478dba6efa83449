"""The maintenance sheet in the terminal."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import RenderableType
from rich.padding import Padding
from rich.text import Text

from portdraw.reporting.plain_text import plain
from portdraw.reporting.studies.cautions import STUDY_CAUTION
from portdraw.reporting.studies.maintenance import MaintenanceSheet
from portdraw.reporting.studies.maintenance_words import (
    STANDING_RULES,
    dangers_alike,
    forbidden,
    headline,
    own_words,
)
from portdraw.reporting.studies.study_text import parts_text, print_parts, text_table
from portdraw.reporting.studies.study_words import names

_SHOWN = 16
_FORBIDDEN_SHOWN = 20


def print_sheet(sheet: MaintenanceSheet) -> None:
    """Print the sheet on standard output."""
    print_parts(_parts(sheet))


def sheet_text(sheet: MaintenanceSheet) -> str:
    """Return the sheet as plain text of 100 columns."""
    return parts_text(_parts(sheet))


def _parts(sheet: MaintenanceSheet) -> Iterator[RenderableType]:
    loads = ", ".join(case.value for case in sheet.cases)
    yield Text(f"{plain(sheet.site.site.name)}: maintenance sheet, worked out on the plan", style="bold")
    yield Text(f"Before: {sheet.action} ({plain(sheet.row.what)}). Loads: {loads}.")
    yield Text("")
    for place, line in enumerate(headline(sheet)):
        yield Text(plain(line, 1000), style="bold" if place == 0 else "")
    for line in own_words(sheet, _SHOWN):
        yield Text(plain(line, 1000))
    if sheet.dead_when:
        yield Text("\nDead only when all of this is off, and tested", style="bold")
        for line in sheet.dead_when:
            yield Padding(Text(plain(line)), (0, 0, 0, 2))
    told = forbidden(sheet)
    yield Text("\nNot to be done meanwhile", style="bold")
    for line in told[:_FORBIDDEN_SHOWN]:
        yield Text(plain(line, 1000))
    if len(told) > _FORBIDDEN_SHOWN:
        yield Text(f"and {len(told) - _FORBIDDEN_SHOWN} more; --json lists all.")
    for line in STANDING_RULES:
        yield Text(line)
    if sheet.dangers:
        yield Text("\nIf it fails meanwhile, this goes dark as well, only because of the work", style="bold")
        table = text_table("what fails", "goes dark as well", "devices")
        table.columns[0].ratio, table.columns[1].ratio = 2, 3
        table.columns[2].justify, table.columns[2].no_wrap = "right", True
        for what, danger, counts in dangers_alike(sheet):
            table.add_row(plain(what, 1000), plain(names(danger.more, _SHOWN), 1000), counts)
        yield table
    yield Text(f"\n{STUDY_CAUTION}", style="dim")
