"""`portdraw alarms`: the alarms of the running agent, and what a person may do to one."""

from __future__ import annotations

import math
from enum import StrEnum
from typing import Annotated, Any

import httpx
import typer

from portdraw.cli.agent_client import (
    AgentClient,
    CaOption,
    CertificateOption,
    KeyOption,
    SettingsOption,
    UrlOption,
    agent_client,
)
from portdraw.cli.problems import COULD_NOT_READ, FINDINGS, FINE, WRONG_INPUT, tell
from portdraw.cli.status import is_alarmed
from portdraw.reporting.http.access import Permission
from portdraw.reporting.http.alarm_desk import MOST_SHELVED_S
from portdraw.reporting.plain_text import plain
from portdraw.reporting.terminal import print_json

SECONDS_AN_HOUR = 3600.0
MOST_HOURS = MOST_SHELVED_S / SECONDS_AN_HOUR


class Action(StrEnum):
    """What to do."""

    LIST = "list"
    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"


def alarms(
    action: Annotated[Action, typer.Argument(help="What to do.")] = Action.LIST,
    settings: SettingsOption = None,
    url: UrlOption = None,
    ca: CaOption = None,
    certificate: CertificateOption = None,
    key: KeyOption = None,
    kind: Annotated[str | None, typer.Option(help="Kind of the alarm, such as local-ac-lost.")] = None,
    unit: Annotated[str | None, typer.Option(help="Unit of the alarm.")] = None,
    port: Annotated[str | None, typer.Option(help="Port of the alarm, where it has one.")] = None,
    owner: Annotated[str | None, typer.Option(help="Who has it in hand; else the name of the token.")] = None,
    reason: Annotated[str | None, typer.Option(help="shelve: why.")] = None,
    hours: Annotated[float | None, typer.Option(help="shelve: for how many hours, at most 168.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """List alarms, acknowledge one, set one aside for a time, or take it back.

    All but the list takes a token with the scope operate, from the settings or from PORTDRAW_TOKEN.

    Exit codes: 0 no alarm is up, or it is done; 1 alarms are up, or the alarm can't be handled so; 2 wrong input;
    3 the agent could not be read.
    """
    if action is Action.LIST:
        agent = agent_client(settings, url, Permission.READ, ca, certificate, key)
        _list(agent, as_json)
    order = _order(action, kind, unit, port, owner, reason, hours)
    agent = agent_client(settings, url, Permission.OPERATE, ca, certificate, key)
    _do(agent, action, order, as_json)


def _list(agent: AgentClient, as_json: bool) -> None:
    answer = agent.ask("GET", "/api/v1/alarms")
    told = agent.json(answer)
    if answer.status_code == httpx.codes.SERVICE_UNAVAILABLE and "reason" in told:
        tell(f"the agent at {plain(agent.url)} has no state to show yet: {plain(str(told['reason']))}")
        raise typer.Exit(COULD_NOT_READ)
    up = False
    try:
        up = is_alarmed(told["alarms"])
        lines = [line for alarm in told["alarms"] for line in alarm_lines(alarm)]
        if as_json:
            print_json(told)
        else:
            print("\n".join(lines) if lines else "No alarm.")
    except (AttributeError, KeyError, TypeError, ValueError):
        agent.stranger()
    raise typer.Exit(FINDINGS if up else FINE)


def alarm_lines(alarm: dict[str, Any]) -> list[str]:
    """Return how an alarm is told: its sentence, and the words that name it to this command."""
    named = f"--kind {plain(str(alarm['kind']))} --unit {plain(str(alarm['unit']))}"
    named += "" if alarm["port"] is None else f" --port {plain(str(alarm['port']))}"
    hand = alarm["handling"]
    by = "" if hand is None else f" by {plain(str(hand['owner']))}"
    head = f"{plain(str(alarm['state']))}{by}, {plain(str(alarm['severity']))}"
    return [f"{head}: {plain(str(alarm['sentence']), 600)}", f"    {named}"]


def _order(
    action: Action,
    kind: str | None,
    unit: str | None,
    port: str | None,
    owner: str | None,
    reason: str | None,
    hours: float | None,
) -> dict[str, Any]:
    needed: dict[str, object] = {"--kind": kind, "--unit": unit}
    shelves = action is Action.SHELVE
    if shelves:
        needed |= {"--owner": owner, "--reason": reason, "--hours": hours}
    missing = [name for name, value in needed.items() if value is None]
    if missing:
        tell(f"{action.value} needs {', '.join(missing)}; `portdraw alarms` lists what each alarm is called")
        raise typer.Exit(WRONG_INPUT)
    if not shelves and (reason is not None or hours is not None):
        tell("--reason and --hours go with shelve only")
        raise typer.Exit(WRONG_INPUT)
    if hours is not None and not (math.isfinite(hours) and 0 < hours <= MOST_HOURS):
        tell(f"--hours must be above 0 and at most {MOST_HOURS:g}")
        raise typer.Exit(WRONG_INPUT)
    given = {"kind": kind, "unit": unit, "port": port, "owner": owner, "reason": reason}
    order: dict[str, Any] = {name: value for name, value in given.items() if value is not None}
    if hours is not None:
        order["for_s"] = hours * SECONDS_AN_HOUR
    return order


def _do(agent: AgentClient, action: Action, order: dict[str, Any], as_json: bool) -> None:
    answer = agent.ask("POST", f"/api/v1/alarms/{action.value}", order)
    told = agent.json(answer)
    if answer.status_code != httpx.codes.OK:
        tell(f"not done: {plain(str(told.get('error', answer.status_code)))}")
        codes = {400: WRONG_INPUT, 404: FINDINGS, 409: FINDINGS}
        raise typer.Exit(codes.get(answer.status_code, COULD_NOT_READ))
    try:
        if as_json:
            print_json(told)
        else:
            print("\n".join(alarm_lines(told["alarm"])))
        if told["kept"] is not True:
            tell("the history can't be written now: a restart before it can would forget this")
    except (KeyError, TypeError, ValueError):
        agent.stranger()
    raise typer.Exit(FINE)
