"""How a unit stands in a state of the site: which leg carries it, what it was granted, what it may give on.

Worked out from the sources down, before any watt is known: who has power at all, not who is shed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from portdraw.plan.class_grant import class_watts_at_pd
from portdraw.powerflow.admission import Admitted, admit, static_grant
from portdraw.powerflow.load import UnitLoad
from portdraw.powerflow.network import NetUnit, Network
from portdraw.powerflow.port_link import PortId
from portdraw.powerflow.shedding import groups_to_cut
from portdraw.powerflow.state import Outage
from portdraw.powerflow.two_legs import budget_on_ac_w, budget_on_feed_w
from portdraw.powerflow.unit_flow import CarriedBy

UNLIMITED_W = float("inf")


class Standing(NamedTuple):
    """One unit. `feeds` per feed: 0 lost, 1 may be there, 2 there; `first` is the one that carries, -1 for none.

    `gives` False: its ports have no power whatever they ask. `budget_w` counts everything undeclared to the worse
    side, `budget_most_w` to the better. `newcomers` are ports that came on only now. `restarted`: it lost power
    while it changed legs. `open_leg`: it is not known on which leg it stands, whether it began anew when it changed
    legs, or whom it let in; then nothing is known of what it grants.
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
    restarts: Callable[[int], bool],
    patient: bool,
    bounds: bool,
) -> Standing:
    """Work one unit out. `above` gives the standing of its feeders, `before` its own before something failed.

    `restarts` says whether a feeder goes off and comes back on its way from the state before. `patient`: there is
    time until whoever was refused asks again. `bounds`: what depends on watts that are not known exactly is open.
    """
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
    caught = False
    goes_on = before is not None and before.leg is not CarriedBy.NONE and not restarted
    if goes_on and leg is CarriedBy.FEED and restarts(unit.feeds[first].feeder):
        # another leg has to catch it until its feeder is back
        beside = (restarts(unit.feeds[at].feeder) for at, state in enumerate(feeds) if state)
        caught = ac or not all(beside)
        restarted = not caught or unit.sheds_in_time is False
    takes_w = load.least if bounds else load.likely
    budget_w, most_w = _budgets(network, outage, unit, leg, supplies, first, above)
    gives = leg is not CarriedBy.NONE and unit.index not in outage.controllers
    others = leg is not CarriedBy.AC and first >= 0 and (ac or sum([state > 0 for state in feeds]) > 1)
    open_leg = others and feeds[first] == 1
    if unit.admission != "drawn" and not open_leg:
        open_leg = caught or (before is not None and unit.sheds_in_time is None and _changes(before, leg, first))
        if leg is CarriedBy.FEED and others and before is not None:
            # its feeder let it in only now: it stood on its other leg until then
            open_leg = open_leg or unit.feeds[first].at in above(unit.feeds[first].feeder).newcomers
        if leg is CarriedBy.EITHER and budget_w < most_w:
            on = _with_current(network, load, outage, unit)
            one, other = (admit(unit, on, watts, granted_w, takes_w) for watts in (budget_w, most_w))
            open_leg = open_leg or one != other
    grant, newcomers = static_grant(unit), frozenset[int]()
    if not open_leg:
        fresh = restarted or (before is not None and before.leg is CarriedBy.NONE)
        came_from = None if fresh else before
        found = _grant(network, load, granted_w, outage, unit, budget_w, came_from, patient, takes_w)
        if bounds and found[0].classes != grant.classes and load.least != load.most:
            # whether a device takes more than the lower class that it was granted, and so leaves its watts to others
            by_most = _grant(network, load, granted_w, outage, unit, budget_w, came_from, patient, load.most)
            open_leg = found[0] != by_most[0]
        if bounds and found[0].refused and not open_leg and outage.unsure_feeds:
            # whether a feed is cut, and so leaves its watts to those that were refused
            open_leg = any((port.child, port.place) in outage.unsure_feeds for port in unit.feed_ports)
        if not open_leg:
            grant, newcomers = found
    if open_leg and ac:
        most_w = max(most_w, _on_ac_w(unit, supplies))
    return Standing(leg, supplies, feeds, first, gives, budget_w, most_w, grant, newcomers, restarted, open_leg)


def _leg(unit: NetUnit, ac: bool, feed: bool) -> CarriedBy:
    if ac and feed and not unit.spare_hidden:  # a hidden feed gives nothing while AC is there, whatever is preferred
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
    if unit.spare_hidden and before.leg is not CarriedBy.FEED and leg is CarriedBy.FEED:
        return True
    return unit.sheds_in_time is False and _changes(before, leg, first)


def _changes(before: Standing, leg: CarriedBy, first: int) -> bool:
    """Whether a unit leaves the leg on which it stood for another."""
    if before.leg is CarriedBy.NONE:
        return False
    if leg is CarriedBy.FEED:
        return before.leg is not CarriedBy.FEED or first != before.first
    return before.leg is CarriedBy.FEED and leg is CarriedBy.AC


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
    patient: bool,
    takes_w: Sequence[float],
) -> tuple[Admitted, frozenset[int]]:
    drawn = unit.admission == "drawn"
    plain = drawn and unit.rule not in ("newest-first", "refuse-newcomers")
    if plain or not unit.ports:
        return static_grant(unit), frozenset()
    on = _with_current(network, load, outage, unit)
    if before is None or (not drawn and not before.grant.booked_w):
        return (static_grant(unit) if drawn else admit(unit, on, budget_w, granted_w, takes_w)), frozenset()
    new = frozenset(at for at in on if unit.ports[at].child >= 0 and _was_hidden(network, unit, at, before))
    new |= on & outage.newly_on.get(unit.index, frozenset())
    if drawn:
        return static_grant(unit), new
    refused = before.grant.refused
    staying = [at for at in on if at not in new and at not in refused]
    again = (refused & on) - new  # whoever was refused asks on and on, newcomers come first
    if not patient or outage.controllers:  # a controller is back before they ask again
        again = frozenset()
    booked = [watts if at in staying else 0.0 for at, watts in enumerate(before.grant.booked_w)]
    count = groups_to_cut(unit.groups, booked, sum(booked), budget_w)
    cut = frozenset(at for group in unit.groups[:count] for at in group if booked[at] > 0)
    if patient and cut and (new or again):  # what is shed makes room for whoever asks then
        found = _let_in(
            unit, takes_w, budget_w, granted_w, before.grant, [at for at in staying if at not in cut], new, again
        )
        if (new | again) - found.refused:
            return found._replace(refused=found.refused | cut), new | (again - found.refused)
    found = _let_in(unit, takes_w, budget_w, granted_w, before.grant, staying, new, again)
    return found, new | (again - found.refused)


def _let_in(
    unit: NetUnit,
    takes_w: Sequence[float],
    budget_w: float,
    granted_w: Mapping[PortId, float],
    before: Admitted,
    staying: list[int],
    new: frozenset[int],
    again: frozenset[int],
) -> Admitted:
    """Newcomers first, then those that were refused before."""
    found = admit(unit, new, budget_w, granted_w, takes_w, before, staying)
    if not again:
        return found
    staying = staying + [at for at in new if at not in found.refused]
    return admit(unit, again, budget_w, granted_w, takes_w, found, staying)


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
