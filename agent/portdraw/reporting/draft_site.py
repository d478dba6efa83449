"""A draft of the site file from what discovery found: every guess is marked, what was not told is left out and said.

Nothing is made up: circuits, supplies, cables, own use and night watts are known to no switch.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from portdraw.observation.record import Basis, PortState, Quantity
from portdraw.plan.patterns import PORT_KEY
from portdraw.plan.ports import snmp_index, sort_key
from portdraw.reading.discovery import Discovered, FoundUnit
from portdraw.reading.neighbours import Neighbour
from portdraw.reporting.draft_names import Names, comment, inert, legal_name, quoted, scalar
from portdraw.reporting.plain_text import plain

HEAD = """\
# A draft, made by `portdraw discover`: what the switches told, and no more. Read every line before you plan by it.
# What is marked "guess" rests on one sign. typical_w is what the port gave once, at this hour, cable loss within.
# "Class 4 or above" was told as 4: most switches have no word for 5 to 8. What no switch tells (circuits, supplies,
# cables, night and frost watts) is not here; a unit that has local AC needs its supplies, or its feed counts alone.
"""
CLASS_4_OR_ABOVE = 4  # RFC 3621 has no value above class 4
MOST_DEVICE_W = 100.0
NOT_TOLD_OF_UNITS = "# not told: supplies ([{from: CIRCUIT}]), own_use_w, boot_s; of each port its cable"

NOT_TOLD_OF_FEEDS = "# guess: it is fed; not told: prefers, spare_feed, standby_w, efficiency, output, on_transfer"
NOT_TOLD_OF_PSE = "# not told: voltage_v, class_max, admission, shed, port_limit_w"


@dataclass(frozen=True)
class _Feed:
    feeder: str  # addresses
    port: str
    unit: str


@dataclass
class _Line:
    """One port as it comes together. `todo` says why it can only stand as a comment."""

    fields: dict[str, str] = field(default_factory=dict)
    guesses: list[str] = field(default_factory=list)
    untold: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    todo: str = ""

    def written(self, key: str) -> list[str]:
        """Return the line of the file, none where there is nothing to say."""
        said = list(self.notes)
        said += [f"guess: {', '.join(self.guesses)}"] if self.guesses else []
        said += [f"not told: {', '.join(self.untold)}"] if self.untold else []
        if not self.fields:
            return [f"      {comment(f'{key}: ' + '; '.join(said))}"] if said else []
        line = f"{key}: {{{', '.join(f'{name}: {value}' for name, value in self.fields.items())}}}"
        line += f"  {comment('; '.join(said))}" if said else ""
        return [f"      # TODO ({self.todo}): {line}" if self.todo else f"      {line}"]


class DraftSite:
    """Writes the draft. `access` is the name by which all units were read, `when` the time as people write it."""

    def __init__(self, found: Discovered, access: str, start: str, when: str) -> None:
        self._found = found
        self._access, self._start, self._when = access, start, when
        self._names = Names()
        self._units = {unit.address: unit for unit in found.units}
        self._name_of = {unit.address: self._names.take(unit.name, unit.address) for unit in found.units}
        self._feeds = self._find_feeds()

    def text(self) -> str:
        """Return the whole draft; it ends with a line end."""
        lines = [HEAD.rstrip("\n"), comment(f"From {self._start}, {self._when}; {len(self._units)} units read.")]
        lines += self._emulated()
        lines += ["format: 1", f"site: {{name: {quoted(f'Draft from {self._start}')}}}  # TODO: the site's name"]
        lines += ["# not told: timezone, night, policy, incomers, panels, circuits, ups", "units:"]
        for unit in self._found.units:
            lines += self._unit(unit)
        for missed in self._found.missed:
            port = f" port {missed.port}" if missed.port else ""
            where = f" at {missed.address}" if missed.address else ""
            named = f'"{plain(missed.name)}"' if missed.name else "a neighbour without a name"
            lines.append(
                comment(f"not read: {named}{where}, heard by {self._name_of[missed.heard_by]}{port}: {missed.reason}")
            )
        return "\n".join(lines) + "\n"

    def _emulated(self) -> list[str]:
        told = (unit.observation.text(None, Quantity.SYSTEM_DESCRIPTION) or "" for unit in self._found.units)
        return (
            ["# EMULATED: some of these units say that they are no real devices."]
            if any("EMULATED" in one for one in told)
            else []
        )

    # units

    def _unit(self, unit: FoundUnit) -> list[str]:
        name, told = self._name_of[unit.address], unit.observation
        lines = ["", f"  {scalar(name)}:"]
        if name != unit.name:
            own = f"guess: its own name is {plain(unit.name)!r}" if unit.name else "not told: its name"
            lines.append(f"    {comment(own)}")
        described = told.text(None, Quantity.SYSTEM_DESCRIPTION)
        if described:
            lines.append(f"    {comment(f'it says of itself: {plain(described, 120)}')}")
        if unit.reason:
            lines.append(f"    {comment(f'not read whole: {unit.reason}')}")
        if unit.location:
            lines.append(f"    place: {quoted(unit.location)}")
        lines += [f"    address: {quoted(unit.address)}", f"    access: {scalar(self._access)}"]
        lines += self._data_path(unit)
        feeds = [feed for feed in self._feeds if feed.unit == unit.address]
        if feeds:
            lines.append(f"    fed: {{}}  {NOT_TOLD_OF_FEEDS}")
        lines += ["    " + NOT_TOLD_OF_UNITS, *self._pse(unit)]
        ports = [line for key in _ports(unit) for line in self._port(unit, key)]
        return [
            *lines,
            *(["    ports:", *ports] if any(not line.lstrip().startswith("#") for line in ports) else ports),
        ]

    def _data_path(self, unit: FoundUnit) -> list[str]:
        if unit.via is None or any(feed.unit == unit.address and feed.feeder == unit.via for feed in self._feeds):
            return []
        return [f"    data_via: {scalar(self._name_of[unit.via])}  # guess: the unit by which it was found"]

    def _pse(self, unit: FoundUnit) -> list[str]:
        budget_w = unit.observation.number(None, Quantity.UNIT_BUDGET)
        keys = [key for key in _ports(unit) if unit.observation.get(key, Quantity.PORT_STATE) is not None]
        if budget_w is None or not keys:
            return ["    # not told: pse: {budget_w: W, ports: N}"]
        return [f"    pse: {{budget_w: {budget_w:g}, ports: {len(keys)}}}  {NOT_TOLD_OF_PSE}"]

    # ports

    def _port(self, unit: FoundUnit, key: str) -> list[str]:
        told = unit.observation
        line = _Line()
        feed = next((one for one in self._feeds if (one.feeder, one.port) == (unit.address, key)), None)
        heard = _heard_on(unit, key)
        if feed is not None:
            line.fields["feeds"] = self._input(feed)
            line.guesses.append("the feed (LLDP hears it here, the port delivers)")
            _put_class(unit, key, line)
        elif _delivers(unit, key):
            wish = next((one.name for one in heard if legal_name(one.name)), "")
            label = unit.labels.get(key, "")
            line.fields["device"] = scalar(self._names.take(wish, label, f"{self._name_of[unit.address]} port {key}"))
            if wish or legal_name(label):
                line.guesses.append("name by LLDP" if wish else "name by label")
            else:
                line.untold.append("name")
            _put_class(unit, key, line)
            _put_watts(unit, key, line)
            line.todo = "" if "class" in line.fields else "plan needs its class"
        elif others := [plain(one.name, 80) for one in heard if one.name]:
            line.notes.append(f"no power here; LLDP hears {', '.join(others[:3])}")
        priority = told.text(key, Quantity.PORT_PRIORITY)
        if priority in ("critical", "high") and line.fields:
            line.fields["priority"] = priority
        if told.text(key, Quantity.PORT_ADMIN) == "no" and not line.fields:
            line.fields["off"] = "true"
        if key in unit.labels:
            line.fields["label"] = quoted(unit.labels[key])
        shown, explicit = _printed(unit, key)
        if explicit and line.fields:
            line.fields["snmp"] = quoted(explicit)
            line.guesses.append("the printed number, counted in order")
        return line.written(shown)

    def _input(self, feed: _Feed) -> str:
        several = [one for one in self._feeds if one.unit == feed.unit]
        name = self._name_of[feed.unit]
        return scalar(name) if len(several) == 1 else quoted(f"{name}/in-{several.index(feed) + 1}")

    # who feeds whom

    def _find_feeds(self) -> list[_Feed]:
        feeds: list[_Feed] = []
        fed_by: dict[str, set[str]] = {}
        for unit in self._found.units:
            for place, neighbour in enumerate(unit.neighbours):
                below = self._found.of.get((unit.address, place))
                if below is None or neighbour.port is None:
                    continue
                if not _delivers(unit, neighbour.port):
                    continue
                taken = any((feed.feeder, feed.port) == (unit.address, neighbour.port) for feed in feeds)
                if taken or _reaches(fed_by, unit.address, below):
                    continue  # a ring of feeds can't be: one of them is wrong
                feeds.append(_Feed(unit.address, neighbour.port, below))
                fed_by.setdefault(below, set()).add(unit.address)
        return feeds


def with_todo(draft: str, sentences: Iterable[str]) -> str:
    """Return the draft with what a check of it asks for, as comments at its end."""
    lines = [f"#   {inert(sentence, 240)}" for sentence in sentences]
    return (
        draft
        if not lines
        else "\n".join([draft.rstrip("\n"), "", "# TODO, as `portdraw plan` and `portdraw run` will ask:", *lines])
        + "\n"
    )


def _ports(unit: FoundUnit) -> list[str]:
    """Return the printed numbers of the ports that can give power, in their order."""
    told = unit.observation
    power = (Quantity.PORT_STATE, Quantity.PORT_DRAW)
    return sorted((key for key in told.ports() if any(told.get(key, one) is not None for one in power)), key=sort_key)


def _delivers(unit: FoundUnit, key: str) -> bool:
    """True where the port says so; where no states are told, where it gives watts."""
    state = unit.observation.text(key, Quantity.PORT_STATE)
    if state is None:
        return (unit.observation.number(key, Quantity.PORT_DRAW) or 0.0) > 0
    return state == PortState.DELIVERING


def _put_class(unit: FoundUnit, key: str, line: _Line) -> None:
    told = unit.observation.number(key, Quantity.PORT_CLASS)
    if told is None or not 0 <= told <= 8 or told != int(told):
        line.untold.append("class")
        return
    line.fields["class"] = str(int(told))
    if told == CLASS_4_OR_ABOVE:
        line.guesses.append("class 4 or above")


def _put_watts(unit: FoundUnit, key: str, line: _Line) -> None:
    record = unit.observation.get(key, Quantity.PORT_DRAW)
    watts = None if record is None else record.number()
    if record is None or watts is None or record.basis is not Basis.MEASURED or not 0 < watts <= MOST_DEVICE_W:
        line.untold.append("watts")
        return
    line.fields["typical_w"] = f"{watts:.1f}"
    line.guesses.append("typical_w of one reading")


def _heard_on(unit: FoundUnit, key: str) -> list[Neighbour]:
    return [one for one in unit.neighbours if one.port == key]


def _reaches(fed_by: Mapping[str, set[str]], start: str, wanted: str) -> bool:
    """Say whether `wanted` is `start` or feeds it in the end."""
    todo, seen = [start], set()
    while todo:
        one = todo.pop()
        if one == wanted:
            return True
        if one not in seen:
            seen.add(one)
            todo += fed_by.get(one, ())
    return False


def _printed(unit: FoundUnit, key: str) -> tuple[str, str]:
    """Return a port's number as the site file may write it, and its index where that does not follow from it.

    Many agents number ports by interface, 1003 or 10103: no printed number. Those are counted in their order.
    """
    keys = _ports(unit)
    odd = [one for one in keys if not _may_be_printed(one, len(keys))]
    if key not in odd:
        return key, ""
    free = (str(number) for number in range(1, 10_000) if str(number) not in keys or str(number) in odd)
    shown = dict(zip(odd, free, strict=False))[key]
    group, number = snmp_index(key.replace(".", "/"))
    return shown, f"{group}.{number}"


def _may_be_printed(key: str, ports: int) -> bool:
    return re.match(PORT_KEY, key) is not None and ("/" in key or 1 <= int(key) <= ports)
