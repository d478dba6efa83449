"""`portdraw status`: the overview in a terminal, from the running agent."""

from __future__ import annotations

from typing import Annotated, Any

import httpx
import typer

from portdraw.cli.agent_client import (
    CaOption,
    CertificateOption,
    KeyOption,
    SettingsOption,
    UrlOption,
    agent_client,
)
from portdraw.cli.problems import COULD_NOT_READ, FINDINGS, FINE, tell
from portdraw.reporting.http.access import Permission
from portdraw.reporting.plain_text import plain
from portdraw.reporting.status_table import print_status_json
from portdraw.reporting.terminal import print_json


def status(
    settings: SettingsOption = None,
    url: UrlOption = None,
    ca: CaOption = None,
    certificate: CertificateOption = None,
    key: KeyOption = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Print what the running agent sees now.

    Exit codes: 0 no alarm is up, 1 alarms are up, 2 wrong input, 3 the agent could not be read.
    """
    agent = agent_client(settings, url, Permission.READ, ca, certificate, key)
    answer = agent.ask("GET", "/api/v1/site")
    site = agent.json(answer)
    if answer.status_code == httpx.codes.SERVICE_UNAVAILABLE and "reason" in site:
        tell(f"the agent at {plain(agent.url)} has no state to show yet: {plain(str(site['reason']))}")
        raise typer.Exit(COULD_NOT_READ)
    up = False
    try:
        up = is_alarmed(site["alarms"])
        if as_json:
            print_json(site)
        else:
            print_status_json(site)
    except (AttributeError, KeyError, TypeError, ValueError):
        agent.stranger()
    raise typer.Exit(FINDINGS if up else FINE)


def is_alarmed(alarms: list[dict[str, Any]]) -> bool:
    """Say whether an alarm is up or about to be."""
    up = ("pending", "raised", "acknowledged", "returning")
    return any(alarm["state"] in up for alarm in alarms)
