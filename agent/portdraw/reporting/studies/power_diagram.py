"""The one-line power diagram of a state: sources on top, switch gear below them, then the units on their two legs.

Local AC is a solid line from above, a PoE feed a dashed one from below; a leg that carries is drawn thick, one that
stands by thin, one that is out is struck through. What is dark is hatched and says so. No meaning hangs on colour.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from portdraw.powerflow.load import DARK, MAY
from portdraw.powerflow.network import NetUnit
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.source_load import battery_minutes, on_battery
from portdraw.powerflow.unit_flow import CarriedBy
from portdraw.reporting.plain_text import plain
from portdraw.reporting.studies.diagram_layout import Strip, circuit_of, strips
from portdraw.reporting.studies.diagram_shapes import WASH, Box, Dot, Drawing, Label, Line, fitted
from portdraw.reporting.wording import limit

COLUMN, BOX_WIDTH, BOX_HEIGHT = 110.0, 100.0, 74.0
_LEFT, _TOP = 8.0, 16.0
_INCOMER, _PANEL, _BREAKER, _CIRCUIT_BUS = _TOP, _TOP + 40, _TOP + 66, _TOP + 104
_UPS, _UNIT = _TOP + 112, _TOP + 164
_BELOW = _UNIT + BOX_HEIGHT
_LANE = _BELOW + 50.0
_LANE_STEP = 17.0
_FEED_DASH = "6 4"
_THIN, _THICK = 1.0, 2.4
_SMALL = 8.0


@dataclass(frozen=True)
class _Ports:
    total: int
    dark: int
    may: int


def power_diagrams(solution: Solution, title: str) -> tuple[Drawing, ...]:
    """Return the drawings of a state, one for each strip of the site."""
    found = strips(solution.network)
    return tuple(_Strip(solution, strip, title, number, len(found)).drawn() for number, strip in enumerate(found, 1))


class _Strip:
    """One strip while it is drawn."""

    def __init__(self, solution: Solution, strip: Strip, title: str, number: int, of: int) -> None:
        self._solution, self._network, self._strip = solution, solution.network, strip
        self._units = [self._network.units[at] for at in strip.units]
        self._x = {at: _LEFT + COLUMN * place + COLUMN / 2 for place, at in enumerate(strip.units)}
        self._lanes = [unit for unit in self._units if any(port.child in self._x for port in unit.feed_ports)]
        zones = f", {'zone' if len(strip.zones) == 1 else 'zones'} {', '.join(strip.zones)}" if strip.zones else ""
        name = plain(f"{title}{zones}{f', part {number} of {of}' if of > 1 else ''}")
        width = 2 * _LEFT + COLUMN * max(1, len(self._units)) + 26
        height = _LANE + _LANE_STEP * max(1, len(self._lanes)) + 4
        self._drawing = Drawing(f"{number}", name, width, height)

    def drawn(self) -> Drawing:
        self._sources()
        for unit in self._units:
            self._supplies(unit)
            self._unit(unit)
        self._feeds()
        return self._drawing

    # sources and switch gear

    def _sources(self) -> None:
        site = self._network.site
        circuits = self._spans([circuit_of(self._network, unit) for unit in self._units])
        panels: dict[str, list[float]] = {}
        for name, xs in circuits.items():
            middle = (min(xs) + max(xs)) / 2
            if name in site.circuits:
                self._circuit(name, xs, middle)
                panels.setdefault(site.circuits[name].panel, []).append(middle)
        incomers: dict[str, list[float]] = {}
        for name, xs in panels.items():
            self._panel(name, xs)
            incomers.setdefault(self._above(name), []).append((min(xs) + max(xs)) / 2)
        for name, xs in incomers.items():
            self._incomer(name, xs)

    def _spans(self, names: Sequence[str]) -> dict[str, list[float]]:
        found: dict[str, list[float]] = {}
        for name, unit in zip(names, self._units, strict=True):
            if name:
                found.setdefault(name, []).append(self._x[unit.index])
        return found

    def _above(self, panel: str) -> str:
        declared = self._network.site.panels.get(panel)
        return "" if declared is None else declared.fed_from

    def _incomer(self, name: str, xs: Sequence[float]) -> None:
        left, right = min(xs) - 24, max(xs) + 24
        self._drawing.lines.append(Line(left, _INCOMER + 12, right, _INCOMER + 12, 3.0))
        incomer = self._network.site.incomers.get(name)
        said = f"{name}, {incomer.rating_a:g} A" if incomer is not None else f"from {name}"
        label = Label(left, _INCOMER + 5, plain(said), 9.0, "start", bold=True)
        self._drawing.labels.append(label)
        for x in xs:
            self._drawing.lines.append(Line(x, _INCOMER + 12, x, _PANEL, _THICK))
            self._drawing.dots.append(Dot(x, _INCOMER + 12))

    def _panel(self, name: str, xs: Sequence[float]) -> None:
        left, right = min(xs) - 46, max(xs) + 46
        self._drawing.lines.append(Line(left, _PANEL, right, _PANEL, 3.0))
        said = fitted(plain(f"panel {name}"), right - left, _SMALL)
        self._drawing.labels.append(Label(left, _PANEL - 5, said, _SMALL, "start"))
        backed = [gen for gen, one in self._network.site.generators.items() if name in one.feeds]
        if backed:
            said = fitted(plain(f"generator {backed[0]}"), COLUMN, _SMALL)
            self._drawing.labels.append(Label(min(xs) + 6, _PANEL + 11, said, _SMALL, "start"))

    def _circuit(self, name: str, xs: Sequence[float], middle: float) -> None:
        circuit = self._network.site.circuits[name]
        drawing, out = self._drawing, name in self._solution.outage.sources
        width = _THIN if out else _THICK
        drawing.lines.append(Line(middle, _PANEL, middle, _BREAKER, _THICK))
        drawing.dots.append(Dot(middle, _PANEL))
        full = f"circuit {name}, breaker {circuit.breaker}, {circuit.rating_a:g} A, limit {limit(circuit.limit_w)}"
        drawing.boxes.append(Box(middle - 5, _BREAKER, 10, 10, title=plain(full)))
        if out:
            drawing.cross(middle, _BREAKER + 5, 6)
        drawing.lines.append(Line(middle, _BREAKER + 10, middle, _CIRCUIT_BUS, width))
        room = COLUMN - 20 + (max(xs) - min(xs)) / 2
        drawing.labels.append(
            Label(middle + 9, _BREAKER + 8, fitted(plain(name), room, _SMALL), _SMALL, "start", bold=True)
        )
        second = f"OUT, breaker {circuit.breaker}" if out else f"brk {circuit.breaker}, {circuit.rating_a:g} A"
        drawing.labels.append(Label(middle + 9, _BREAKER + 18, fitted(plain(second), room, _SMALL), _SMALL, "start"))
        if len(xs) > 1:
            drawing.lines.append(Line(min(xs), _CIRCUIT_BUS, max(xs), _CIRCUIT_BUS, width))
            drawing.dots.append(Dot(middle, _CIRCUIT_BUS))

    # units

    def _supplies(self, unit: NetUnit) -> None:
        x, drawing = self._x[unit.index], self._drawing
        if not unit.sources:
            drawing.labels.append(Label(x, _UNIT - 6, "no local AC", _SMALL, quiet=True))
            return
        standing = self._solution.standing(unit.index)
        carries = standing.leg in (CarriedBy.AC, CarriedBy.EITHER) and any(standing.supplies)
        width = _THICK if carries else _THIN
        first = unit.sources[0]
        if first in self._network.site.ups:
            out = self._network.site.ups[first].input in self._solution.outage.sources
            drawing.lines.append(Line(x, _CIRCUIT_BUS, x, _UPS, _THIN if out else _THICK))
            self._ups(first, x)
            drawing.lines.append(Line(x, _UPS + 34, x, _UNIT, width))
        else:
            drawing.lines.append(Line(x, _CIRCUIT_BUS, x, _UNIT, width))
        if not any(standing.supplies):
            drawing.cross(x, _UNIT - 14)
            drawing.labels.append(Label(x + 8, _UNIT - 11, "local AC out", _SMALL, "start"))
        others = [source for source in dict.fromkeys(unit.sources) if source != first]
        if others:
            side = x - BOX_WIDTH / 2 + 12
            drawing.lines.append(Line(side, _UNIT - 16, side, _UNIT, width))
            said = fitted(plain(f"and {', '.join(others)}"), COLUMN / 2 + 26, _SMALL)
            drawing.labels.append(Label(side - 10, _UNIT - 19, said, _SMALL, "start", ground=True))

    def _ups(self, name: str, x: float) -> None:
        ups = self._network.site.ups[name]
        self._drawing.boxes.append(Box(x - 44, _UPS, 88, 34, title=plain(f"UPS {name}, {ups.rating_w:g} W")))
        flat = name in self._solution.outage.sources
        if flat:
            second = "FLAT"
            self._drawing.cross(x, _UPS + 17, 10)
        elif on_battery(self._solution, name):
            minutes = battery_minutes(self._solution, name)
            second = "on battery" if math.isinf(minutes) else f"on battery, {minutes:.0f} min"
        else:
            second = f"{ups.rating_w:g} W, {ups.battery_wh:g} Wh"
        self._drawing.labels.append(Label(x, _UPS + 13, fitted(plain(f"UPS {name}"), 84, 9.0), 9.0, bold=True))
        self._drawing.labels.append(Label(x, _UPS + 26, fitted(second, 84, _SMALL), _SMALL))

    def _unit(self, unit: NetUnit) -> None:
        x, drawing, solution = self._x[unit.index] - BOX_WIDTH / 2, self._drawing, self._solution
        standing, demand, power = (
            solution.standing(unit.index),
            solution.demand(unit.index),
            solution.power(unit.index),
        )
        ports = self._ports(unit)
        dark = power == DARK
        full = f"{unit.name}, {unit.unit.place}" if unit.unit.place else unit.name
        drawing.boxes.append(Box(x, _UNIT, BOX_WIDTH, BOX_HEIGHT, "hatch" if dark else WASH, 1.6, title=plain(full)))
        middle = x + BOX_WIDTH / 2
        name = fitted(plain(unit.name), BOX_WIDTH - 10, 10.0)
        drawing.labels.append(Label(middle, _UNIT + 14, name, 10.0, bold=True, ground=dark))
        if dark:
            drawing.labels.append(Label(middle, _UNIT + 40, "DARK", 13.0, bold=True, ground=True))
            drawing.labels.append(Label(middle, _UNIT + 60, self._devices(ports), _SMALL, ground=True))
            return
        limit_w = standing.budget_w
        said = f"{demand.asked_w:.1f} of {limit(limit_w)}" if math.isfinite(limit_w) else f"{demand.asked_w:.1f} W"
        drawing.labels.append(Label(middle, _UNIT + 27, said, 9.0))
        over = demand.asked_w > limit_w + 1e-6
        legs = {CarriedBy.AC: "on local AC", CarriedBy.FEED: "on PoE feed", CarriedBy.EITHER: "leg not declared"}
        leg = legs.get(standing.leg, "") if unit.feeds else "on its supplies"
        share = f"{demand.asked_w / limit_w * 100:.0f} %, " if limit_w > 0 and math.isfinite(limit_w) else ""
        drawing.labels.append(
            Label(middle, _UNIT + 39, f"OVER, {share.rstrip(', ')}" if over else f"{share}{leg}", _SMALL, bold=over)
        )
        if ports.dark or ports.may or power == MAY:
            drawing.boxes.append(Box(x, _UNIT + BOX_HEIGHT - 27, BOX_WIDTH, 27, "hatch", 1.0))
            word = (
                f"{ports.dark} of {ports.total} DARK" if ports.dark else f"{ports.may} of {ports.total} MAY GO DARK"
            )
            drawing.labels.append(Label(middle, _UNIT + BOX_HEIGHT - 10, word, 9.0, bold=True, ground=True))
        else:
            drawing.labels.append(Label(middle, _UNIT + 60, self._devices(ports), _SMALL, quiet=True))

    def _ports(self, unit: NetUnit) -> _Ports:
        states = [
            self._solution.device_state(unit.index, port.at)
            for port in unit.ports
            if port.device is not None and not port.off
        ]
        return _Ports(len(states), states.count(DARK), states.count(MAY))

    def _devices(self, ports: _Ports) -> str:
        return f"{ports.total} device{'' if ports.total == 1 else 's'}"

    # feeds

    def _feeds(self) -> None:
        for place, feeder in enumerate(self._lanes):
            y = _LANE + _LANE_STEP * place
            here = self._fed_by(feeder)
            left = self._x[feeder.index] - 26
            xs = [left, *(self._riser(child, at) for child, at in here)]
            drop = _BELOW
            width = _THICK if any(self._carries(child, at) for child, at in here) else _THIN
            self._drawing.lines.append(Line(left, drop, left, y, width, _FEED_DASH))
            self._drawing.lines.append(Line(min(xs), y, max(xs), y, width, _FEED_DASH))
            self._drawing.dots.append(Dot(left, y))
            said = fitted(plain(f"PoE feeds of {feeder.name}"), COLUMN * 1.6, _SMALL)
            self._drawing.labels.append(Label(left + 8, y - 5, said, _SMALL, "start", ground=True))
            for child, at in here:
                self._drawing.dots.append(Dot(self._riser(child, at), y))
                self._riser_line(child, at, y)
        for unit in self._units:
            for at, feed in enumerate(unit.feeds):
                if feed.feeder not in self._x:
                    self._riser_line(unit, at, _BELOW + 34)
                    feeder = self._network.units[feed.feeder]
                    said = f"from {feeder.name} {feeder.ports[feed.at].key}"
                    x = self._riser(unit, at)
                    self._drawing.labels.append(
                        Label(x, _BELOW + 43, fitted(plain(said), COLUMN - 6, _SMALL), _SMALL, ground=True)
                    )

    def _fed_by(self, feeder: NetUnit) -> list[tuple[NetUnit, int]]:
        return [(self._network.units[port.child], port.place) for port in feeder.feed_ports if port.child in self._x]

    def _riser(self, unit: NetUnit, place: int) -> float:
        return self._x[unit.index] + 4 + 12 * min(place, 3)

    def _riser_line(self, unit: NetUnit, place: int, y: float) -> None:
        """The feed from its lane up to the unit, with port, class and watts beside it."""
        solution, x = self._solution, self._riser(unit, place)
        feed = unit.feeds[place]
        feeder = self._network.units[feed.feeder]
        port = feeder.ports[feed.at]
        lost, carries = self._lost(unit, place), self._carries(unit, place)
        self._drawing.lines.append(Line(x, _BELOW, x, y, _THICK if carries else _THIN, _FEED_DASH))
        if lost:
            self._drawing.cross(x, _BELOW + 12)
        if place > 0:
            return
        classes = port.classes
        said = f"{classes[0]}+{classes[1]}" if isinstance(classes, tuple) else f"{classes}"
        asks = solution.demand(unit.index).feeds
        watts = asks[place].most_w if place < len(asks) else 0.0
        shed = feed.at in solution.demand(feed.feeder).cut
        state = ("shed" if shed else "out") if lost else f"{watts:.1f} W"
        for step, text in ((11, f"port {port.key}"), (21, f"class {said}"), (31, state)):
            room = COLUMN / 2 - 2
            label = Label(x + 6, _BELOW + step, fitted(text, room, _SMALL), _SMALL, "start", bold=lost and step == 31)
            self._drawing.labels.append(label)

    def _lost(self, unit: NetUnit, place: int) -> bool:
        """Whether a feed is out: nothing comes from its port."""
        feed, solution = unit.feeds[place], self._solution
        given = solution.port_state(feed.feeder, feed.at) if solution.power(feed.feeder) != DARK else DARK
        return solution.standing(unit.index).feeds[place] == 0 or given == DARK

    def _carries(self, unit: NetUnit, place: int) -> bool:
        standing = self._solution.standing(unit.index)
        on_feed = standing.leg in (CarriedBy.FEED, CarriedBy.EITHER) and place == standing.first
        return on_feed and not self._lost(unit, place)
