"""Puts an agent together from its settings: the one place where real parts are chosen."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from functools import partial

from portdraw.history.store import History
from portdraw.plan.loader import load_site_with_tree
from portdraw.plan.plan_error import PlanError, Problem
from portdraw.plan.site import Site, Unit, Ups
from portdraw.plan.yaml_tree import YamlTree
from portdraw.reading.access import Access
from portdraw.reading.catalogue import Catalogue, standard_catalogue
from portdraw.reading.engine import Engine, parse_address
from portdraw.reading.unit_reader import UnitReader
from portdraw.reporting.notify.attempt import Notifier
from portdraw.service.clock import Clock
from portdraw.service.hint_listener import notification_accesses
from portdraw.service.notifiers import notifiers
from portdraw.service.secrets_of import accesses
from portdraw.service.settings import LoadedSettings, SettingsError
from portdraw.service.site_catalogue import site_catalogue


@dataclass(frozen=True)
class Parts:
    """All that is needed before the event loop starts; nothing is open yet."""

    loaded: LoadedSettings
    site: Site
    accesses: dict[str, Access]
    destinations: dict[str, Notifier]
    emulated: bool


def gather(loaded: LoadedSettings, *, emulated: bool = False) -> Parts:
    """Load the site file and the secrets. Raises PlanError or SettingsError, each with clear sentences.

    An emulated site may tell receivers on this machine only: any other is refused here.
    """
    site, tree = load_site_with_tree(loaded.site_path)
    problems = _access_problems(loaded, site, tree)
    faults = _secret_faults(loaded, emulated)
    if problems:
        misnamed = PlanError(str(loaded.site_path), problems)
        raise SettingsError("\n".join((str(misnamed), *faults))) if faults else misnamed
    site_catalogue(loaded)
    if faults:
        raise SettingsError("\n".join(faults))
    known = accesses(loaded)
    notification_accesses(loaded, known)
    return Parts(loaded, site, known, notifiers(loaded, emulated=emulated), emulated)


def _secret_faults(loaded: LoadedSettings, emulated: bool) -> list[str]:
    """Everything that keeps the accesses and the receivers from being used, one sentence each."""
    faults: list[str] = []
    for parts in (partial(accesses, loaded), partial(notifiers, loaded, emulated=emulated)):
        try:
            parts()
        except SettingsError as error:
            faults += str(error).splitlines()
    return faults


def open_history(parts: Parts) -> History:
    """Open the history. Raises HistoryError."""
    settings = parts.loaded.settings
    return History.open(
        parts.loaded.history_folder, parts.site.site.timezone, settings.history.hot_days, emulated=parts.emulated
    )


def unit_readers(site: Site, engine: Engine, clock: Clock, catalogue: Catalogue | None = None) -> list[UnitReader]:
    """Return a reader for each unit, and for each UPS, that is readable by design."""
    known = catalogue or standard_catalogue()
    read = {name: unit for name, unit in site.units.items() if unit.readable}
    read |= {n: Unit(address=ups.address, access=ups.access) for n, ups in site.ups.items() if ups.readable}
    return [UnitReader(name, unit, engine, known, clock.now_s) for name, unit in read.items()]


def _access_problems(loaded: LoadedSettings, site: Site, tree: YamlTree) -> list[Problem]:
    """Every access that the site file names must be declared in the settings, every address be one."""
    problems: list[Problem] = []
    known = loaded.settings.access
    read: list[tuple[str, str, Unit | Ups]] = [("units", name, unit) for name, unit in site.units.items()]
    read += [("ups", name, ups) for name, ups in site.ups.items()]
    without: dict[str, list[tuple[str, str]]] = {}
    for kind, name, part in read:
        if part.access != "none" and part.access not in known:
            without.setdefault(part.access, []).append((kind, name))
        if part.readable:
            try:
                parse_address(part.address or "", part.access)
            except ValueError as error:
                line, column = tree.mark((kind, name, "address"))
                problems.append(Problem(line, column, f"{kind}.{name}.address", str(error)))
    for access, places in without.items():
        kind, first = places[0]
        line, column = tree.mark((kind, first, "access"))
        declared = ", ".join(known) or "none"
        near = get_close_matches(access, list(known), 1, 0.6)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        others = f"; so in {', '.join(name for _, name in places[1:])}" if places[1:] else ""
        sentence = f"{access!r} is not declared under access in {loaded.path} (declared: {declared}){others}{hint}"
        problems.append(Problem(line, column, f"{kind}.{first}.access", sentence))
    return problems
