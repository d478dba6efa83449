"""Tables and sentences of a study on a terminal, or as plain text of 100 columns where there is none."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from io import StringIO

from rich import box
from rich.console import Console, RenderableType
from rich.table import Table

WIDTH = 100


def print_parts(parts: Iterable[RenderableType]) -> None:
    """Print on standard output: as wide as the terminal, but no wider than 100 columns; plain when piped."""
    if not sys.stdout.isatty():
        print(parts_text(parts))
        return
    console = Console(highlight=False)
    console.width = min(console.width, WIDTH)
    for part in parts:
        console.print(part)


def parts_text(parts: Iterable[RenderableType]) -> str:
    """Return plain text without colour and without blanks at the ends of lines."""
    page = StringIO()
    console = Console(file=page, width=WIDTH, color_system=None, highlight=False)
    for part in parts:
        console.print(part)
    return "\n".join(line.rstrip() for line in page.getvalue().splitlines())


def text_table(*heads: str) -> Table:
    """Return a table with columns that fold."""
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
    for head in heads:
        table.add_column(head, overflow="fold")
    return table
