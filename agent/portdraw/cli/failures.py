"""`portdraw failures SITE`: what each failure would darken, and which the site does not survive."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from portdraw.cli.problems import FINDINGS, FINE
from portdraw.cli.study_paper import give_paper, head_of
from portdraw.plan.loader import load_site
from portdraw.reporting.studies.failure_page import failures_html
from portdraw.reporting.studies.failure_tables import print_failures
from portdraw.reporting.studies.site_study import LOADS, study_site


class Load(StrEnum):
    """What `--load` may be."""

    TYPICAL = "typical"
    NIGHT = "night"
    FROST = "frost"
    MAX = "max"
    ALL = "all"


def failures(
    site: Annotated[Path, typer.Argument(help="The site file (YAML).")],
    load: Annotated[
        Load, typer.Option(help="Load case; all: typical, night and frost night. max: every device at its maximum.")
    ] = Load.ALL,
    pairs: Annotated[bool, typer.Option("--pairs", help="Every two AC circuits together as well.")] = False,
    html: Annotated[Path | None, typer.Option("--html", help="Write a paper to print to this file.")] = None,
) -> None:
    """Say what each failure would darken, how much is short and for how long it lasts, and what would mend it.

    Exit codes: 0 every promise and every margin is kept, 1 findings, 2 wrong input, 3 a paper could not be written.
    """
    loaded = load_site(site)
    study = study_site(loaded, LOADS[load], pairs=pairs)
    if html is not None:
        give_paper(failures_html(study, head_of(site, loaded)), html)
    else:
        print_failures(study)
    raise typer.Exit(FINDINGS if study.findings else FINE)
