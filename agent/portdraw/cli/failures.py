"""`portdraw failures SITE`: what each failure would darken, and which the site does not survive."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from portdraw.cli.problems import FINDINGS, FINE
from portdraw.plan.loader import load_site
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
) -> None:
    """Say what each failure would darken."""
    loaded = load_site(site)
    study = study_site(loaded, LOADS[load], pairs=pairs)
    print_failures(study)
    raise typer.Exit(FINDINGS if study.findings else FINE)
