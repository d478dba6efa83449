"""Tables of plain cells, line by line: what fits is written at once, what does not is left to the table library.

The library measures and wraps each cell, which takes a minute for the ports of a site of six hundred units.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich import box
from rich.cells import cell_len
from rich.console import Console, ConsoleOptions, RenderableType
from rich.segment import Segment
from rich.style import Style
from rich.table import Table
from rich.text import Text

_RULE = "\N{BOX DRAWINGS LIGHT HORIZONTAL}"
_GAP = "  "
_BOLD = Style(bold=True)


class PlainTable:
    """A table with columns of names, on the left, and of numbers; a name column is `most` wide, longer names fold."""

    def __init__(self, names: Sequence[str], numbers: Sequence[str], most: int) -> None:
        self._names = tuple(names)
        self._heads = (*names, *numbers)
        self._most = most
        self._rows: list[Sequence[str]] = []

    def add_row(self, *cells: str) -> None:
        """Add a row of one-line cells, one for each column."""
        self._rows.append(cells)

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterator[RenderableType | Segment]:
        """Write the lines, in the layout of `as_table`."""
        widths = [max(map(cell_len, column)) for column in zip(self._heads, *self._rows, strict=True)]
        whole = sum(widths) + len(_GAP) * (len(widths) - 1)
        if whole > options.max_width or any(width > self._most for width in widths[: len(self._names)]):
            yield self.as_table()
            return
        yield Segment(self._line(self._heads, widths), _BOLD)
        yield Segment(f"\n{_RULE * whole}\n")
        for row in self._rows:
            yield Segment(f"{self._line(row, widths)}\n")

    def as_table(self) -> Table:
        """Return the same as a table of the library."""
        table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
        for head in self._names:
            table.add_column(head, overflow="fold", max_width=self._most)
        for head in self._heads[len(self._names) :]:
            table.add_column(head, justify="right", no_wrap=True)
        for row in self._rows:
            table.add_row(*(Text(cell) for cell in row))
        return table

    def _line(self, cells: Sequence[str], widths: Sequence[int]) -> str:
        parts = []
        for at, (cell, width) in enumerate(zip(cells, widths, strict=True)):
            pad = " " * (width - cell_len(cell))
            parts.append(f"{cell}{pad}" if at < len(self._names) else f"{pad}{cell}")
        return _GAP.join(parts)
