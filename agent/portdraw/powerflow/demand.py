"""What a unit's ports ask in a state, held against the unit's limit, with what must be shed.

What a unit sheds inside never depends on who is shed above it. Watts at the PSE output, always a least and a
most: between them lies the truth. Without uncertainty both are the same.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import NamedTuple

from portdraw.powerflow.load import UnitLoad
from portdraw.powerflow.network import NetUnit
from portdraw.powerflow.port_link import class_pse_w
from portdraw.powerflow.shedding import STEP_W, Groups, groups_to_cut, shed_groups
from portdraw.powerflow.standing import Standing

NO_PORTS: frozenset[int] = frozenset()
Volts = tuple[float | None, float | None]  # least and most at a unit's ports; None: its own regulated voltage


class FeedAsk(NamedTuple):
    """What a unit asks of one feeder port [W at its PSE output], and whether the run can carry it at all.

    `can`: 0 no, 1 perhaps, 2 yes; `reason` says why not. `pd_w`, `pd_v`, `loss_w` belong to the most that is
    asked, `pd_most_v` to the least.
    """

    least_w: float
    most_w: float
    can: int
    carries: bool
    pd_w: float
    pd_v: float | None
    pd_most_v: float | None
    loss_w: float
    reason: str | None


class Demand(NamedTuple):
    """One unit's ports. `asked` before shedding, `served` after; `booked_w` is what it sets aside before shedding.

    `cut` ports are shed whatever the truth, `may_cut` are those and all that may be. `dropped` ports can't be
    powered in this state whatever the truth, `may_drop` are those and all that may not; `reasons` says why.
    """

    asked_least_w: float
    asked_w: float
    booked_w: float
    served_least_w: float
    served_w: float
    served_booked_w: float
    cut: frozenset[int]
    may_cut: frozenset[int]
    dropped: frozenset[int]
    may_drop: frozenset[int]
    reasons: tuple[str, ...]
    feeds: tuple[FeedAsk, ...]


class Ports(NamedTuple):
    """Watts of all ports of one unit, before its own limit is held against them."""

    least: Sequence[float]
    most: Sequence[float]
    least_w: float
    most_w: float
    dropped: frozenset[int]
    may_drop: frozenset[int]
    reasons: tuple[str, ...]


class Drops(NamedTuple):
    """Ports of one unit that were found not to work at the voltage of its input; they stay off."""

    surely: frozenset[int]
    perhaps: frozenset[int]
    reasons: tuple[str, ...]


NO_DROPS = Drops(NO_PORTS, NO_PORTS, ())
NO_DEMAND = Demand(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, NO_PORTS, NO_PORTS, NO_PORTS, NO_PORTS, (), ())


def summed_ports(
    unit: NetUnit,
    load: UnitLoad,
    standing: Standing,
    asks: Mapping[int, FeedAsk],
    off: Collection[int],
    volts: Volts | None,
    drops: Drops,
    *,
    bounds: bool,
) -> Ports:
    """Watts of each port; `asks` holds the feeds that are on, by port.

    The short way is taken where nothing differs from the load as it was summed once.
    """
    if not off and volts is None and not standing.grant.booked_w and drops is NO_DROPS:
        most_w = load.sum_most_w if bounds else load.sum_likely_w
        least_w = load.sum_least_w if bounds else most_w
        for ask in asks.values():
            most_w += ask.most_w
            least_w += ask.least_w
        most, least = (load.most, load.least) if bounds else (load.likely, load.likely)
        return Ports(least, most, least_w, most_w, NO_PORTS, NO_PORTS, ())
    return _Ports(unit, load, standing, off, volts, drops, bounds).summed(asks)


class _Ports:
    """The long way: port by port."""

    def __init__(
        self,
        unit: NetUnit,
        load: UnitLoad,
        standing: Standing,
        off: Collection[int],
        volts: Volts | None,
        drops: Drops,
        bounds: bool,
    ) -> None:
        self._unit, self._load, self._grant, self._off = unit, load, standing.grant, off
        self._volts, self._bounds, self._drops = volts, bounds, drops
        self._most = list(load.most if bounds else load.likely)
        self._least = list(load.least if bounds else load.likely)
        self._dropped, self._may_drop, self._reasons = set(drops.surely), set(drops.perhaps), list(drops.reasons)

    def summed(self, asks: Mapping[int, FeedAsk]) -> Ports:
        for port in self._unit.ports:
            if port.child < 0 and self._most[port.at] > 0.0:
                self._device(port.at)
        least, most = self._least, self._most
        for at, ask in asks.items():
            least[at], most[at] = ask.least_w, ask.most_w
        return Ports(
            least, most, sum(least), sum(most),
            frozenset(self._dropped), frozenset(self._may_drop | self._dropped), tuple(self._reasons),
        )  # fmt: skip

    def _device(self, at: int) -> None:
        if at in self._off:
            self._least[at] = self._most[at] = 0.0
        elif at in self._grant.refused:
            self._drop(at, "nothing is left to set aside for it, its unit refuses it")
        elif at in self._drops.surely:
            self._least[at] = self._most[at] = 0.0
        else:
            if self._volts is not None:
                self._at_voltage(at, self._volts)
            if self._grant.booked_w:
                self._demoted(at)
            if at in self._may_drop:
                self._least[at] = 0.0

    def _drop(self, at: int, why: str) -> None:
        self._dropped.add(at)
        self._reasons.append(f"{self._unit.ports[at].where(self._unit)}: {why}")
        self._least[at] = self._most[at] = 0.0

    def _at_voltage(self, at: int, volts: Volts) -> None:
        """The same constant-power device, from another voltage at the port."""
        port, load = self._unit.ports[at], self._load
        pd_most = load.pd_most if self._bounds else load.pd_likely
        pd_least = load.pd_least if self._bounds else load.pd_likely
        kinder = port.kinder if self._bounds else port.line
        self._most[at] = _pulled(port.line.carry(pd_most[at], volts[0]).pse_w, port.line.most_w(volts[0]))
        if self._bounds or volts[0] != volts[1]:
            self._least[at] = _pulled(kinder.carry(pd_least[at], volts[1]).pse_w, kinder.most_w(volts[1]))
        else:
            self._least[at] = self._most[at]

    def _demoted(self, at: int) -> None:
        port, granted = self._unit.ports[at], self._grant.classes[at]
        if granted == port.classes:
            return
        allowed_w = class_pse_w(granted)
        if self._most[at] <= allowed_w + STEP_W:
            return
        why = f"it takes {self._most[at]:.1f} W, and class {granted} is all that is left for it"
        if self._least[at] > allowed_w + STEP_W:
            self._drop(at, why)
            return
        self._may_drop.add(at)
        self._reasons.append(f"{port.where(self._unit)}: {why}")
        self._most[at] = allowed_w


def _pulled(found_w: float | None, most_w: float) -> float:
    """Watts while volts are still being looked for: a load without an operating point pulls all that it can."""
    return most_w if found_w is None else min(found_w, most_w)


def held_to_limit(
    unit: NetUnit, standing: Standing, ports: Ports, asks: Mapping[int, FeedAsk], *, bounds: bool
) -> Demand:
    """Shed what has to go, so that what is drawn and what is set aside both fit."""
    asked_least, asked = ports.least_w, ports.most_w
    booked: Sequence[float] = standing.grant.booked_w
    booked_w = asked
    if booked:
        booked = [watts if ports.most[at] > 0 else 0.0 for at, watts in enumerate(booked)]
        booked_w = sum(booked)
    limit_w = standing.budget_w
    if asked <= limit_w + STEP_W and booked_w <= limit_w + STEP_W:
        return Demand(
            asked_least, asked, booked_w, asked_least, asked, booked_w,
            NO_PORTS, NO_PORTS, ports.dropped, ports.may_drop, ports.reasons, (),
        )  # fmt: skip
    most_limit_w = standing.budget_most_w if bounds else limit_w
    groups: Groups = unit.groups
    if standing.newcomers and unit.rule in ("newest-first", "refuse-newcomers"):
        groups = shed_groups(unit.rule, unit.ranked, standing.newcomers)
    least, most = list(ports.least), list(ports.most)
    for at, ask in asks.items():
        least[at], most[at] = ask.least_w, ask.most_w
    may = groups_to_cut(groups, most, asked, limit_w)
    surely = groups_to_cut(groups, least, asked_least, most_limit_w) if bounds else may
    if booked:
        may = max(may, groups_to_cut(groups, booked, booked_w, limit_w))
        surely = max(surely, groups_to_cut(groups, booked, booked_w, most_limit_w)) if bounds else may
    may_cut = frozenset([at for group in groups[:may] for at in group if most[at] > 0])
    cut = frozenset([at for group in groups[:surely] for at in group if most[at] > 0]) if bounds else may_cut
    served = sum([watts for at, watts in enumerate(most) if at not in cut])
    if not bounds and least == most:
        served_least = served
    else:
        served_least = sum([watts for at, watts in enumerate(least) if at not in may_cut])
    if bounds:
        served = max(served_least, min(served, most_limit_w))
    served_booked = sum([watts for at, watts in enumerate(booked) if at not in cut]) if booked else served
    return Demand(
        asked_least, asked, booked_w, served_least, served, served_booked,
        cut, may_cut, ports.dropped, ports.may_drop, ports.reasons, (),
    )  # fmt: skip


def all_open(demand: Demand, load: UnitLoad, asks: Mapping[int, FeedAsk]) -> Demand:
    """The same where it is not known on which leg the unit stands: all with current may go, nothing surely does."""
    ports = frozenset(at for at, watts in enumerate(load.most) if watts > 0) | asks.keys()
    return demand._replace(served_least_w=0.0, cut=NO_PORTS, may_cut=ports, dropped=NO_PORTS)
