"""A site compiled for the power flow: who hangs on whom by number, every run, every rule. Built once a site.

Units stand in an order in which each comes after every unit that it feeds. Units that feed each other have no
watts: their feeds are left out here and the reason is kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from portdraw.plan.class_grant import SignatureClasses, granted_of
from portdraw.plan.load_case import signature_class
from portdraw.plan.ports import sort_key
from portdraw.plan.site import Cable, Port, Site, Unit
from portdraw.plan.tree import Tree
from portdraw.powerflow.line import Line
from portdraw.powerflow.part_number import part_numbers
from portdraw.powerflow.port_link import UNDECLARED_CLASS, port_link
from portdraw.powerflow.shedding import Groups, Ranked, Rule, shed_groups
from portdraw.powerflow.two_legs import fed_of, output_efficiency, own_use_w, standby_pd_w
from portdraw.powerflow.unit_assumption import unit_assumptions

_RANK = {"critical": 0, "high": 1, "low": 2}
_CRITICALITY = {"critical": 1, "high": 2, "low": 3}


@dataclass(slots=True)
class NetPort:
    """One port. `child` is the unit that it feeds, -1 for a device or nothing; `place` is which of its feeds.

    `classes` is what the port can grant of what is `asked`.

    `refused`: the port grants nothing that the device can take. `kinder` is the same run with everything that is
    not declared on its better side; the same object where all is declared.
    """

    at: int
    key: str
    device: str | None
    child: int
    place: int
    off: bool
    refused: bool
    classes: SignatureClasses
    asked: SignatureClasses
    rank: int
    criticality: int
    line: Line
    kinder: Line

    def where(self, unit: NetUnit) -> str:
        """The port in words."""
        return f"{unit.name} port {self.key}"


@dataclass(slots=True)
class NetFeed:
    """One feed of a unit: the port above it. Standby is at the unit's PoE input [W], the least and the most."""

    feeder: int
    at: int
    standby_w: tuple[float, float]
    held_class_w: float


@dataclass(slots=True)
class NetUnit:
    """One unit. `ranked` and `groups` say what goes first; `spare_hidden` is None where it isn't declared."""

    index: int
    name: str
    unit: Unit
    own_w: float
    own_least_w: float
    output_efficiency: float
    fed_efficiency: float
    prefers: str
    boosted: bool | None
    spare_hidden: bool | None
    sheds_in_time: bool | None
    shared_feeds: bool
    admission: str
    rule: Rule
    guard_w: float
    sources: tuple[str, ...]
    feeds: tuple[NetFeed, ...] = ()
    ports: tuple[NetPort, ...] = ()
    feed_ports: tuple[NetPort, ...] = ()
    ranked: tuple[Ranked, ...] = ()
    groups: Groups = ()
    asking_order: tuple[int, ...] = ()
    data_parent: int = -1
    data_over_feed: bool = False
    memo: dict[object, object] = field(default_factory=dict)


@dataclass(slots=True)
class Network:
    """The whole site. `on_source` has the units on each circuit and UPS, `supplies_on` their supplies (unit, place).

    `ups_on` has the UPS on each circuit. `part_of` numbers what hangs together through feeds, by unit.
    `volts_shared`: a unit's ports may have the volts of its input.

    `uncomputed` names units whose watts can't be known and why; `assumed` all assumptions."""

    site: Site
    tree: Tree
    units: tuple[NetUnit, ...]
    index: Mapping[str, int]
    on_source: Mapping[str, tuple[int, ...]]
    supplies_on: Mapping[str, tuple[tuple[int, int], ...]]
    ups_on: Mapping[str, tuple[str, ...]]
    data_children: tuple[tuple[int, ...], ...]
    uncomputed: Mapping[int, str]
    assumed: Mapping[int, tuple[str, ...]]
    exact: bool
    part_of: tuple[int, ...] = ()
    volts_shared: bool = True

    def device_count(self) -> int:
        """How many devices the plan has."""
        return sum(port.device is not None for unit in self.units for port in unit.ports)


def network_of(site: Site, tree: Tree | None = None) -> Network:
    """Compile a site."""
    drawn = Tree(site) if tree is None else tree
    order = drawn.order()
    index = {name: at for at, name in enumerate(order)}
    broken = {index[name]: _ring_reason(drawn, name) for name in order if drawn.tier(name) == 0}
    builder = _Builder(site, drawn, index, broken)
    units = tuple(builder.unit(name) for name in order)
    for unit in units:
        builder.feeds(units, unit)
        builder.data_path(unit)
    on_source: dict[str, list[int]] = {}
    supplies_on: dict[str, list[tuple[int, int]]] = {}
    for unit in units:
        for place, source in enumerate(unit.sources):
            supplies_on.setdefault(source, []).append((unit.index, place))
        for source in dict.fromkeys(unit.sources):
            on_source.setdefault(source, []).append(unit.index)
    data_children: list[list[int]] = [[] for _ in units]
    for unit in units:
        if unit.data_parent >= 0:
            data_children[unit.data_parent].append(unit.index)
    return Network(
        site=site,
        tree=drawn,
        units=units,
        index=index,
        on_source={name: tuple(found) for name, found in on_source.items()},
        supplies_on={name: tuple(found) for name, found in supplies_on.items()},
        ups_on=_ups_on(site),
        data_children=tuple(tuple(found) for found in data_children),
        uncomputed={**broken, **builder.unlimited},
        assumed={at: tuple(dict.fromkeys(said)) for at, said in builder.assumed.items() if said},
        exact=builder.exact and not broken and not builder.unlimited,
        part_of=part_numbers([[feed.feeder for feed in unit.feeds] for unit in units]),
        volts_shared=any(unit.boosted is not True and unit.feeds and unit.ports for unit in units),
    )


def _ups_on(site: Site) -> dict[str, tuple[str, ...]]:
    found: dict[str, list[str]] = {}
    for name, ups in site.ups.items():
        found.setdefault(ups.input, []).append(name)
    return {circuit: tuple(names) for circuit, names in found.items()}


def _ring_reason(tree: Tree, name: str) -> str:
    if tree.in_ring(name):
        return f"{name}: units feed each other, no watts can be computed"
    return f"{name}: it is fed from a ring of units, no watts can be computed"


class _Builder:
    """Holds what the parts share while a network is built."""

    def __init__(self, site: Site, tree: Tree, index: Mapping[str, int], broken: Mapping[int, str]) -> None:
        self._site, self._tree, self._index, self._broken = site, tree, index, broken
        self._lines: dict[tuple[object, ...], Line] = {}
        self.assumed: dict[int, list[str]] = {}
        self.unlimited: dict[int, str] = {}
        self.exact = True

    def unit(self, name: str) -> NetUnit:
        unit = self._site.units[name]
        fed = fed_of(unit)
        at = self._index[name]
        pse = unit.pse
        is_fed = bool(self._tree.feeds_of(name))
        self.assumed[at] = list(unit_assumptions(name, unit, is_fed=is_fed))
        made = NetUnit(
            index=at,
            name=name,
            unit=unit,
            own_w=own_use_w(unit),
            own_least_w=0.0 if unit.own_use_w is None else unit.own_use_w,
            output_efficiency=output_efficiency(unit),
            fed_efficiency=fed.efficiency,
            prefers=fed.prefers,
            boosted={"boosted": True, "follows-input": False}.get(fed.output),
            spare_hidden={"hidden": True, "held": False}.get(fed.spare_feed),
            sheds_in_time={"sheds-in-time": True, "drops-all": False}.get(fed.on_transfer),
            shared_feeds=unit.feeds_mode == "shared",
            admission="drawn" if pse is None else pse.admission,
            rule="priority-then-highest-port" if pse is None else pse.shed,
            guard_w=0.0 if pse is None else pse.guard_w,
            sources=tuple(supply.source for supply in unit.supplies),
        )
        self._ports(made)
        self._exactness(made, is_fed)
        if pse is None and unit.ports and unit.supplies:
            self.unlimited[at] = f"{name}: it gives power and declares no pse, so its limit is not known"
        return made

    def _exactness(self, made: NetUnit, is_fed: bool) -> None:
        unit = made.unit
        if unit.own_use_w is None:
            self.exact = False
        if not is_fed:
            return
        if made.boosted is None:
            self.exact = False
        if unit.supplies and (made.prefers not in ("ac", "feed") or made.spare_hidden is None):
            self.exact = False
        if unit.feeds_mode == "shared" and len(self._tree.feeds_of(made.name)) > 1:
            self.exact = False
            self.assumed[made.index].append(f"{made.name}: how its feeds share is not known, each counted in full")

    def _ports(self, made: NetUnit) -> None:
        unit = made.unit
        ports: list[NetPort] = []
        ranked: list[Ranked] = []
        for at, key in enumerate(sorted(unit.ports, key=sort_key)):
            port = unit.ports[key]
            below = self._index.get(port.feeds_unit or "", -1)
            if below in self._broken or made.index in self._broken:
                below = -1
            asked = signature_class(self._site, port)
            wanted: SignatureClasses = UNDECLARED_CLASS if asked is None else asked
            most = 4 if unit.pse is None else unit.pse.class_max
            granted = granted_of(wanted, most)
            line, kinder = self._line(made, key, port, wanted)
            ports.append(
                NetPort(
                    at=at,
                    key=key,
                    device=port.device,
                    child=below,
                    place=0,
                    off=port.off,
                    refused=granted is None and port.hangs is not None,
                    classes=wanted if granted is None else granted,
                    asked=wanted,
                    rank=_RANK[port.priority],
                    criticality=_CRITICALITY[port.priority] if port.criticality is None else port.criticality,
                    line=line,
                    kinder=kinder,
                )
            )
            ranked.append(Ranked(at, _RANK[port.priority], sort_key(key)))
        order = sorted(ranked, key=lambda one: _asks(unit, ports[one.at], one))
        made.asking_order = tuple(one.at for one in order)
        ranked = [replace(one, asks=made.asking_order.index(one.at)) for one in ranked]
        made.ports = tuple(ports)
        made.feed_ports = tuple(port for port in ports if port.child >= 0 and not port.off)
        made.ranked = tuple(ranked)
        made.groups = shed_groups(made.rule, ranked)
        if unit.pse is not None and unit.pse.admission != "drawn" and unit.pse.admission_order == "arrival":
            self.assumed[made.index].append(f"{made.name}: the order of arrival is not known, port order counted")

    def _line(self, made: NetUnit, key: str, port: Port, wanted: SignatureClasses) -> tuple[Line, Line]:
        """Share one run among all ports that have the same: what it asks for a load does not depend on its name."""
        limit_w = None if made.unit.pse is None else made.unit.pse.port_limit_w
        shared = _shared_key(made.unit, port, wanted, self._site, limit_w)
        if shared is not None and shared in self._lines:
            line = self._lines[shared]
            return line, line
        link = port_link(self._site, made.name, key)
        line = Line(link, limit_w)
        if not link.assumed:
            if shared is not None:
                self._lines[shared] = line
            return line, line
        if port.hangs is not None and not port.off:
            self.exact = False
            self.assumed[made.index].extend(link.assumed)
        return line, Line(port_link(self._site, made.name, key, kinder=True), limit_w)

    def feeds(self, units: tuple[NetUnit, ...], made: NetUnit) -> None:
        fed = fed_of(made.unit)
        found: list[NetFeed] = []
        for feeder, key in self._tree.feeds_of(made.name):
            above = units[self._index[feeder]]
            port = next(port for port in above.ports if port.key == key)
            if port.child != made.index:
                continue
            standby_w = standby_pd_w(made.unit, port.classes)
            least_w = 0.0 if fed.spare_feed == "unknown" or fed.standby_w is None else standby_w
            port.place = len(found)
            found.append(NetFeed(above.index, port.at, (least_w, standby_w), port.line.class_pse_w))
        made.feeds = tuple(found)

    def data_path(self, made: NetUnit) -> None:
        feeder = self._tree.feeder_of(made.name)
        via = made.unit.data_via
        first = None if feeder is None else feeder[0]
        made.data_over_feed = first is not None and via in (None, first)
        parent = first if via is None else via
        made.data_parent = self._index.get(parent or "", -1)
        if made.data_parent == made.index:
            made.data_parent = -1


def _asks(unit: Unit, port: NetPort, one: Ranked) -> tuple[float, int, tuple[int, ...]]:
    """When a port asks for power after a start: after its delay, then in the unit's order."""
    by_priority = unit.pse is not None and unit.pse.admission_order == "priority"
    return unit.ports[port.key].start_delay_s, one.rank if by_priority else 0, one.number


def _shared_key(
    unit: Unit, port: Port, wanted: SignatureClasses, site: Site, limit_w: float | None
) -> tuple[object, ...] | None:
    cable: Cable | None = port.cable
    pse = unit.pse
    if cable is None or pse is None or cable.conductor == "unknown" or cable.ambient_c is None:
        return None
    if cable.rise_k is None or pse.voltage_v is None or "class_max" not in pse.model_fields_set:
        return None
    kind = site.device_types.get(port.type or "")
    least_v = port.min_v if port.min_v is not None else (None if kind is None else kind.min_v)
    return (
        pse.voltage_v,
        pse.class_max,
        limit_w,
        wanted,
        least_v,
        cable.type,
        cable.length_m,
        cable.conductor,
        cable.pairs,
        cable.ambient_c,
        cable.rise_k,
        cable.connectors_ohm,
        cable.series_ohm,
    )
