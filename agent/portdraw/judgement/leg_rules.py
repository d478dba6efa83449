"""Conditions of legs: local AC lost, PoE feed lost; with circuit, keeper, what still carries and what goes next."""

from __future__ import annotations

from dataclasses import replace

from portdraw.judgement.alarm import AlarmKind, Severity
from portdraw.judgement.alarm_rule import ALARM_RULES
from portdraw.judgement.assessment import Availability, Carrying, Leg, PortAssessment, SiteAssessment, UnitAssessment
from portdraw.judgement.condition import Condition, unjudged
from portdraw.judgement.feed_load import as_on_feed_w
from portdraw.judgement.legs import LOCAL_AC, POE_FEED
from portdraw.judgement.port_rules import criticality
from portdraw.judgement.unit_legs import leg_of
from portdraw.judgement.wording import count_text, limit_text, list_text, place_text, watts_text
from portdraw.plan.site import Port, Site
from portdraw.plan.tree import Tree

# Common practice: units on one circuit that comes back tell of it within minutes of each other.
COMING_BACK_S = 300.0

_THERE = (Availability.PROVEN, Availability.BELIEVED)


def leg_conditions(assessment: SiteAssessment, unit: UnitAssessment, site: Site, tree: Tree) -> list[Condition]:
    """Return the conditions of a unit with two legs; a unit with one leg can't lose a spare."""
    ac, feed = leg_of(unit, LOCAL_AC), leg_of(unit, POE_FEED)
    if ac is None or feed is None:
        return []
    feeder = assessment.unit(feed.source.partition(" port ")[0])
    witness = "" if feeder is None or feeder.stale else feeder.unit
    found = _ac_conditions(assessment, unit, ac, feed, site, tree) + _feed_conditions(unit, ac, feed, site, tree)
    read_s = max((one.read_s or 0.0 for one in (unit, feeder) if one is not None and not one.stale), default=None)
    return [replace(condition, witness=witness, read_s=read_s or None) for condition in found]


def feeder_port(assessment: SiteAssessment, unit: UnitAssessment) -> PortAssessment | None:
    """Return the port that feeds a unit, as its feeder tells it; None where none does."""
    feed = leg_of(unit, POE_FEED)
    if feed is None:
        return None
    name, _, key = feed.source.partition(" port ")
    feeder = assessment.unit(name)
    return None if feeder is None else next((port for port in feeder.ports if port.port == key), None)


def _ac_conditions(
    assessment: SiteAssessment, unit: UnitAssessment, ac: Leg, feed: Leg, site: Site, tree: Tree
) -> list[Condition]:
    kind = AlarmKind.LOCAL_AC_LOST
    if ac.availability in _THERE:
        return []
    port = feeder_port(assessment, unit)
    in_doubt = ac.availability is Availability.UNKNOWN
    if in_doubt and not (ac.evidence_for and ac.evidence_against and _as_on_feed(unit, port)):
        return [unjudged(kind, unit.unit)]
    who = place_text(unit.unit, unit.place)
    if in_doubt:
        head, sure = f"{who} may have lost local AC", False
    elif ac.since_s is None:
        head, sure = f"{who} was without local AC when first read", ac.sure
    else:
        head, sure = f"{who} lost local AC", ac.sure
    severity, why = _severity(unit, feed, site)
    return [
        Condition(
            kind,
            unit.unit,
            None,
            head=head,
            when="at",
            place=_circuit_words(tree, unit, site),
            tail=f". {_doubt_words(ac) if in_doubt else ''}"
            f"{_carries_words(unit, feed, port)}{_neighbour_words(assessment, unit, site, tree)}",
            value=None if port is None else port.draw_w,
            limit=unit.feed_limit_w,
            measure="W",
            sure=sure,
            severity=severity,
            why_severity=why,
            consequence=_consequence(assessment, unit, feed.source, site, tree),
            action=f"{_call(tree, unit, site)}{ALARM_RULES[kind].action}",
            since_s=ac.since_s,
            began_seen=in_doubt or ac.since_s is not None,
        )
    ]


def _feed_conditions(unit: UnitAssessment, ac: Leg, feed: Leg, site: Site, tree: Tree) -> list[Condition]:
    kind = AlarmKind.POE_FEED_LOST
    feeds = [leg for leg in unit.legs if leg.name != LOCAL_AC]
    lost = next((leg for leg in feeds if leg.availability is Availability.LOST), None)
    if lost is None:
        unknown = any(leg.availability is Availability.UNKNOWN for leg in feeds)
        return [unjudged(kind, unit.unit)] if unknown else []
    who = place_text(unit.unit, unit.place)
    which = "its PoE feed" if len(feeds) == 1 else f"its PoE feed from {lost.source}"
    said = f"lost {which}" if lost.since_s is not None else f"was without {which} when first read"
    left = "It runs on local AC alone" if ac.carrying is Carrying.ALL else "What carries it is not known"
    others = [leg.source for leg in feeds if leg.availability in _THERE]
    if others and ac.carrying is Carrying.ALL:
        left = f"It runs on local AC, with the feed from {list_text(others)} left"
    elif feed.carrying is Carrying.ALL and lost is not feed:
        left = f"It runs on the feed from {feed.source}"
    consequence = f"One leg is left. If its local AC goes, {_dark_words([unit], site)}."
    if others:
        both = f"local AC and the feed from {list_text(others)}"
        consequence = f"One way less is left. If {both} go too, {_dark_words([unit], site)}."
    return [
        Condition(
            kind,
            unit.unit,
            None,
            head=f"{who} {said}",
            when="at",
            tail=f" ({_first(lost.evidence_for)}). {left}{_circuit_words(tree, unit, site)}.",
            consequence=consequence,
            since_s=lost.since_s,
            began_seen=lost.since_s is not None,
        )
    ]


def _as_on_feed(unit: UnitAssessment, port: PortAssessment | None) -> bool:
    """Say whether the feeder's port gives about what the whole unit would take there."""
    if port is None or port.draw_w is None or unit.feed_need_w is None:
        return False
    return port.draw_w >= as_on_feed_w(unit.feed_need_w)


def _severity(unit: UnitAssessment, feed: Leg, site: Site) -> tuple[Severity, str]:
    if feed.availability not in _THERE:
        return Severity.URGENT, "the PoE feed is not known to be there either"
    if unit.draw_w is not None and unit.budget_on_feed_w is not None and unit.draw_w > unit.budget_on_feed_w:
        why = f"it gives {watts_text(unit.draw_w)} and may give {limit_text(unit.budget_on_feed_w)} on its feed"
        return Severity.URGENT, f"{why}: devices may go off"
    highest = min((criticality(port) for port in _device_ports(unit, site)), default=3)
    if highest == 1:
        return Severity.URGENT, "one leg is left for a device of criticality 1"
    return Severity.WARNING, f"all is powered, but one leg is left; the highest criticality on it is {highest}"


def _circuit_words(tree: Tree, unit: UnitAssessment, site: Site) -> str:
    """Return " (circuit pier-7, panel P2, breaker 7)" for all circuits above a unit."""
    said = []
    for name in tree.circuits_of(unit.unit):
        circuit = site.circuits[name]
        said.append(f"circuit {name}, panel {circuit.panel}, breaker {circuit.breaker}")
    return f" ({'; '.join(said)})" if said else ""


def _call(tree: Tree, unit: UnitAssessment, site: Site) -> str:
    """Return whom to call for the circuits above a unit."""
    calls = []
    for name in tree.circuits_of(unit.unit):
        circuit = site.circuits[name]
        if circuit.keeper is None:
            calls.append(f"Call whoever keeps circuit {name} (the site file names nobody).")
        else:
            number = f" ({circuit.keeper_call})" if circuit.keeper_call else ""
            calls.append(f"Call the {circuit.keeper}{number} for circuit {name}.")
    return "".join(f"{call} " for call in dict.fromkeys(calls))


def _carries_words(unit: UnitAssessment, feed: Leg, port: PortAssessment | None) -> str:
    if feed.carrying is not Carrying.ALL:
        return f"What carries it is not known; its PoE feed is {feed.source}."
    if port is None or port.draw_w is None:
        return f"It runs on the PoE feed from {feed.source}; the watts there are not known."
    most = "" if unit.feed_limit_w is None else f" of {limit_text(unit.feed_limit_w)} possible there"
    return f"It runs on the PoE feed from {feed.source}: {watts_text(port.draw_w)}{most}."


def _doubt_words(ac: Leg) -> str:
    return f"The signs contradict each other: {_first(ac.evidence_against)}, yet {_first(ac.evidence_for)}. "


def _neighbour_words(assessment: SiteAssessment, unit: UnitAssessment, site: Site, tree: Tree) -> str:
    """Return what the other units on the same circuit say of it: they make a circuit probable, or not.

    Units are read one after the other: what was read before ours went, or came back since, tells nothing of its plug;
    nor does a unit behind a UPS, or with a second circuit.
    """
    circuits = tree.circuits_of(unit.unit)
    own = leg_of(unit, LOCAL_AC)
    if len(circuits) != 1 or own is None:
        return ""
    lost_s = assessment.time_s if own.seen_s is None else own.seen_s
    lost: list[str] = []
    have: list[str] = []
    for_long: list[str] = []
    back: list[str] = []
    again: list[str] = []
    unread: list[str] = []
    for name in tree.units_on(circuits[0]):
        other = assessment.unit(name)
        ac = None if other is None or name == unit.unit else leg_of(other, LOCAL_AC)
        if other is None or ac is None or any(one.source != circuits[0] for one in site.units[name].supplies):
            continue
        if ac.availability is Availability.LOST:
            lost.append(name)
        elif ac.availability in _THERE and ac.seen_s is not None:
            if ac.seen_s >= lost_s:
                lasts = _last_read_s(assessment, unit) >= ac.seen_s + COMING_BACK_S
                (for_long if lasts else again if ac.again else back).append(name)
            else:
                (unread if other.read_s is None or other.read_s < lost_s else have).append(name)
    steady = have + for_long
    if steady and len(lost) >= len(steady):  # with this unit they are more than those that have it
        verb = "has" if len(steady) == 1 else "have"
        said = f" {list_text(lost)} on the same circuit lost it too: the circuit is probably out"
        return f"{said}, though {list_text(steady)} {verb} AC: see to which breaker {_it(steady)} really wired."
    if have:
        verb = "has" if len(have) == 1 else "have"
        return f" {list_text(have)} on the same circuit still {verb} AC: see this unit's own supply and plug first."
    if for_long:
        verb = "has" if len(for_long) == 1 else "have"
        said = f" {list_text(for_long)} on the same circuit {verb} had AC for more than 5 minutes"
        return f"{said}: see this unit's own supply and plug first."
    if again:
        verb = "has" if len(again) == 1 else "have"
        return f" {list_text(again)} on the same circuit {verb} it again: it is probably coming back here too."
    if back:
        verb = "has" if len(back) == 1 else "have"
        said = f" {list_text(back)} on the same circuit {verb} AC now: it may be coming back here too"
        return f"{said}; if it does not, see this unit's own supply and plug."
    if lost:
        return f" {list_text(lost)} on the same circuit lost it too: the circuit is probably out."
    if unread:
        verb = "has" if len(unread) == 1 else "have"
        return f" {list_text(unread)} on the same circuit {verb} not been read since."
    return " It is the only unit that tells of this circuit: supply, plug or circuit."


def _it(names: list[str]) -> str:
    return "it is" if len(names) == 1 else "they are"


def _last_read_s(assessment: SiteAssessment, unit: UnitAssessment) -> float:
    """Return when the unit, or else its feeder, was last heard of it [s since the epoch]."""
    feeder = None if unit.fed_by is None else assessment.unit(unit.fed_by)
    heard = [one.read_s for one in (unit, feeder) if one is not None and not one.stale and one.read_s is not None]
    return min(heard, default=0.0)


def _consequence(assessment: SiteAssessment, unit: UnitAssessment, source: str, site: Site, tree: Tree) -> str:
    """Return what goes dark with the feed: the unit, and every unit below it that has no local AC of its own."""
    dark = [unit]
    for one in dark:  # grows while it is walked, from the unit down
        for name in tree.children(one.unit):
            below = assessment.unit(name)
            ac = None if below is None else leg_of(below, LOCAL_AC)
            if below is not None and below not in dark and (ac is None or ac.availability not in _THERE):
                dark.append(below)
    return f"One leg is left. If the feed from {source} goes too, {_dark_words(dark, site)}."


def _dark_words(units: list[UnitAssessment], site: Site) -> str:
    """Return "north-pier and breakwater go dark, with 7 devices: ..."."""
    goes = f"{list_text([unit.unit for unit in units])} {'goes' if len(units) == 1 else 'go'} dark"
    names = [name for unit in units for name in _devices(unit, site)]
    return f"{goes}, with {count_text(len(names), 'device')}: {list_text(names, most=8)}" if names else goes


def _devices(unit: UnitAssessment, site: Site) -> list[str]:
    return [port.device for port in _device_ports(unit, site) if port.device]


def _device_ports(unit: UnitAssessment, site: Site) -> list[Port]:
    return [port for port in site.units[unit.unit].ports.values() if port.device and not port.off]


def _first(words: tuple[str, ...]) -> str:
    return words[0] if words else "no sign"
