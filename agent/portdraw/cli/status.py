"""`portdraw status`: the overview in a terminal, from the running agent."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import httpx
import typer

from portdraw.cli.problems import COULD_NOT_READ, FINDINGS, FINE, WRONG_INPUT, tell
from portdraw.reporting.plain_text import plain
from portdraw.reporting.status_table import print_status_json
from portdraw.reporting.terminal import print_json
from portdraw.service.settings import load_settings

TIMEOUT_S = 5.0


def status(
    settings: Annotated[Path | None, typer.Option(help="The agent's settings file: where it listens.")] = None,
    url: Annotated[str | None, typer.Option(help="The agent's address, such as http://127.0.0.1:8437.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Print what the running agent sees now.

    Exit codes: 0 no alarm is up, 1 alarms are up, 2 wrong input, 3 the agent could not be read.
    """
    if url is None:
        if settings is None:
            tell("say where the agent is: --settings FILE or --url http://127.0.0.1:8437")
            raise typer.Exit(WRONG_INPUT)
        listen = load_settings(settings).settings.listen
        url = f"http://{f'[{listen.host}]' if ':' in listen.host else listen.host}:{listen.port}"
    elif not url.startswith(("http://", "https://")):
        tell(f"--url {plain(url)} is no address such as http://127.0.0.1:8437")
        raise typer.Exit(WRONG_INPUT)
    try:
        answer = httpx.get(f"{url.rstrip('/')}/api/v1/site", timeout=TIMEOUT_S, trust_env=False)
        site = answer.json()
    except (httpx.HTTPError, httpx.InvalidURL, ValueError):
        tell(f"no portdraw agent answers at {plain(url)}; is it running?")
        raise typer.Exit(COULD_NOT_READ) from None
    if answer.status_code == httpx.codes.SERVICE_UNAVAILABLE and isinstance(site, dict) and "reason" in site:
        tell(f"the agent at {plain(url)} has no state to show yet: {plain(str(site['reason']))}")
        raise typer.Exit(COULD_NOT_READ)
    try:
        up = _is_alarmed(site)
        if as_json:
            print_json(site)
        else:
            print_status_json(site)
    except (AttributeError, KeyError, TypeError, ValueError):
        tell(f"what answers at {plain(url)} is no portdraw agent of this version")
        raise typer.Exit(COULD_NOT_READ) from None
    raise typer.Exit(FINDINGS if up else FINE)


def _is_alarmed(site: dict[str, Any]) -> bool:
    up = ("pending", "raised", "acknowledged", "returning")
    return any(alarm["state"] in up for alarm in site["alarms"])
