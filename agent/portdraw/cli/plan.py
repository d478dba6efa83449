"""`portdraw plan SITE`: check a site file and print its papers: load schedule, margins, port schedule, findings."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from portdraw.cli.problems import FINDINGS, FINE
from portdraw.cli.study_paper import give_paper, head_of
from portdraw.plan.finding import Finding, FindingSeverity
from portdraw.plan.loader import load_site
from portdraw.plan.plan_error import PlanError
from portdraw.plan.structure import check_structure
from portdraw.plan.tree import Tree
from portdraw.reporting.planned_watts import planned_loads
from portdraw.reporting.studies.limit_margins import limit_margins
from portdraw.reporting.studies.meeting_findings import meeting_findings
from portdraw.reporting.studies.plan_json import plan_document
from portdraw.reporting.studies.plan_page import plan_html
from portdraw.reporting.studies.plan_tables import PlanPapers, print_plan
from portdraw.reporting.studies.port_schedule import port_rows
from portdraw.reporting.terminal import print_json


def plan(
    site: Annotated[Path, typer.Argument(help="The site file (YAML).")],
    json: Annotated[bool, typer.Option("--json", help="Print the papers as JSON.")] = False,
    html: Annotated[
        Path | None, typer.Option("--html", help="Write them as one paper to print to this file.")
    ] = None,
) -> None:
    """Check a site file and print its load schedule, the margins of every limit, and its port schedule.

    Exit code 0: the plan fits, with its margins. 1: errors in its structure, or a limit or margin that is not kept.
    2: the file can't be used. 3: the paper can't be written.
    """
    try:
        loaded = load_site(site)
    except PlanError as error:
        typer.echo(str(error), err=True)
        raise typer.Exit(2) from None
    tree = Tree(loaded)
    findings = sorted([*check_structure(loaded, tree), *meeting_findings(loaded)], key=_rank)
    schedule = planned_loads(loaded, tree)
    papers = PlanPapers(loaded, schedule, findings, limit_margins(loaded), tuple(port_rows(loaded, schedule)))
    if html is not None:
        give_paper(plan_html(papers, head_of(site, loaded)), html, quiet=json)
    if json:
        print_json(plan_document(papers))
    elif html is None:
        print_plan(papers)
    raise typer.Exit(FINE if papers.stand else FINDINGS)


def _rank(finding: Finding) -> int:
    return list(FindingSeverity).index(finding.severity)
