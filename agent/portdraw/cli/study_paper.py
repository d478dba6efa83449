"""The paper of a study: its head from the site file and the clock, and where it was written."""

from __future__ import annotations

from pathlib import Path

import typer

from portdraw.cli.problems import COULD_NOT_READ, tell
from portdraw.plan.site import Site
from portdraw.reporting.studies.paper import PaperError, PaperHead, paper_head, write_paper
from portdraw.service.agent import agent_version
from portdraw.service.clock import Clock


def head_of(file: Path, site: Site) -> PaperHead:
    """Return the head of a paper; ends with exit code 3 where the site file can't be read any more."""
    try:
        return paper_head(site.site.name, file, Clock().now_s(), site.site.timezone, agent_version())
    except PaperError as error:
        tell(str(error))
        raise typer.Exit(COULD_NOT_READ) from None


def give_paper(text: str, file: Path, *, quiet: bool = False) -> None:
    """Write a paper and, unless `quiet`, say where; ends with exit code 3 where that can't be done."""
    try:
        write_paper(text, file)
    except PaperError as error:
        tell(str(error))
        raise typer.Exit(COULD_NOT_READ) from None
    if not quiet:
        print(f"wrote {file}")
