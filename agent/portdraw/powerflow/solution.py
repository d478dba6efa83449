"""A solved state of the site: what is known of each unit in it.

A whole solution holds every unit. An overlay holds the units that a failure touches and reads the others from the
whole solution that it stands on.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from portdraw.plan.class_grant import SignatureClasses
from portdraw.powerflow.demand import NO_PORTS, Demand, FeedAsk
from portdraw.powerflow.load import DARK, MAY, SURE, Load
from portdraw.powerflow.network import NetUnit, Network
from portdraw.powerflow.standing import Standing
from portdraw.powerflow.state import Outage

Kept = dict[int, list[tuple[Standing, tuple[SignatureClasses, ...], Demand]]]


class Solution:
    """A solved state. Units are numbers of the network; `power` is DARK, MAY or SURE.

    `bounds` True: everything lies between a least and a most. False: the likely figures, with all that is not
    declared on the worse side. `touched` are units that differ from the base, all of them without one. `open` are
    units of which something is not known, however exact the load. `patient`: there is time enough for ports that were
    refused to ask again. `asked` is what was given to be out; `outage` has what was shed on the way besides.
    """

    __slots__ = (
        "_base",
        "_base_demands",
        "_base_powers",
        "_base_standings",
        "_demands",
        "_powers",
        "_standings",
        "answers",
        "asked",
        "bounds",
        "kept",
        "load",
        "network",
        "open",
        "outage",
        "patient",
        "shed",
        "touched",
    )

    def __init__(self, network: Network, load: Load, outage: Outage, base: Solution | None, *, bounds: bool) -> None:
        self.network, self.load, self.outage, self.bounds = network, load, outage, bounds
        self.open = {at for at, _ in outage.unsure_feeds} | set(outage.unsure_ports)
        self.patient = True
        self.asked = outage
        self._base = base
        self._standings: dict[int, Standing] = {}
        self._demands: dict[int, Demand] = {}
        self._powers: dict[int, int] = {}
        # a base is whole: an overlay reads all that it did not work out anew from there
        whole = self if base is None else base._whole()
        self._base_standings: dict[int, Standing] = whole._standings
        self._base_demands: dict[int, Demand] = whole._demands
        self._base_powers: dict[int, int] = whole._powers
        self.shed: dict[int, frozenset[int]] = {}
        self.answers: Kept = {}
        self.kept: dict[int, tuple[tuple[float, float], ...]] = {}
        self.touched: tuple[int, ...] = ()

    def _whole(self) -> Solution:
        """Itself, where every unit stands in it. Raises ValueError for an overlay: nothing stands on one."""
        if len(self._standings) < len(self.network.units):
            raise ValueError("a failure is solved on top of a whole solution, not of an overlay")
        return self

    def stand_alone(self) -> None:
        """Take everything over from the base and let it go."""
        base = self._base
        if base is None:
            return
        touched = set(self.touched)
        self.kept = {**{at: kept for at, kept in base.kept.items() if at not in touched}, **self.kept}
        self._standings = {**self._base_standings, **self._standings}
        self._demands = {**self._base_demands, **self._demands}
        self._powers = {**self._base_powers, **self._powers}
        self._base_standings, self._base_demands, self._base_powers = {}, {}, {}
        self._base = None

    def keep(self, at: int, standing: Standing, demand: Demand, power: int) -> None:
        """Take over how a unit was worked out."""
        self._standings[at], self._demands[at], self._powers[at] = standing, demand, power

    def take_rest(self, other: Solution, inside: Collection[int]) -> None:
        """Take over from another overlay of the same base all that it found of units that are not `inside`."""
        rest = [at for at in other.touched if at not in inside]
        for at in rest:
            self.keep(at, other.standing(at), other.demand(at), other.power(at))
        off = {at: ports for at, ports in self.outage.off_ports.items() if at in inside}
        off.update((at, ports) for at, ports in other.outage.off_ports.items() if at not in inside)
        self.outage = replace(self.outage, off_ports=off)
        self.touched = tuple(sorted({*self.touched, *rest}))

    @property
    def found_demands(self) -> dict[int, Demand]:
        """Demands of the units that were worked out anew, to be filled in."""
        return self._demands

    def demands_by_child(self, unit: NetUnit) -> list[tuple[int, FeedAsk]]:
        """What each unit below asks of a unit's ports, by port."""
        own, base = self._demands, self._base_demands
        return [(port.at, (own.get(port.child) or base[port.child]).feeds[port.place]) for port in unit.feed_ports]

    def where_worked_out(self, at: int) -> Solution:
        """The solution in which a unit was last worked out: this one, or the base that it stands on."""
        own = at in self._standings or at in self._demands or at in self._powers
        return self if own or self._base is None else self._base.where_worked_out(at)

    def standing(self, at: int) -> Standing:
        """Leg, feeds, grants and limit of a unit."""
        own = self._standings.get(at)
        return self._base_standings[at] if own is None else own

    def demand(self, at: int) -> Demand:
        """Watts of a unit's ports and of its feeds, and what it sheds."""
        own = self._demands.get(at)
        return self._base_demands[at] if own is None else own

    def power(self, at: int) -> int:
        """Whether a unit has power."""
        own = self._powers.get(at)
        return self._base_powers[at] if own is None else own

    def cut_at_base(self, at: int) -> frozenset[int]:
        """Ports of a unit that the state below this one sheds."""
        return NO_PORTS if self._base is None else self._base_demands[at].cut

    def shed_before(self, at: int) -> frozenset[int]:
        """Ports of a unit that were shed on the way to this state."""
        own = self.shed.get(at)
        if own is None:
            return NO_PORTS if self._base is None else self._base.shed_before(at)
        return own

    def port_state(self, at: int, port: int) -> int:
        """Whether a port of a unit has power, as far as its unit decides: DARK, MAY or SURE."""
        unit = self.network.units[at]
        standing, demand = self.standing(at), self.demand(at)
        if not standing.gives or unit.ports[port].off or port in standing.grant.refused:
            return DARK
        if port in self.outage.off_ports.get(at, NO_PORTS) or port in demand.cut or port in demand.dropped:
            return DARK
        return MAY if port in demand.may_cut or port in demand.may_drop else SURE

    def ports_gone(self, at: int) -> tuple[frozenset[int], frozenset[int]]:
        """Ports of a unit that are off, shed, refused or without enough volts: surely, and those that may be."""
        demand, refused = self.demand(at), self.standing(at).grant.refused
        surely, perhaps = demand.cut, demand.may_cut
        if demand.dropped or demand.may_drop:
            surely, perhaps = surely | demand.dropped, perhaps | demand.may_drop
        off = self.outage.off_ports.get(at, NO_PORTS)
        return (surely | refused | off if refused or off else surely), perhaps

    def device_state(self, at: int, port: int) -> int:
        """Whether a device has power: DARK, MAY or SURE."""
        return min(self.power(at), self.load.units[at].status[port], self.port_state(at, port))
