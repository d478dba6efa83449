"""The lines of a plain table, beside the same table as the library lays it out."""

from __future__ import annotations

from io import StringIO

import pytest
from rich.console import Console, RenderableType

from portdraw.reporting.plain_table import PlainTable

ROWS = (("1", "A-01", "north-pier", "8", "1.3"), ("", "", "  carrying", "", "56.0"), ("12", "", "[red]", "2", "?"))


def lines(of: RenderableType, width: int) -> list[str]:
    """Return what a console of this width shows, without what can't be seen at the ends."""
    page = StringIO()
    Console(file=page, width=width, color_system=None).print(of, highlight=False)
    return [line.rstrip() for line in page.getvalue().splitlines()]


@pytest.mark.parametrize("width", [100, 40, 30, 20])
@pytest.mark.parametrize("name", ["quay", "caf\N{LATIN SMALL LETTER E WITH ACUTE}", "\u6e2f" * 4, "long-name " * 4])
def test_lines_are_those_of_the_library(name: str, width: int) -> None:
    table = PlainTable(("port", "label", "on it"), ("class", "typical"), 26)
    for row in (*ROWS, ("3", name, name, "4", "12.4")):
        table.add_row(*row)
    assert lines(table, width) == lines(table.as_table(), width)


def test_a_table_without_rows_is_its_head() -> None:
    assert lines(PlainTable(("port",), ("class",), 26), 40)[0] == "port  class"


def test_a_row_of_too_few_cells_is_refused() -> None:
    table = PlainTable(("port",), ("class",), 26)
    table.add_row("1")
    with pytest.raises(ValueError, match="shorter"):
        lines(table, 40)
