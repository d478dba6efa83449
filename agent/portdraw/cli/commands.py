"""The command `portdraw`: which commands there are."""

from __future__ import annotations

from typing import Annotated

import typer

from portdraw.cli import alarms, audit, demo, discover, export, failures, fit, plan, probe, restart, run, status
from portdraw.cli import tell as tell_command
from portdraw.cli.problems import FINE
from portdraw.service.agent import agent_version

app = typer.Typer(
    name="portdraw",
    help="Watches PoE watts on both legs of every pass-through switch, and audits them against the design budget.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _tell_version(wanted: bool) -> None:
    if wanted:
        print(f"portdraw {agent_version()}")
        raise typer.Exit(FINE)


@app.callback()
def portdraw(
    version: Annotated[
        bool, typer.Option("--version", help="Print the version and end.", is_eager=True, callback=_tell_version)
    ] = False,
) -> None:
    """Watch PoE watts on both legs of every pass-through switch, and audit them against the design budget."""


app.command("demo")(demo.demo)
app.command("plan")(plan.plan)
app.command("failures")(failures.failures)
app.command("restart")(restart.restart)
app.command("fit")(fit.fit)
app.command("probe")(probe.probe)
app.command("discover")(discover.discover)
app.command("run")(run.run)
app.command("status")(status.status)
app.command("alarms")(alarms.alarms)
app.command("audit")(audit.audit)
app.command("tell")(tell_command.tell_receivers)
app.command("export")(export.export)
