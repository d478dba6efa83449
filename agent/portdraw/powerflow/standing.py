"""How a unit stands in a state of the site: which leg carries it, what it was granted, what it may give on.

Worked out from the sources down, before any watt is known: who has power at all, not who is shed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

from portdraw.plan.class_grant import class_watts_at_pd
from portdraw.powerflow.admission import Admitted, admit, static_grant
from portdraw.powerflow.load import UnitLoad
from portdraw.powerflow.network import NetUnit, Network
from portdraw.powerflow.port_link import PortId
from portdraw.powerflow.state import Outage
from portdraw.powerflow.two_legs import budget_on_ac_w, budget_on_feed_w
from portdraw.powerflow.unit_flow import CarriedBy

UNLIMITED_W = float("inf")


class Standing(NamedTuple):
    """One unit. `feeds` per feed: 0 lost, 1 may be there, 2 there; `first` is the one that carries, -1 for none.

    `gives` False: its ports have no power whatever they ask. `budget_w` counts everything undeclared to the worse
    side, `budget_most_w` to the better. `newcomers` are ports that came on only now. `restarted`: it lost power
    while it changed legs. `open_leg`: it stands on a feed that may be lost and has another leg, so that it is not
    known on which it stands; then nothing is known of what it grants either.
    """

    leg: CarriedBy
    supplies: tuple[bool, ...]
    feeds: tuple[int, ...]
    first: int
    gives: bool
    budget_w: float
    budget_most_w: float
    grant: Admitted
    newcomers: frozenset[int]
    restarted: bool
    open_leg: bool


def has_ac(unit: NetUnit, outage: Outage) -> bool:
    """Whether any supply of the unit has power. A UPS whose input is gone carries on."""
    if unit.index in outage.units:
        return False
    return any(
        source not in outage.sources and (unit.index, at) not in outage.supplies
        for at, source in enumerate(unit.sources)
    )


def standing_of(
    network: Network,
    load: UnitLoad,
    granted_w: Mapping[PortId, float],
    outage: Outage,
    unit: NetUnit,
    above: Callable[[int], Standing],
    before: Standing | None,
) -> Standing:
    """Work one unit out. `above` gives the standing of its feeders, `before` its own before something failed."""
    if unit.index in outage.units:
        feeds = (0,) * len(unit.feeds)
        return Standing(
            CarriedBy.NONE, (False,) * len(unit.sources), feeds, -1, False, 0.0, 0.0,
            static_grant(unit), frozenset(), False, False,
        )  # fmt: skip
    supplies = tuple(
        [
            source not in outage.sources and (unit.index, at) not in outage.supplies
            for at, source in enumerate(unit.sources)
        ]
    )
    ac = True in supplies
    feeds = tuple([_feed_state(network, outage, unit, place, above) for place in range(len(unit.feeds))])
    first = next((place for place, state in enumerate(feeds) if state), -1) if feeds else -1
    leg = _leg(unit, ac, first >= 0)
    restarted = before is not None and _restarts(unit, before, leg, first)
    budget_w, most_w = _budgets(network, outage, unit, leg, supplies, first, above)
    gives = leg is not CarriedBy.NONE and unit.index not in outage.controllers
    open_leg = leg is not CarriedBy.AC and first >= 0 and feeds[first] == 1
    open_leg = open_leg and (ac or sum(state > 0 for state in feeds) > 1)
    if open_leg:
        grant, newcomers = static_grant(unit), frozenset[int]()
        most_w = max(most_w, _on_ac_w(unit, supplies)) if ac else most_w
    else:
        grant, newcomers = _grant(network, load, granted_w, outage, unit, budget_w, None if restarted else before)
    return Standing(leg, supplies, feeds, first, gives, budget_w, most_w, grant, newcomers, restarted, open_leg)


def _leg(unit: NetUnit, ac: bool, feed: bool) -> CarriedBy:
    if ac and feed:
        return {"ac": CarriedBy.AC, "feed": CarriedBy.FEED}.get(unit.prefers, CarriedBy.EITHER)
    if ac:
        return CarriedBy.AC
    return CarriedBy.FEED if feed else CarriedBy.NONE


def _feed_state(network: Network, outage: Outage, unit: NetUnit, place: int, above: Callable[[int], Standing]) -> int:
    feed = unit.feeds[place]
    if (unit.index, place) in outage.feeds:
        return 0
    feeder = above(feed.feeder)
    port = network.units[feed.feeder].ports[feed.at]
    off = outage.off_ports.get(feed.feeder, ())
    if not feeder.gives or port.off or feed.at in off or feed.at in feeder.grant.refused:
        return 0
    unsure = (unit.index, place) in outage.unsure_feeds or feeder.open_leg
    unsure = unsure or feed.at in outage.unsure_ports.get(feed.feeder, ())
    if unit.spare_hidden is None and unit.sources and not has_ac(unit, outage):
        # a spare feed that may have been hidden asks only now, and by class it may be refused
        unsure = unsure or network.units[feed.feeder].admission != "drawn"
    return 1 if unsure else 2


def _restarts(unit: NetUnit, before: Standing, leg: CarriedBy, first: int) -> bool:
    """Whether the unit goes off on its way from one leg to the other."""
    if leg is CarriedBy.NONE or before.leg is CarriedBy.NONE:
        return False
    to_feed = before.leg is not CarriedBy.FEED and leg is CarriedBy.FEED
    to_other_feed = leg is CarriedBy.FEED and before.leg is CarriedBy.FEED and first != before.first
    to_ac = before.leg is CarriedBy.FEED and leg is CarriedBy.AC
    if to_feed and unit.spare_hidden:
        return True
    return (to_feed or to_other_feed or to_ac) and unit.sheds_in_time is False


def _budgets(
    network: Network,
    outage: Outage,
    unit: NetUnit,
    leg: CarriedBy,
    supplies: tuple[bool, ...],
    first: int,
    above: Callable[[int], Standing],
) -> tuple[float, float]:
    """Watts that the unit may give, everything undeclared on the worse and on the better side."""
    if leg is CarriedBy.NONE:
        return (0.0, 0.0)
    if leg is CarriedBy.AC:
        on_ac_w = _on_ac_w(unit, supplies)
        return (on_ac_w, on_ac_w)
    found: list[float] = []
    most: list[float] = []
    if leg is not CarriedBy.FEED:
        on_ac_w = _on_ac_w(unit, supplies)
        found.append(on_ac_w)
        most.append(on_ac_w)
    feed = unit.feeds[first]
    classes = above(feed.feeder).grant.classes[feed.at]
    pd_w = outage.granted_pd_w.get((unit.index, first), class_watts_at_pd(classes))
    on_feed_w = _on_feed_w(network, unit, first, pd_w)
    found.append(on_feed_w)
    most.append(on_feed_w + (unit.own_w - unit.own_least_w) * unit.fed_efficiency)
    together = unit.prefers == "shared" and len(most) > 1
    return (min(found), sum(most) if together else max(most))


def least_budget_w(network: Network, unit: NetUnit, standing: Standing) -> float:
    """The least that the unit may give on any of the legs that it still has [W at its PSE outputs]."""
    found = [_on_ac_w(unit, standing.supplies)] if any(standing.supplies) else []
    for place, feed in enumerate(unit.feeds):
        if standing.feeds[place]:
            classes = network.units[feed.feeder].ports[feed.at].classes
            found.append(_on_feed_w(network, unit, place, class_watts_at_pd(classes)))
    return min(found, default=0.0)


def _on_ac_w(unit: NetUnit, supplies: tuple[bool, ...]) -> float:
    key = ("ac", supplies)
    found = unit.memo.get(key)
    if found is None:
        found = UNLIMITED_W if unit.unit.pse is None else budget_on_ac_w(unit.unit, supplies)
        unit.memo[key] = found
    assert isinstance(found, float)
    return found


def _on_feed_w(network: Network, unit: NetUnit, place: int, granted_pd_w: float) -> float:
    key = ("feed", place, granted_pd_w)
    found = unit.memo.get(key)
    if found is None:
        feed = unit.feeds[place]
        feeder = network.units[feed.feeder]
        port = (feeder.name, feeder.ports[feed.at].key)
        found = budget_on_feed_w(network.site, network.tree, unit.name, granted_pd_w, port)
        unit.memo[key] = found
    assert isinstance(found, float)
    return found


def _grant(
    network: Network,
    load: UnitLoad,
    granted_w: Mapping[PortId, float],
    outage: Outage,
    unit: NetUnit,
    budget_w: float,
    before: Standing | None,
) -> tuple[Admitted, frozenset[int]]:
    drawn = unit.admission == "drawn"
    plain = drawn and unit.rule not in ("newest-first", "refuse-newcomers")
    if plain or not unit.ports:
        return static_grant(unit), frozenset()
    on = _with_current(network, load, outage, unit)
    if before is None or (not drawn and not before.grant.booked_w):
        return (static_grant(unit) if drawn else admit(unit, on, budget_w, granted_w)), frozenset()
    new = frozenset(at for at in on if unit.ports[at].child >= 0 and _was_hidden(network, unit, at, before))
    new |= on & outage.newly_on.get(unit.index, frozenset())
    if drawn:
        return static_grant(unit), new
    staying = [at for at in on if at not in new and at not in before.grant.refused]
    return admit(unit, new, budget_w, granted_w, before.grant, staying), new


def _with_current(network: Network, load: UnitLoad, outage: Outage, unit: NetUnit) -> frozenset[int]:
    """Ports at which something takes power or asks for it: not a hidden spare feed, nor a unit that is gone."""
    off = outage.off_ports.get(unit.index, ())
    found: set[int] = set()
    for port in unit.ports:
        if port.off or port.at in off:
            continue
        if port.child < 0:
            if load.most[port.at] > 0:
                found.add(port.at)
            continue
        child = network.units[port.child]
        gone = child.index in outage.units or (child.index, port.place) in outage.feeds
        if not gone and not (child.spare_hidden and has_ac(child, outage)):
            found.add(port.at)
    return frozenset(found)


def _was_hidden(network: Network, unit: NetUnit, at: int, before: Standing) -> bool:
    """Whether a feed's port had no current before; the grant of that time says so where watts are set aside."""
    child = network.units[unit.ports[at].child]
    if before.grant.booked_w:
        return before.grant.booked_w[at] == 0.0 and at not in before.grant.refused
    return bool(child.spare_hidden) and bool(child.sources)
