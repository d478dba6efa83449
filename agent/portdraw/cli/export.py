"""`portdraw export`: what other programs take up from portdraw."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from portdraw.cli.problems import COULD_NOT_READ, FINE, tell
from portdraw.plan.site_schema import site_schema
from portdraw.plan.yaml_schema import schema_text
from portdraw.service.settings_schema import settings_schema


class What(StrEnum):
    """What can be exported."""

    SCHEMA = "schema"


class Of(StrEnum):
    """Of which file."""

    SITE = "site"
    SETTINGS = "settings"


def export(
    what: Annotated[What, typer.Argument(help="What to export.")],
    of: Annotated[Of, typer.Argument(help="The file that it is about.")],
    out: Annotated[Path | None, typer.Option(help="File to write; printed where left out.")] = None,
) -> None:
    """Export the JSON Schema (draft 2020-12) of the site file or of the settings: editors complete and check by it.

    Exit codes: 0 done, 2 wrong input, 3 the file could not be written.
    """
    text = schema_text(site_schema() if of is Of.SITE else settings_schema())
    if out is None:
        print(text, end="")
        raise typer.Exit(FINE)
    try:
        out.write_text(text, encoding="utf-8")
    except OSError as error:
        tell(f"{out} can't be written: {error.strerror}")
        raise typer.Exit(COULD_NOT_READ) from None
    print(f"wrote {out}")
    raise typer.Exit(FINE)
