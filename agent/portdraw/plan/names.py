"""Every name that the site file uses is declared, once, and every port is said in one way.

Pure: a typed site in, misnamed places out. The loader puts line and column to them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from zoneinfo import ZoneInfo, available_timezones

from portdraw.plan.ports import snmp_index, sort_key
from portdraw.plan.site import Port, Site, Unit
from portdraw.plan.yaml_tree import Path, show_text


@dataclass(frozen=True)
class Misnamed:
    """A place in the site file that can't stand; `of_key` where the key itself is meant, not its value.

    `used` is a name that none of `declared` has.
    """

    path: Path
    sentence: str
    of_key: bool = False
    used: str = ""
    declared: tuple[Mapping[str, object], ...] = ()

    def hint(self) -> str:
        """Return the nearest declared name as the end of a sentence; slow where thousands are declared."""
        known = [one for names in self.declared for one in names]
        near = get_close_matches(self.used, known, 1, 0.6) if self.used else []
        return f"; did you mean '{near[0]}'?" if near else ""


def check_names(site: Site) -> Iterator[Misnamed]:
    """Yield every undeclared name, every name given twice, and every port said in two ways."""
    yield from _check_head(site)
    yield from _check_power_sources(site)
    yield from _check_unique(site)
    for name, unit in site.units.items():
        yield from _check_unit(site, name, unit)
        for key, port in unit.ports.items():
            yield from _check_port(site, ("units", name, "ports", key), port)
    yield from _check_inputs(site)


def _check_head(site: Site) -> Iterator[Misnamed]:
    if site.site.timezone != "UTC":
        try:
            ZoneInfo(site.site.timezone)
        except (OSError, ValueError, KeyError):
            sentence = f"'{show_text(site.site.timezone)}' is not a time zone that this machine knows"
            near = get_close_matches(site.site.timezone, sorted(available_timezones()), 1, 0.8)
            hint = f"; did you mean '{near[0]}'?" if near else ", such as Atlantic/Faroe"
            yield Misnamed(("site", "timezone"), sentence + hint)
    night = site.site.night
    if night is not None and night.start == night.end:
        yield Misnamed(("site", "night", "to"), "is the same time as 'from': the night would have no length")


def _check_power_sources(site: Site) -> Iterator[Misnamed]:
    for name, panel in site.panels.items():
        if panel.fed_from not in site.incomers and panel.fed_from not in site.panels:
            yield _undeclared(
                ("panels", name, "fed_from"), panel.fed_from, "incomer or panel", site.incomers, site.panels
            )
    for name, generator in site.generators.items():
        for place, panel_name in enumerate(generator.feeds):
            if panel_name not in site.panels:
                yield _undeclared(("generators", name, "feeds", place), panel_name, "panel", site.panels)
    for name, circuit in site.circuits.items():
        if circuit.panel not in site.panels:
            yield _undeclared(("circuits", name, "panel"), circuit.panel, "panel", site.panels)
    for name, ups in site.ups.items():
        if ups.input not in site.circuits:
            yield _undeclared(("ups", name, "input"), ups.input, "circuit", site.circuits)
    yield from _check_panel_rings(site)


def _check_panel_rings(site: Site) -> Iterator[Misnamed]:
    for name in site.panels:
        above, steps = site.panels[name].fed_from, 0
        while above in site.panels and above not in site.incomers and above != name and steps <= len(site.panels):
            above, steps = site.panels[above].fed_from, steps + 1
        if above == name:
            yield Misnamed(("panels", name, "fed_from"), "leads back to this panel: no incomer feeds it")


def _check_unique(site: Site) -> Iterator[Misnamed]:
    """Names of AC circuits, panels, incomers, generators, UPS, units and devices are unique in a site."""
    first: dict[str, str] = {}
    kinds: tuple[tuple[str, Mapping[str, object]], ...] = (
        ("incomers", site.incomers), ("generators", site.generators), ("panels", site.panels),
        ("circuits", site.circuits), ("ups", site.ups), ("units", site.units),
    )  # fmt: skip
    for kind, names in kinds:
        for name in names:
            if name in first:
                yield Misnamed((kind, name), f"is already the name of {first[name]}", of_key=True)
            first.setdefault(name, f"one of the {kind}" if kind != "ups" else "a UPS")
    for unit_name, unit in site.units.items():
        for key, port in unit.ports.items():
            if port.device is None:
                continue
            if port.device in first:
                path: Path = ("units", unit_name, "ports", key, "device")
                yield Misnamed(path, f"'{port.device}' is already the name of {first[port.device]}")
            first.setdefault(port.device, f"the device on {unit_name} port {key}")


def _check_unit(site: Site, name: str, unit: Unit) -> Iterator[Misnamed]:
    here: Path = ("units", name)
    for place, supply in enumerate(unit.supplies):
        if supply.source not in site.circuits and supply.source not in site.ups:
            path: Path = (*here, "supplies", place, "from")
            yield _undeclared(path, supply.source, "circuit or UPS", site.circuits, site.ups)
    if unit.data_via is not None and unit.data_via not in site.units:
        yield _undeclared((*here, "data_via"), unit.data_via, "unit", site.units)
    if unit.data_via == name:
        yield Misnamed((*here, "data_via"), "names the unit itself")
    if unit.access != "none" and unit.address is None:
        yield Misnamed((*here, "access"), "is given, but the unit has no address to be read at")
    if unit.extender and unit.supplies:
        yield Misnamed((*here, "supplies"), "an extender lives from its feed alone; it can't have supplies")
    if unit.ports and unit.pse is None:
        yield Misnamed(
            (*here, "ports"), "the unit has ports, but no 'pse' says what it can give on them", of_key=True
        )
    yield from _check_port_numbers(here, unit)


def _check_port_numbers(here: Path, unit: Unit) -> Iterator[Misnamed]:
    taken: dict[tuple[int, int], str] = {}
    for key in sorted(unit.ports, key=sort_key):
        port = unit.ports[key]
        path: Path = (*here, "ports", key)
        number = snmp_index(key)[1]
        if unit.pse is not None and (number > unit.pse.ports or number == 0) and port.snmp is None:
            sentence = f"is not one of the unit's {unit.pse.ports} ports (pse.ports)"
            yield Misnamed(path, sentence, of_key=True)
        index = snmp_index(key, port)
        if index in taken:
            sentence = f"has the same MIB index {index[0]}.{index[1]} as port {taken[index]}"
            yield Misnamed((*path, "snmp") if port.snmp else path, sentence, of_key=port.snmp is None)
        taken.setdefault(index, key)
    if unit.pse is not None and len(unit.ports) > unit.pse.ports:
        sentence = f"lists {len(unit.ports)} ports, but pse.ports says {unit.pse.ports}"
        yield Misnamed((*here, "ports"), sentence, of_key=True)


def _check_port(site: Site, path: Path, port: Port) -> Iterator[Misnamed]:
    if port.device is not None and port.feeds is not None:
        yield Misnamed((*path, "feeds"), f"stands beside device '{port.device}'; a port has one or the other")
    if port.feeds is not None and port.feeds_unit not in site.units:
        yield _undeclared((*path, "feeds"), port.feeds_unit or "", "unit", site.units)
    if port.type is not None and port.type not in site.device_types:
        yield _undeclared((*path, "type"), port.type, "device type", site.device_types)
    if port.device is not None and port.type is None and port.device_class is None:
        yield Misnamed(path, f"device '{port.device}' has neither a type nor a class", of_key=True)
    if port.feeds is not None and port.device_class is None:
        yield Misnamed(path, f"the feed of '{port.feeds}' has no class", of_key=True)
    if port.feeds is not None and port.type is not None:
        yield Misnamed((*path, "type"), "belongs to a device; a feed has no device type")
    if port.hangs is None and (port.type is not None or port.device_class is not None):
        yield Misnamed(
            path, "has a type or a class, but names neither a device nor a unit that it feeds", of_key=True
        )
    yield from _check_pairs(site, path, port)


def _check_pairs(site: Site, path: Path, port: Port) -> Iterator[Misnamed]:
    """Classes 5 to 8 and dual signature need all four pairs (IEEE 802.3-2022, clause 145)."""
    kind = site.device_types.get(port.type or "")
    found = port.device_class if port.device_class is not None else None if kind is None else kind.device_class
    if port.cable is None or port.cable.pairs != 2 or found is None:
        return
    if isinstance(found, tuple):
        yield Misnamed((*path, "cable", "pairs"), "is 2, but a dual-signature device needs all 4 pairs")
    elif found >= 5:
        yield Misnamed((*path, "cable", "pairs"), f"is 2, but class {found} needs all 4 pairs")


def _check_inputs(site: Site) -> Iterator[Misnamed]:
    """Each input of a unit has one feed; `north-pier` and `north-pier/in-1` are the same input."""
    taken: dict[str, str] = {}
    for unit_name, unit in site.units.items():
        for key in sorted(unit.ports, key=sort_key):
            feeds = unit.ports[key].feeds
            if feeds is None:
                continue
            socket = feeds if "/" in feeds else f"{feeds}/in-1"
            if socket in taken:
                path: Path = ("units", unit_name, "ports", key, "feeds")
                yield Misnamed(path, f"'{feeds}' is already fed by {taken[socket]}; one input takes one feed")
            taken.setdefault(socket, f"{unit_name} port {key}")


def _undeclared(path: Path, name: str, kind: str, *declared: Mapping[str, object]) -> Misnamed:
    return Misnamed(path, f"no {kind} is named '{name}'", used=name, declared=declared)
