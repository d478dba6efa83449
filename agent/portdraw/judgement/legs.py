"""Which leg carries a unit, and could the other: from what the feeder's port and the unit itself show.

Two kinds of signs are independent of each other: *words* (what the unit says of its power source, by itself or over
LLDP to its feeder) and *watts* (state and watts of the feeder's port). Words say who carries, not who is there, and
some equipment always says the same. Two independent signs that agree are sure; signs of equal strength that
contradict each other are unknown, and silence is unknown.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from portdraw.judgement.assessment import Availability, Carrying, Leg
from portdraw.judgement.wording import watts_text
from portdraw.observation.record import PortState, PowerSource

LOCAL_AC = "local AC"
POE_FEED = "PoE feed"

# Common practice: how near a reading must be to what is expected, as readings are seconds apart and cables vary.
STANDBY_TOLERANCE_W = 1.0
FULL_TOLERANCE_W = 3.0
FULL_TOLERANCE_PERCENT = 20.0
IDLE_SHARE = 0.8  # of the unit's own use, seen at the feeder: below it nothing is carried

Prefers = Literal["ac", "feed", "higher-voltage", "shared", "unknown"]
SpareFeed = Literal["held", "hidden", "unknown"]


@dataclass(frozen=True)
class LegSigns:
    """All that is known of a unit's legs at one moment. Watts [W] are at the feeder's PSE output; None is unknown.

    `standby_w`, `idle_w` and `full_w` are what the feeder's port would give on standby, for the unit alone, and for
    the unit with its outputs of now. `heard` and `feeder_heard`: fresh answers of the unit and of its feeder.
    """

    ac_source: str
    feed_source: str
    heard: bool
    feeder_heard: bool
    has_ac: bool = True
    has_feed: bool = True
    prefers: Prefers = "unknown"
    spare_feed: SpareFeed = "unknown"
    own_word: PowerSource | None = None
    feeder_word: PowerSource | None = None
    port_state: PortState | None = None
    port_w: float | None = None
    standby_w: float | None = None
    idle_w: float | None = None
    full_w: float | None = None


class FeedLoad(StrEnum):
    """What the feeder's port shows of the feed."""

    OFF = "off"
    STANDBY = "standby"
    PART = "part"
    FULL = "full"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class _Evidence:
    """What speaks for and against the presence of local AC, in words; the flags say if watts are among the signs."""

    there: tuple[str, ...]
    lost: tuple[str, ...]
    watts_there: bool
    watts_lost: bool

    @property
    def contradicts(self) -> bool:
        return bool(self.there and self.lost)


def legs_of(signs: LegSigns) -> tuple[Leg, ...]:
    """Return the unit's legs, local AC first; a unit without a supply, or that no other feeds, has one leg."""
    if not signs.has_feed:
        return (_only_ac(signs),)
    load, load_words = feed_load(signs)
    if not signs.has_ac:
        return (_only_feed(signs, load, load_words),)
    evidence = _weigh(signs, load, load_words)
    return _fuse(signs, load, load_words, evidence)


def feed_load(signs: LegSigns) -> tuple[FeedLoad, str]:
    """Return what the feeder's port shows, and the same in words."""
    where = signs.feed_source
    if not signs.feeder_heard:
        return FeedLoad.UNKNOWN, f"no fresh reading of {where}"
    if signs.port_state is not None and signs.port_state is not PortState.DELIVERING:
        return FeedLoad.OFF, f"{where} is {signs.port_state.value}: nothing comes from it"
    if signs.port_w is None:
        return FeedLoad.UNKNOWN, f"{where} does not tell its watts"
    told = f"{where} delivers {watts_text(signs.port_w)}"
    standby_limit_w = None if signs.standby_w is None else signs.standby_w + STANDBY_TOLERANCE_W
    if standby_limit_w is not None and signs.idle_w is not None and standby_limit_w >= IDLE_SHARE * signs.idle_w:
        return FeedLoad.UNKNOWN, f"{told}; standby and feed are too near each other to tell apart"
    if standby_limit_w is not None and signs.port_w <= standby_limit_w:
        return FeedLoad.STANDBY, f"{told}, as on standby"
    if signs.idle_w is None or signs.port_w < IDLE_SHARE * signs.idle_w:
        return FeedLoad.UNKNOWN, f"{told}, which fits neither standby nor feed"
    if signs.full_w is None:
        return FeedLoad.FULL, f"{told}, far above standby"
    tolerance_w = max(FULL_TOLERANCE_W, signs.full_w * FULL_TOLERANCE_PERCENT / 100)
    if signs.port_w >= signs.full_w - tolerance_w:
        return FeedLoad.FULL, f"{told}, as on feed ({watts_text(signs.full_w)} expected)"
    return FeedLoad.PART, f"{told}, less than the {watts_text(signs.full_w)} that the whole unit would take"


def _weigh(signs: LegSigns, load: FeedLoad, load_words: str) -> _Evidence:
    there: list[str] = []
    lost: list[str] = []
    words = ((signs.own_word, "the unit says"), (signs.feeder_word, f"seen from {signs.feed_source} it says"))
    for word, who in words:
        if word is PowerSource.PSE:
            lost.append(f"{who}: {word.value}")
        elif word in (PowerSource.LOCAL, PowerSource.BOTH):
            there.append(f"{who}: {word.value}")
    watts_there = load is FeedLoad.STANDBY or (load is FeedLoad.OFF and signs.heard)
    watts_lost = load is FeedLoad.FULL and signs.prefers in ("ac", "shared")
    if watts_there:
        there.append(f"{load_words}; the unit answers" if load is FeedLoad.OFF else load_words)
    if watts_lost:
        lost.append(load_words)
    return _Evidence(tuple(there), tuple(lost), watts_there, watts_lost)


def _fuse(signs: LegSigns, load: FeedLoad, load_words: str, evidence: _Evidence) -> tuple[Leg, Leg]:
    ac, feed, sure = _verdict(signs, load, evidence)
    words = evidence.there + evidence.lost
    if ac[0] is Availability.LOST:
        ac_for, ac_against = evidence.lost, evidence.there
    elif evidence.contradicts and ac[0] is Availability.UNKNOWN:
        ac_for, ac_against = evidence.there, (*evidence.lost, "the signs contradict each other")
    else:
        ac_for, ac_against = evidence.there, evidence.lost
    if not words:
        ac_against = (*ac_against, "nothing tells of it" if signs.heard or signs.feeder_heard else "no fresh reading")
    feed_for: tuple[str, ...] = (load_words,)
    feed_against: tuple[str, ...] = ()
    if feed[0] is Availability.UNKNOWN:
        feed_for, feed_against = (), (load_words, *_why_feed_unknown(signs, load))
    return (
        Leg(LOCAL_AC, signs.ac_source, *ac, evidence_for=ac_for, evidence_against=ac_against, sure=sure),
        Leg(POE_FEED, signs.feed_source, *feed, evidence_for=feed_for, evidence_against=feed_against, sure=sure),
    )


_Verdict = tuple[Availability, Carrying]


def _verdict(signs: LegSigns, load: FeedLoad, evidence: _Evidence) -> tuple[_Verdict, _Verdict, bool]:
    """Return (availability, carrying) of local AC and of the feed, and whether two independent signs agree."""
    there, lost = len(evidence.there), len(evidence.lost)
    ac_lost = lost > 0 and (there == 0 or (evidence.watts_lost and lost > there))
    ac_there = there > 0 and (lost == 0 or (evidence.watts_there and there > lost))
    if ac_lost:
        sure = there == 0 and evidence.watts_lost and lost > 1
        return (Availability.LOST, Carrying.NONE), (_feed(signs, load, Carrying.ALL), Carrying.ALL), sure
    if ac_there:
        sure = lost == 0 and evidence.watts_there and there > 1
        ac_carries, feed_carries = _shares(signs, load)
        return (Availability.BELIEVED, ac_carries), (_feed(signs, load, feed_carries), feed_carries), sure
    unknown = (Availability.UNKNOWN, Carrying.UNKNOWN)
    if evidence.contradicts:
        return unknown, (_feed(signs, load, Carrying.UNKNOWN), Carrying.UNKNOWN), False
    if load is FeedLoad.FULL:
        feed = (_feed(signs, load, Carrying.ALL), Carrying.ALL)
        return (Availability.UNKNOWN, Carrying.NONE), feed, False
    feed_carries = Carrying.NONE if load is FeedLoad.OFF else Carrying.UNKNOWN
    return unknown, (_feed(signs, load, feed_carries), feed_carries), False


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
        if searching and signs.spare_feed != "held":
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


def _only_ac(signs: LegSigns) -> Leg:
    if signs.heard:
        why = ("the unit answers, and has no other leg",)
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
