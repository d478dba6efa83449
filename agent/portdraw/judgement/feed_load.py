"""What the feeder's port shows of a feed: nothing, standby, a part, or the whole unit."""

from __future__ import annotations

from enum import StrEnum

from portdraw.judgement.leg_facts import FeedFacts, LegSigns
from portdraw.judgement.wording import watts_text
from portdraw.observation.record import PortState

# Common practice: how near a reading must be to what is expected, as readings are seconds apart and cables vary.
STANDBY_TOLERANCE_W = 1.0
FULL_TOLERANCE_W = 3.0
FULL_TOLERANCE_PERCENT = 20.0
IDLE_SHARE = 0.8  # of the unit's own use, seen at the feeder: below it nothing is carried


class FeedLoad(StrEnum):
    """What the feeder's port shows of the feed."""

    OFF = "off"
    STANDBY = "standby"
    PART = "part"
    FULL = "full"
    UNKNOWN = "unknown"


def feed_load(signs: LegSigns) -> tuple[FeedLoad, str]:
    """Return what the feeders' ports of a unit show together, and the same in words."""
    where = " and ".join(feed.source for feed in signs.feeds) if len(signs.feeds) > 1 else signs.feed_source
    return one_feed_load(
        FeedFacts(
            where,
            heard=signs.feeder_heard,
            state=signs.port_state,
            watts=signs.port_w,
            standby_w=signs.standby_w,
            idle_w=signs.idle_w,
            full_w=signs.full_w,
        )
    )


def one_feed_load(feed: FeedFacts) -> tuple[FeedLoad, str]:
    """Return what one feeder's port shows, and the same in words."""
    where = feed.source
    delivers = "deliver together" if " and " in where else "delivers"
    if not feed.heard:
        return FeedLoad.UNKNOWN, f"no fresh reading of {where}"
    if feed.state is not None and feed.state is not PortState.DELIVERING:
        return FeedLoad.OFF, f"{where} is {feed.state.value}: nothing comes from it"
    if feed.watts is None:
        return FeedLoad.UNKNOWN, f"the watts of {where} are not told"
    told = f"{where} {delivers} {watts_text(feed.watts)}"
    standby_limit_w = None if feed.standby_w is None else feed.standby_w + STANDBY_TOLERANCE_W
    if standby_limit_w is not None and feed.idle_w is not None and standby_limit_w >= IDLE_SHARE * feed.idle_w:
        return FeedLoad.UNKNOWN, f"{told}; standby and feed are too near each other to tell apart"
    if standby_limit_w is not None and feed.watts <= standby_limit_w:
        return FeedLoad.STANDBY, f"{told}, as on standby"
    if feed.idle_w is None or feed.watts < IDLE_SHARE * feed.idle_w:
        return FeedLoad.UNKNOWN, f"{told}, which fits neither standby nor feed"
    if feed.full_w is None:
        return FeedLoad.FULL, f"{told}, far above standby"
    if feed.watts >= as_on_feed_w(feed.full_w):
        return FeedLoad.FULL, f"{told}, as on feed ({watts_text(feed.full_w)} expected)"
    return FeedLoad.PART, f"{told}, less than the {watts_text(feed.full_w)} that the whole unit would take"


def as_on_feed_w(full_w: float) -> float:
    """Return the watts [W] from which on a port counts as carrying the whole unit, which would take `full_w`."""
    return full_w - max(FULL_TOLERANCE_W, full_w * FULL_TOLERANCE_PERCENT / 100)
