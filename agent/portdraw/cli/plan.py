"""`portdraw plan SITE`: check a site file and print its load schedule."""

from __future__ import annotations

import json as json_text
import sys
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from portdraw.plan.loader import load_site
from portdraw.plan.plan_error import PlanError
from portdraw.plan.structure import check_structure
from portdraw.plan.tree import Tree
from portdraw.reporting.load_schedule import print_schedule, schedule_text, stands
from portdraw.reporting.load_schedule_json import schedule_json
from portdraw.reporting.planned_watts import planned_loads


def plan(
    site: Annotated[Path, typer.Argument(help="The site file (YAML).")],
    json: Annotated[bool, typer.Option("--json", help="Print the schedule as JSON.")] = False,
) -> None:
    """Check a site file and print its load schedule.

    Exit code 0: the plan fits, with its margins. 1: errors in its structure, or a limit or margin that is not kept.
    2: the file can't be used.
    """
    try:
        loaded = load_site(site)
    except PlanError as error:
        typer.echo(str(error), err=True)
        raise typer.Exit(2) from None
    tree = Tree(loaded)
    findings = check_structure(loaded, tree)
    schedule = planned_loads(loaded, tree)
    if json:
        typer.echo(json_text.dumps(schedule_json(schedule, findings), indent=2, ensure_ascii=False))
    elif sys.stdout.isatty():
        print_schedule(Console(), schedule, findings)
    else:
        typer.echo(schedule_text(schedule, findings))
    raise typer.Exit(0 if stands(schedule, findings) else 1)
