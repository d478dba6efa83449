"""`portdraw discover`: walks from switch to switch along LLDP and writes a draft of the site file."""

from __future__ import annotations

import asyncio
import ipaddress
import time
from pathlib import Path
from typing import Annotated

import typer

from portdraw.cli.probe import COMMUNITY_VARIABLE, access_for
from portdraw.cli.problems import COULD_NOT_READ, FINDINGS, FINE, WRONG_INPUT, tell
from portdraw.plan.loader import parse_site
from portdraw.plan.plan_error import PlanError
from portdraw.plan.structure import check_structure
from portdraw.reading.access import Access
from portdraw.reading.catalogue import Catalogue, standard_catalogue
from portdraw.reading.discovery import Bounds, Discovered, Discovery, Network
from portdraw.reading.engine import parse_address
from portdraw.reading.pysnmp_engine import PysnmpEngine
from portdraw.reporting.draft_site import DraftSite, with_todo
from portdraw.reporting.plain_text import plain
from portdraw.service.settings import SettingsError, load_settings
from portdraw.service.site_catalogue import site_catalogue


def discover(
    address: Annotated[str, typer.Argument(help="HOST or HOST:PORT of the switch to begin with.")],
    out: Annotated[Path, typer.Option(help="Write the draft to this file.")],
    settings: Annotated[
        Path | None, typer.Option(help="Settings file that declares the access, and columns of its own.")
    ] = None,
    access: Annotated[str | None, typer.Option(help="Name of the access in the settings file.")] = None,
    community: Annotated[
        bool, typer.Option("--community", help=f"Ask by SNMP v2c, with the community in {COMMUNITY_VARIABLE}.")
    ] = False,
    within: Annotated[
        list[str] | None,
        typer.Option(
            help="Ask addresses in this network only (10.20.0.0/22); may be given again. The start's /24 or IPv6 /64."
        ),
    ] = None,
    address_of: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME=HOST[:PORT]", help="Where the unit of this LLDP name is asked; may be given again."
        ),
    ] = None,
    hops: Annotated[int, typer.Option(help="Go no further than this from the start.", min=0, max=64)] = 8,
    limit: Annotated[int, typer.Option(help="Ask no more addresses than this.", min=1, max=2000)] = 200,
    deadline_s: Annotated[float, typer.Option(help="Give a unit up after so many seconds.", min=0.5, max=120)] = 15,
    force: Annotated[bool, typer.Option("--force", help="Write over a file that is there.")] = False,
) -> None:
    """Walk from one switch to the next along LLDP, read each as probe does, and write a draft of the site file.

    Addresses are asked at the start's SNMP port, and only in the networks named: whoever hangs on a port can claim to
    be a switch. Nothing is written to any switch.

    Exit codes: 0 a draft was written, 1 it was, but some neighbours were not read, 2 wrong input, 3 the start could
    not be read.
    """
    if out.exists() and not force:
        raise SettingsError(f"{out} is there already; another name, or --force to write over it")
    if not out.parent.is_dir():
        raise SettingsError(f"{out} can't be written: there is no folder {out.parent}")
    loaded = None if settings is None else load_settings(settings)
    catalogue = standard_catalogue() if loaded is None else site_catalogue(loaded)
    name, entry = access_for(loaded, access, community)
    bounds = Bounds(hops, limit, deadline_s, tuple(_network(text) for text in within or ()))
    book = dict(_named_address(text, name) for text in address_of or ())
    try:
        parse_address(address, name)
    except ValueError as error:
        tell(str(error))
        raise typer.Exit(WRONG_INPUT) from None
    found = asyncio.run(_walk(address, name, entry, catalogue, bounds, book))
    if not found.units:
        tell("nothing was read, so no draft was written")
        raise typer.Exit(COULD_NOT_READ)
    when = time.strftime("%Y-%m-%d %H:%M UTC", time.gmtime())
    draft = DraftSite(found, name, address, when).text()
    undeclared = [f"access {name}: declare it in the settings, or write the name of yours"] if community else []
    _write(out, with_todo(draft, [*_what_plan_asks(draft), *undeclared]), force)
    for missed in found.missed:
        where = f" at {plain(missed.address)}" if missed.address else ""
        tell(f"not read: {plain(missed.name) or 'a neighbour'}{where}: {plain(missed.reason)}")
    print(f"{out}: a draft of {len(found.units)} units; {len(found.missed)} neighbours not read")
    raise typer.Exit(FINDINGS if found.missed else FINE)


def _what_plan_asks(draft: str) -> list[str]:
    try:
        site = parse_site(draft, "draft")
    except PlanError as error:
        return [f"{problem.path}: {problem.sentence}" for problem in error.problems]
    return [f"{finding.where}: {finding.sentence}" for finding in check_structure(site)]


async def _walk(
    address: str, name: str, access: Access, catalogue: Catalogue, bounds: Bounds, book: dict[str, str]
) -> Discovered:
    engine = PysnmpEngine({name: access})
    try:
        walk = Discovery(
            engine, catalogue, name, time.time, bounds, book, lambda at, said: tell(f"{at}: {plain(said)}")
        )
        return await walk.walk(address)
    finally:
        await engine.close()


def _network(text: str) -> Network:
    try:
        return ipaddress.ip_network(text, strict=False)
    except ValueError:
        raise SettingsError(f"--within {text[:100]!r} is not a network such as 10.20.0.0/22") from None


def _named_address(text: str, access: str) -> tuple[str, str]:
    name, equals, address = text.partition("=")
    if not (name and equals):
        raise SettingsError(f"--address-of {text[:100]!r} is not NAME=HOST or NAME=HOST:PORT")
    try:
        parse_address(address, access)
    except ValueError as error:
        raise SettingsError(f"--address-of: {error}") from None
    return name, address


def _write(out: Path, text: str, force: bool) -> None:
    try:
        with out.open("w" if force else "x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise SettingsError(f"{out} is there already; another name, or --force to write over it") from None
    except OSError as error:
        raise SettingsError(f"{out} can't be written: {error.strerror}") from None
