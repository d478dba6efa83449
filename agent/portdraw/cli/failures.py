"""`portdraw failures SITE`: what each failure would darken, and which the site does not survive."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Never

import typer

from portdraw.cli.problems import FINDINGS, FINE, WRONG_INPUT, tell
from portdraw.cli.study_bar import study_bar
from portdraw.cli.study_paper import give_paper, head_of
from portdraw.plan.load_case import Case
from portdraw.plan.loader import load_site
from portdraw.plan.site import Site
from portdraw.reporting.studies.failure_json import failures_document
from portdraw.reporting.studies.failure_page import failures_html
from portdraw.reporting.studies.failure_tables import print_failures
from portdraw.reporting.studies.maintenance import ActionError, maintenance_sheet
from portdraw.reporting.studies.maintenance_json import sheet_document
from portdraw.reporting.studies.maintenance_page import sheet_html
from portdraw.reporting.studies.maintenance_tables import print_sheet
from portdraw.reporting.studies.site_study import LOADS, study_site
from portdraw.reporting.terminal import print_json


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
    before: Annotated[
        str | None,
        typer.Option("--before", metavar="ACTION", help='A maintenance sheet instead, for "switch off north-pier".'),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the study as JSON.")] = False,
    html: Annotated[Path | None, typer.Option("--html", help="Write a paper to print to this file.")] = None,
) -> None:
    """Say what each failure would darken, how much is short and for how long it lasts, and what would mend it.

    Exit codes: 0 every promise and every margin is kept, 1 findings, 2 wrong input, 3 a paper could not be written.
    """
    loaded = load_site(site)
    if before is not None:
        _sheet(site, loaded, before, LOADS[load], as_json, html)
    with study_bar("failures", quiet=as_json) as progress:
        study = study_site(loaded, LOADS[load], pairs=pairs, progress=progress)
    if html is not None:
        give_paper(failures_html(study, head_of(site, loaded)), html, quiet=as_json)
    if as_json:
        print_json(failures_document(study))
    elif html is None:
        print_failures(study)
    raise typer.Exit(FINDINGS if study.findings else FINE)


def _sheet(file: Path, site: Site, before: str, cases: Sequence[Case], as_json: bool, html: Path | None) -> Never:
    try:
        sheet = maintenance_sheet(site, before, cases)
    except ActionError as error:
        tell(str(error))
        raise typer.Exit(WRONG_INPUT) from None
    if html is not None:
        give_paper(sheet_html(sheet, head_of(file, site)), html, quiet=as_json)
    if as_json:
        print_json(sheet_document(sheet))
    elif html is None:
        print_sheet(sheet)
    raise typer.Exit(FINDINGS if sheet.findings else FINE)
