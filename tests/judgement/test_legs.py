"""Truth table of the legs: what the words say, what the feeder's port shows, and what follows for both legs."""

from __future__ import annotations

from dataclasses import replace

import pytest

from portdraw.judgement.assessment import Leg
from portdraw.judgement.feed_load import FeedLoad, feed_load
from portdraw.judgement.leg_facts import LegSigns, SpareFeed
from portdraw.judgement.legs import legs_of
from portdraw.observation.record import PortState, PowerSource

# A unit that prefers AC, with a held spare feed: 1.3 W on standby, 6.6 W for itself, 46.2 W with its outputs of now.
BASE = LegSigns(
    ac_source="pier-7",
    feed_source="core port 1",
    heard=True,
    feeder_heard=True,
    prefers="ac",
    spare_feed="held",
    port_state=PortState.DELIVERING,
    standby_w=1.3,
    idle_w=6.6,
    full_w=46.2,
)
PSE, LOCAL, BOTH, SAYS_NOTHING = PowerSource.PSE, PowerSource.LOCAL, PowerSource.BOTH, None
STANDBY_W, FULL_W, PART_W = 1.3, 45.0, 20.0


def told(leg: Leg) -> str:
    return f"{leg.availability.value}/{leg.carrying.value}"


# own word, word seen from the feeder, watts at the feeder's port -> local AC, PoE feed, two signs agree
TABLE = [
    (BOTH, BOTH, STANDBY_W, "believed/all", "believed/none", True),
    (LOCAL, LOCAL, STANDBY_W, "believed/all", "believed/none", True),
    (LOCAL, BOTH, STANDBY_W, "believed/all", "believed/none", True),
    (PSE, PSE, FULL_W, "lost/none", "believed/all", True),
    (PSE, SAYS_NOTHING, FULL_W, "lost/none", "believed/all", True),
    (SAYS_NOTHING, PSE, FULL_W, "lost/none", "believed/all", True),
    # one kind of sign only
    (SAYS_NOTHING, SAYS_NOTHING, FULL_W, "lost/none", "believed/all", False),
    (SAYS_NOTHING, SAYS_NOTHING, STANDBY_W, "believed/all", "believed/none", False),
    (PSE, PSE, None, "lost/none", "believed/all", False),
    (LOCAL, LOCAL, None, "believed/all", "believed/none", False),
    (BOTH, SAYS_NOTHING, None, "believed/all", "believed/none", False),
    # what the feeder hears lags behind; the unit itself and the watts agree
    (PSE, BOTH, FULL_W, "lost/none", "believed/all", False),
    (BOTH, PSE, STANDBY_W, "believed/all", "believed/none", False),
    # contradictions
    (BOTH, SAYS_NOTHING, FULL_W, "unknown/unknown", "believed/unknown", False),
    (BOTH, BOTH, FULL_W, "unknown/unknown", "believed/unknown", False),
    (PSE, SAYS_NOTHING, STANDBY_W, "unknown/unknown", "believed/unknown", False),
    (PSE, PSE, STANDBY_W, "unknown/unknown", "believed/unknown", False),
    (PSE, LOCAL, None, "unknown/unknown", "believed/unknown", False),
    # neither standby nor all of it
    (SAYS_NOTHING, SAYS_NOTHING, PART_W, "unknown/unknown", "believed/unknown", False),
    (BOTH, BOTH, PART_W, "believed/part", "believed/part", False),
    (SAYS_NOTHING, SAYS_NOTHING, None, "unknown/unknown", "believed/unknown", False),
]


@pytest.mark.parametrize(("own", "seen", "port_w", "ac", "feed", "sure"), TABLE)
def test_two_legs(
    own: PowerSource | None, seen: PowerSource | None, port_w: float | None, ac: str, feed: str, sure: bool
) -> None:
    legs = legs_of(replace(BASE, own_word=own, feeder_word=seen, port_w=port_w))
    assert [leg.name for leg in legs] == ["local AC", "PoE feed"]
    assert (told(legs[0]), told(legs[1]), legs[0].sure) == (ac, feed, sure)


# state of the feeder's port, what the file says of the spare feed -> the feed, while the unit answers
SPARE: list[tuple[PortState, SpareFeed, str]] = [
    (PortState.SEARCHING, "held", "lost/none"),
    (PortState.SEARCHING, "hidden", "unknown/none"),
    (PortState.SEARCHING, "unknown", "unknown/none"),
    (PortState.DISABLED, "held", "lost/none"),
    (PortState.DISABLED, "hidden", "lost/none"),
    (PortState.FAULT, "hidden", "lost/none"),
    (PortState.OTHER_FAULT, "unknown", "lost/none"),
    (PortState.TEST, "held", "unknown/none"),
]


@pytest.mark.parametrize(("state", "spare", "feed"), SPARE)
def test_a_feed_that_delivers_nothing(state: PortState, spare: SpareFeed, feed: str) -> None:
    signs = replace(BASE, own_word=LOCAL, port_state=state)
    ac, poe = legs_of(replace(signs, spare_feed=spare))
    assert told(poe) == feed
    assert told(ac) == "believed/all"
    assert ac.evidence_for[-1] == f"core port 1 is {state.value}: nothing comes from it; the unit answers"


def test_silence_is_unknown_never_believed() -> None:
    legs = legs_of(replace(BASE, heard=False, feeder_heard=False, port_state=None))
    assert [told(leg) for leg in legs] == ["unknown/unknown", "unknown/unknown"]
    assert legs[0].evidence_against == ("no fresh reading",)
    assert legs[1].evidence_against == ("no fresh reading of core port 1",)


def test_a_silent_unit_is_judged_by_its_feeders_port() -> None:
    on_feed = legs_of(replace(BASE, heard=False, full_w=None, port_w=46.2))
    assert [told(leg) for leg in on_feed] == ["lost/none", "believed/all"]
    assert on_feed[0].evidence_for == ("core port 1 delivers 46.2 W, far above standby",)
    dark = legs_of(replace(BASE, heard=False, port_state=PortState.SEARCHING))
    assert [told(leg) for leg in dark] == ["unknown/unknown", "lost/none"]


def test_full_watts_do_not_mean_lost_ac_where_the_unit_may_prefer_its_feed() -> None:
    for prefers in ("feed", "higher-voltage", "unknown"):
        signs = replace(BASE, prefers=prefers, port_w=FULL_W)
        assert [told(leg) for leg in legs_of(signs)] == ["unknown/none", "believed/all"]
        both = legs_of(replace(signs, own_word=BOTH))
        assert [told(leg) for leg in both] == ["believed/none", "believed/all"]


def test_a_shared_unit_carries_on_both() -> None:
    legs = legs_of(replace(BASE, prefers="shared", own_word=BOTH))
    assert [told(leg) for leg in legs] == ["believed/part", "believed/part"]


def test_one_leg_only() -> None:
    (ac,) = legs_of(replace(BASE, has_feed=False))
    assert (ac.name, told(ac)) == ("local AC", "believed/all")
    (silent,) = legs_of(replace(BASE, has_feed=False, heard=False))
    assert told(silent) == "unknown/unknown"
    (feed,) = legs_of(replace(BASE, has_ac=False, port_w=FULL_W))
    assert (feed.name, told(feed)) == ("PoE feed", "believed/all")
    (dark,) = legs_of(replace(BASE, has_ac=False, heard=False, port_state=PortState.SEARCHING))
    assert told(dark) == "lost/none"


def test_a_contradiction_gives_its_reason_in_words() -> None:
    ac, _ = legs_of(replace(BASE, own_word=BOTH, port_w=FULL_W))
    assert ac.evidence_for == ("the unit says: local AC and PoE feed",)
    assert ac.evidence_against == (
        "core port 1 delivers 45.0 W, as on feed (46.2 W expected)",
        "the signs contradict each other",
    )


@pytest.mark.parametrize(
    ("port_w", "load"),
    [
        (0.0, FeedLoad.STANDBY),
        (2.3, FeedLoad.STANDBY),
        (2.4, FeedLoad.UNKNOWN),
        (5.2, FeedLoad.UNKNOWN),
        (5.3, FeedLoad.PART),
        (36.9, FeedLoad.PART),  # 46.2 W less 20 %
        (37.0, FeedLoad.FULL),
        (90.0, FeedLoad.FULL),
    ],
)
def test_where_standby_ends_and_feed_begins(port_w: float, load: FeedLoad) -> None:
    assert feed_load(replace(BASE, port_w=port_w))[0] is load


def test_a_small_unit_whose_standby_is_as_its_own_use_tells_nothing() -> None:
    assert feed_load(replace(BASE, idle_w=2.0, full_w=2.2, port_w=2.0))[0] is FeedLoad.UNKNOWN
