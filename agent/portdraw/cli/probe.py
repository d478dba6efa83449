"""`portdraw probe`: what one switch answers, before anything is planned or watched."""

from __future__ import annotations

import asyncio
import os
import time
from pathlib import Path
from typing import Annotated

import typer

from portdraw.cli.open_secrets import warn_of_open_secrets
from portdraw.cli.problems import COULD_NOT_READ, FINE, WRONG_INPUT, tell
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.site import Unit
from portdraw.reading.access import Access, Community
from portdraw.reading.catalogue import Catalogue, standard_catalogue
from portdraw.reading.engine import parse_address
from portdraw.reading.pysnmp_engine import PysnmpEngine
from portdraw.reading.unit_reader import UnitReader
from portdraw.reporting.probe_json import sheet_json
from portdraw.reporting.probe_sheet import print_sheet
from portdraw.reporting.terminal import print_json
from portdraw.service.secrets_of import accesses
from portdraw.service.settings import LoadedSettings, SettingsError, load_settings
from portdraw.service.site_catalogue import site_catalogue

COMMUNITY_VARIABLE = "PORTDRAW_COMMUNITY"


def probe(
    address: Annotated[str, typer.Argument(help="HOST or HOST:PORT of the switch.")],
    settings: Annotated[
        Path | None, typer.Option(help="Settings file that declares the access, and columns of its own.")
    ] = None,
    access: Annotated[str | None, typer.Option(help="Name of the access in the settings file.")] = None,
    community: Annotated[
        bool, typer.Option("--community", help=f"Ask by SNMP v2c, with the community in {COMMUNITY_VARIABLE}.")
    ] = False,
    deadline_s: Annotated[float, typer.Option(help="Give up after this many seconds.", min=0.5, max=120)] = 15,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Ask one switch once and print what it tells: ports, watts, states, power source. Nothing is written to it.

    Exit codes: 0 it answered, 2 wrong input, 3 it could not be read.
    """
    loaded = None if settings is None else load_settings(settings)
    catalogue = standard_catalogue() if loaded is None else site_catalogue(loaded)
    name, entry = access_for(loaded, access, community)
    try:
        parse_address(address, name)
    except ValueError as error:
        tell(str(error))
        raise typer.Exit(WRONG_INPUT) from None
    observation = asyncio.run(_read(address, name, entry, catalogue, deadline_s))
    if as_json:
        print_json(sheet_json(address, observation))
    else:
        print_sheet(address, observation)
    read = observation.outcome in (Outcome.ANSWERED, Outcome.PARTIAL)
    raise typer.Exit(FINE if read else COULD_NOT_READ)


def access_for(loaded: LoadedSettings | None, access: str | None, community: bool) -> tuple[str, Access]:
    """Return name and secrets of the access that the options name. Raises SettingsError with one sentence."""
    if community:
        value = os.environ.get(COMMUNITY_VARIABLE)
        if not value:
            raise SettingsError(f"the environment variable {COMMUNITY_VARIABLE} is not set")
        return "community", Community(value.encode())
    if loaded is None:
        raise SettingsError(
            f"say how to ask: --settings FILE --access NAME, or --community with the name in {COMMUNITY_VARIABLE}"
        )
    warn_of_open_secrets(loaded)
    known = accesses(loaded)
    if access is None and len(known) == 1:
        return next(iter(known.items()))
    if access not in known:
        declared = ", ".join(known) or "none"
        raise SettingsError(f"{loaded.path}: no access is called {access!r} (declared: {declared})")
    return access, known[access]


async def _read(address: str, name: str, access: Access, catalogue: Catalogue, deadline_s: float) -> UnitObservation:
    engine = PysnmpEngine({name: access})
    try:
        unit = Unit(address=address, access=name)
        return await UnitReader(address, unit, engine, catalogue, time.time).poll(deadline_s, slow=True)
    finally:
        await engine.close()
