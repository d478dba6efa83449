"""Which legs carry a unit, and which could: availability and carrying of each, with the evidence in words.

Signs that contradict each other in equal strength are unknown, and so is silence. What the signs of local AC come to
is worked out in `ac_evidence`; here it is put together with what the feeds show.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from portdraw.judgement.ac_evidence import (
    AcVerdict,
    Neighbours,
    Says,
    SignMemory,
    ac_signs,
    doubt,
    remember_signs,
    weigh,
)
from portdraw.judgement.assessment import Availability, Carrying, Leg
from portdraw.judgement.feed_load import FeedLoad, feed_load, one_feed_load
from portdraw.judgement.leg_facts import LegSigns
from portdraw.observation.record import PortState, PowerSource

LOCAL_AC = "local AC"
POE_FEED = "PoE feed"

CONTRADICTION = "the signs contradict each other"

NOBODY = Neighbours()


@dataclass(frozen=True)
class Judged:
    """The legs of a unit and what to remember of their signs: local AC first, then the feed that delivers most."""

    legs: tuple[Leg, ...]
    memory: SignMemory


def legs_of(signs: LegSigns) -> tuple[Leg, ...]:
    """Return the unit's legs by the signs of this moment alone; see `judge_legs`."""
    return judge_legs(signs, SignMemory()).legs


def judge_legs(signs: LegSigns, past: SignMemory, neighbours: Neighbours = NOBODY) -> Judged:
    """Return the unit's legs and the memory for the next cycle.

    A unit without a supply, or that no other feeds, has one leg. Of several feeds each is a leg of its own.
    """
    if not signs.has_feed:
        return Judged((_only_ac(signs),), past)
    if past.held and signs.spare_feed == "unknown":
        signs = replace(signs, spare_feed="held")  # seen on standby, though the site file does not say so
    load, load_words = feed_load(signs)
    found = ac_signs(signs, load, load_words, past)
    memory = doubt(signs, found, remember_signs(signs, load, found, past))
    if not signs.has_ac:
        return Judged((_only_feed(signs, load, load_words), *_more_feeds(signs, None)), memory)
    verdict = weigh(signs, found, memory, neighbours)
    ac, feed = _fuse(signs, load, load_words, verdict)
    return Judged((ac, feed, *_more_feeds(signs, feed)), memory)


def _fuse(signs: LegSigns, load: FeedLoad, load_words: str, verdict: AcVerdict) -> tuple[Leg, Leg]:
    ac, feed = _carried(signs, load, verdict)
    if verdict.says is Says.LOST:
        ac_for, ac_against = verdict.lost, verdict.there
    else:
        ac_for, ac_against = verdict.there, verdict.lost
    if verdict.contradicts:
        ac_against = (*ac_against, CONTRADICTION)
    elif not verdict.there and not verdict.lost and not verdict.aside:
        ac_against = (*ac_against, "nothing tells of it" if signs.heard or signs.feeder_heard else "no fresh reading")
    refused = _refused_words(signs)
    feed_for: tuple[str, ...] = (load_words, refused) if refused and load is FeedLoad.OFF else (load_words,)
    feed_against: tuple[str, ...] = ()
    if feed[0] is Availability.UNKNOWN:
        feed_for, feed_against = (), (load_words, *_why_feed_unknown(signs, load))
    aside = (*ac_against, *verdict.aside)
    return (
        Leg(LOCAL_AC, signs.ac_source, *ac, evidence_for=ac_for, evidence_against=aside, sure=verdict.sure),
        Leg(POE_FEED, signs.feed_source, *feed, feed_for, feed_against, sure=verdict.sure),
    )


_Standing = tuple[Availability, Carrying]


def _carried(signs: LegSigns, load: FeedLoad, verdict: AcVerdict) -> tuple[_Standing, _Standing]:
    """Return (availability, carrying) of local AC and of the feed."""
    if verdict.says is Says.LOST:
        carries = Carrying.UNKNOWN if load is FeedLoad.OFF else Carrying.ALL
        return (Availability.LOST, Carrying.NONE), (_feed(signs, load, carries), carries)
    if verdict.says is Says.THERE:
        ac_carries, feed_carries = _shares(signs, load)
        return (Availability.BELIEVED, ac_carries), (_feed(signs, load, feed_carries), feed_carries)
    unknown = (Availability.UNKNOWN, Carrying.UNKNOWN)
    if verdict.contradicts:
        return unknown, (_feed(signs, load, Carrying.UNKNOWN), Carrying.UNKNOWN)
    if load is FeedLoad.FULL:
        feed = (_feed(signs, load, Carrying.ALL), Carrying.ALL)
        return (Availability.UNKNOWN, Carrying.NONE), feed
    feed_carries = Carrying.NONE if load is FeedLoad.OFF else Carrying.UNKNOWN
    return unknown, (_feed(signs, load, feed_carries), feed_carries)


def _shares(signs: LegSigns, load: FeedLoad) -> tuple[Carrying, Carrying]:
    """Return what local AC and the feed carry while local AC is there."""
    if load in (FeedLoad.STANDBY, FeedLoad.OFF):
        return Carrying.ALL, Carrying.NONE
    if load is FeedLoad.PART:
        return Carrying.PART, Carrying.PART
    if load is FeedLoad.FULL:
        return Carrying.NONE, Carrying.ALL
    if PowerSource.LOCAL in (signs.own_word, signs.feeder_word) or signs.prefers == "ac":
        return Carrying.ALL, Carrying.NONE
    if signs.prefers == "shared":
        return Carrying.PART, Carrying.PART
    return Carrying.UNKNOWN, Carrying.UNKNOWN


def _feed(signs: LegSigns, load: FeedLoad, carrying: Carrying) -> Availability:
    """Return whether the feed could carry: a leg that carries now does; one that is off can't."""
    if load is FeedLoad.OFF:
        searching = signs.port_state in (PortState.SEARCHING, PortState.TEST)
        if searching and signs.spare_feed != "held" and not _refused_words(signs):
            return Availability.UNKNOWN
        return Availability.UNKNOWN if signs.port_state is PortState.TEST else Availability.LOST
    if carrying in (Carrying.ALL, Carrying.PART) or load in (FeedLoad.FULL, FeedLoad.PART, FeedLoad.STANDBY):
        return Availability.BELIEVED
    if signs.feeder_heard and signs.port_state is PortState.DELIVERING:
        return Availability.BELIEVED
    return Availability.UNKNOWN


def _why_feed_unknown(signs: LegSigns, load: FeedLoad) -> tuple[str, ...]:
    if load is not FeedLoad.OFF:
        return ()
    if signs.spare_feed == "hidden":
        return ("normal for a hidden spare feed, which shows only when it is needed",)
    if signs.spare_feed == "unknown":
        return ("hidden or lost: the site file does not say which spare feed it has",)
    return ()


REFUSED_FRESH_S = 600.0  # common practice: a refused port asks again within seconds, so an old refusal is over


def _refused_words(signs: LegSigns) -> str:
    """Say that the feeder refuses the port that is off, "" where it does not or not lately."""
    for feed in signs.feeds:
        if feed.source == signs.feed_source and feed.refused_s is not None:
            lately = 0 <= signs.time_s - feed.refused_s <= REFUSED_FRESH_S
            return f"{feed.source} has refused it power" if lately else ""
    return ""


def _more_feeds(signs: LegSigns, first: Leg | None) -> tuple[Leg, ...]:
    """Return the feeds beside the one that delivers most, each judged by its own port."""
    more: list[Leg] = []
    for feed in signs.feeds:
        if feed.source == signs.feed_source:
            continue
        one = replace(
            signs,
            feed_source=feed.source,
            feeder_heard=feed.heard,
            port_state=feed.state,
            port_w=feed.watts,
            standby_w=feed.standby_w,
            idle_w=feed.idle_w,
            full_w=feed.full_w,
        )
        load, words = one_feed_load(feed)
        carrying = _share_of(load, first)
        availability = _feed(one, load, carrying)
        name = f"{POE_FEED} {feed.name}".strip()
        if availability is Availability.UNKNOWN:
            why = (words, *_why_feed_unknown(one, load))
            more.append(Leg(name, feed.source, availability, carrying, evidence_against=why))
        else:
            more.append(Leg(name, feed.source, availability, carrying, evidence_for=(words,)))
    return tuple(more)


def _share_of(load: FeedLoad, first: Leg | None) -> Carrying:
    if load in (FeedLoad.OFF, FeedLoad.STANDBY):
        return Carrying.NONE
    if load is FeedLoad.PART or (load is FeedLoad.FULL and first is not None and first.carrying is not Carrying.NONE):
        return Carrying.PART
    return Carrying.ALL if load is FeedLoad.FULL else Carrying.UNKNOWN


def _only_ac(signs: LegSigns) -> Leg:
    if signs.heard:
        why = ("the unit answers, and has no other leg",)
        return Leg(LOCAL_AC, signs.ac_source, Availability.BELIEVED, Carrying.ALL, evidence_for=why)
    if signs.alive_s is not None:
        why = ("the unit answers, though it tells nothing, and has no other leg",)
        return Leg(LOCAL_AC, signs.ac_source, Availability.BELIEVED, Carrying.ALL, evidence_for=why)
    return Leg(
        LOCAL_AC, signs.ac_source, Availability.UNKNOWN, Carrying.UNKNOWN, evidence_against=("no fresh reading",)
    )


def _only_feed(signs: LegSigns, load: FeedLoad, load_words: str) -> Leg:
    if load is FeedLoad.OFF and not signs.heard:
        return Leg(POE_FEED, signs.feed_source, Availability.LOST, Carrying.NONE, evidence_for=(load_words,))
    delivers = signs.feeder_heard and signs.port_state is PortState.DELIVERING
    if load is not FeedLoad.OFF and (signs.heard or delivers or load in (FeedLoad.FULL, FeedLoad.PART)):
        why = (load_words, "the unit answers, and has no other leg") if signs.heard else (load_words,)
        return Leg(POE_FEED, signs.feed_source, Availability.BELIEVED, Carrying.ALL, evidence_for=why)
    against = (load_words, "yet the unit answers") if load is FeedLoad.OFF else (load_words,)
    return Leg(POE_FEED, signs.feed_source, Availability.UNKNOWN, Carrying.UNKNOWN, evidence_against=against)
