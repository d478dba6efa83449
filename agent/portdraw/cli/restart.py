"""`portdraw restart SITE`: what happens from second to second when power comes back."""

from __future__ import annotations

import math
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from portdraw.cli.problems import FINDINGS, FINE, WRONG_INPUT, tell
from portdraw.cli.study_paper import give_paper, head_of
from portdraw.plan.load_case import Case
from portdraw.plan.loader import load_site
from portdraw.powerflow.restart import RETRY_S
from portdraw.reporting.plain_text import plain
from portdraw.reporting.studies.restart_json import restarts_document
from portdraw.reporting.studies.restart_page import restarts_html
from portdraw.reporting.studies.restart_study import STEADY, UnknownFailureError, study_restarts
from portdraw.reporting.studies.restart_tables import print_restarts
from portdraw.reporting.terminal import print_json

_LONGEST_RETRY_S = 3600.0


class Load(StrEnum):
    """What `--load` may be."""

    TYPICAL = "typical"
    NIGHT = "night"
    FROST = "frost"
    ALL = "all"


_CASES = {
    Load.TYPICAL: (Case.TYPICAL,),
    Load.NIGHT: (Case.NIGHT,),
    Load.FROST: (Case.FROST_NIGHT,),
    Load.ALL: STEADY,
}


def restart(
    site: Annotated[Path, typer.Argument(help="The site file (YAML).")],
    load: Annotated[Load, typer.Option(help="What the devices take once they have started.")] = Load.ALL,
    after: Annotated[
        str | None,
        typer.Option(
            "--after", metavar="FAILURE", help="Only after this failure, such as pier-7, or a failure in full."
        ),
    ] = None,
    retry: Annotated[
        float,
        typer.Option("--retry", metavar="SECONDS", help="When a port that was shed asks again; 0: never."),
    ] = RETRY_S,
    as_json: Annotated[bool, typer.Option("--json", help="Print the study as JSON.")] = False,
    html: Annotated[Path | None, typer.Option("--html", help="Write a paper to print to this file.")] = None,
) -> None:
    """Follow the site from second to second when power comes back: who starts when, what each limit is asked.

    The change of legs that each failure forces before comes with it: at the instant, after renegotiation, after
    start-up. Exit codes: 0 everything comes back as it was, within every limit, 1 findings, 2 wrong input,
    3 a paper could not be written.
    """
    loaded = load_site(site)
    if not (math.isfinite(retry) and (retry == 0 or 1 <= retry <= _LONGEST_RETRY_S)):
        tell(f"--retry {retry:g} is neither 0 nor between 1 and {_LONGEST_RETRY_S:g} seconds")
        raise typer.Exit(WRONG_INPUT)
    try:
        study = study_restarts(loaded, _CASES[load], after, retry or None)
    except UnknownFailureError as error:
        tell(plain(f"--after: {error}"))
        raise typer.Exit(WRONG_INPUT) from None
    if html is not None:
        give_paper(restarts_html(study, head_of(site, loaded)), html, quiet=as_json)
    if as_json:
        print_json(restarts_document(study))
    elif html is None:
        print_restarts(study)
    raise typer.Exit(FINDINGS if study.findings else FINE)
