"""`portdraw fit SITE`: can this device be added here, and if not, what binds."""

from __future__ import annotations

import math
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from portdraw.cli.problems import FINDINGS, FINE, WRONG_INPUT, tell
from portdraw.cli.study_paper import give_paper, head_of
from portdraw.plan.class_grant import SignatureClasses
from portdraw.plan.loader import load_site
from portdraw.powerflow.fit import study_fit
from portdraw.powerflow.free_port import Wish
from portdraw.reporting.plain_text import plain
from portdraw.reporting.studies.fit_json import fit_document
from portdraw.reporting.studies.fit_page import fit_html
from portdraw.reporting.studies.fit_tables import print_fit
from portdraw.reporting.terminal import print_json

_MOST_W = 100.0  # as in the site file: a port can deliver 99.9 W at most (IEEE 802.3-2022, Table 145-16)
_MOST_M = 2000.0


class CableType(StrEnum):
    """What `--cable` may be."""

    CAT3 = "cat3"
    CAT5 = "cat5"
    CAT5E = "cat5e"
    CAT6 = "cat6"
    CAT6A = "cat6a"
    CAT7 = "cat7"
    CAT8 = "cat8"
    AWG22 = "awg22"
    AWG23 = "awg23"
    AWG24 = "awg24"
    AWG26 = "awg26"
    AWG28 = "awg28"


class Conductor(StrEnum):
    """What `--conductor` may be."""

    COPPER = "copper"
    COPPER_CLAD = "copper-clad"
    UNKNOWN = "unknown"


class Priority(StrEnum):
    """What `--priority` may be."""

    CRITICAL = "critical"
    HIGH = "high"
    LOW = "low"


def fit(
    site: Annotated[Path, typer.Argument(help="The site file (YAML).")],
    device_class: Annotated[
        str, typer.Option("--class", metavar="CLASS", help="Class, 0 to 8; 3+3 for a dual-signature device.")
    ],
    watts: Annotated[float, typer.Option("--watts", help="Typical watts at the device.")],
    length: Annotated[float, typer.Option("--length", help="Length of its cable, m.")],
    night: Annotated[float | None, typer.Option("--night", help="Watts at night.")] = None,
    frost: Annotated[float | None, typer.Option("--frost", help="Watts on a frost night.")] = None,
    start: Annotated[float | None, typer.Option("--start", help="Watts while it starts.")] = None,
    near: Annotated[
        str | None, typer.Option("--near", metavar="UNIT", help="The unit where it will stand; others come after.")
    ] = None,
    priority: Annotated[Priority, typer.Option(help="Priority of its port.")] = Priority.LOW,
    cable: Annotated[CableType, typer.Option(help="Type of its cable.")] = CableType.CAT6,
    conductor: Annotated[
        Conductor, typer.Option(help="Metal of its cable; unknown is counted as copper-clad.")
    ] = Conductor.UNKNOWN,
    as_json: Annotated[bool, typer.Option("--json", help="Print the answer as JSON.")] = False,
    html: Annotated[Path | None, typer.Option("--html", help="Write a paper to print to this file.")] = None,
) -> None:
    """Say whether a device can be added, on which free port, and which limit binds where it can't.

    Every limit up to the sources is held on both legs, in every case, after every single failure, with the margins
    of the site's policy. Exit codes: 0 it fits (at the unit of --near, where one is given), 1 it does not,
    2 wrong input, 3 a paper could not be written.
    """
    loaded = load_site(site)
    _check(("--watts", watts, _MOST_W), ("--night", night, _MOST_W), ("--frost", frost, _MOST_W))
    _check(("--start", start, _MOST_W), ("--length", length, _MOST_M))
    if near is not None and near not in loaded.units:
        _wrong(f"--near {plain(near)}: the site file has no unit of this name; it has {_some(list(loaded.units))}")
    wish = Wish(
        device_class=_classes(device_class),
        typical_w=watts,
        night_w=night,
        frost_night_w=frost,
        startup_w=start,
        length_m=length,
        cable_type=cable.value,
        conductor=conductor.value,
        priority=priority.value,
        near=near,
    )
    found = study_fit(loaded, wish)
    if html is not None:
        give_paper(fit_html(loaded, found, head_of(site, loaded)), html, quiet=as_json)
    if as_json:
        print_json(fit_document(loaded, found))
    elif html is None:
        print_fit(loaded, found)
    raise typer.Exit(FINE if found.fits else FINDINGS)


def _check(*figures: tuple[str, float | None, float]) -> None:
    for name, figure, most in figures:
        if figure is not None and not (math.isfinite(figure) and 0 <= figure <= most):
            _wrong(f"{name} {figure:g} is not between 0 and {most:g}")


def _classes(text: str) -> SignatureClasses:
    parts = text.split("+")
    if len(parts) == 1 and text in "012345678" and text:
        return int(text)
    if len(parts) == 2 and all(part in ("1", "2", "3", "4", "5") for part in parts):
        return (int(parts[0]), int(parts[1]))
    _wrong(f"--class {plain(text)} is no class: 0 to 8, or two of 1 to 5 such as 3+3")
    raise AssertionError("not reached")


def _some(names: list[str]) -> str:
    return ", ".join(names[:12]) + (f" and {len(names) - 12} more" if len(names) > 12 else "")


def _wrong(sentence: str) -> None:
    tell(sentence)
    raise typer.Exit(WRONG_INPUT)
