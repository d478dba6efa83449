"""Dark, unreachable though powered, or only refusing us: three things that look alike from afar.

No answer alone says nothing of power. A feeder's port that delivers, a link that is up or a unit below that lives on
this one show that it has power; that it is dark is said only where nothing is left that could power it.
"""

from __future__ import annotations

from dataclasses import dataclass

from portdraw.judgement.assessment import Availability, Reach
from portdraw.judgement.circuit_inference import CircuitState, CircuitView
from portdraw.judgement.feed_load import FeedLoad, one_feed_load
from portdraw.judgement.leg_facts import FeedFacts
from portdraw.judgement.wording import list_text, watts_text
from portdraw.observation.record import PortState
from portdraw.observation.unit_observation import Outcome


@dataclass(frozen=True)
class ReachSigns:
    """What tells of a unit that may not answer.

    `fresh`: the newest poll brought a usable answer. `circuit` is its one circuit as all its units show it, None
    where it has none or several. `last_ac` is how its local AC was last known. `fed_below`: units that run on its
    feed and answer.
    """

    readable: bool
    fresh: bool
    outcome: Outcome
    has_ac: bool
    feeds: tuple[FeedFacts, ...] = ()
    circuit: CircuitView | None = None
    last_ac: Availability | None = None
    fed_below: tuple[str, ...] = ()


def reach_of(signs: ReachSigns) -> tuple[Reach, str]:
    """Return whether a unit answers, and if not whether it has power, with what shows it."""
    if not signs.readable:
        return Reach.NOT_READABLE, "the site file gives no access to it"
    if signs.outcome is Outcome.REFUSED:
        return Reach.REFUSES, "it answers, so it has power"
    if signs.fresh:
        return Reach.ANSWERS, ""
    powered = _powered(signs)
    if powered:
        return Reach.POWERED, powered
    if signs.feeds and not all(one_feed_load(feed)[0] is FeedLoad.OFF for feed in signs.feeds):
        unread = [feed.source for feed in signs.feeds if one_feed_load(feed)[0] is not FeedLoad.OFF]
        verb = "does" if len(unread) == 1 else "do"
        return Reach.SILENT, f"{list_text(unread)} {verb} not show whether it has power"
    nothing = " and ".join(f"{feed.source} delivers nothing to it" for feed in signs.feeds)
    no_ac = _why_no_ac(signs)
    if no_ac:
        return Reach.DARK, " and ".join(part for part in (nothing, no_ac) if part)
    return Reach.SILENT, f"{nothing}; whether it has local AC is not known" if nothing else ""


def _powered(signs: ReachSigns) -> str:
    for feed in signs.feeds:
        if feed.heard and feed.state is PortState.DELIVERING:
            what = "power" if feed.watts is None else watts_text(feed.watts)
            return f"{feed.source} delivers {what} to it"
    for feed in signs.feeds:
        if feed.heard and feed.link_up:
            return f"its link at {feed.source} is up"
    if signs.fed_below:
        verb = "runs" if len(signs.fed_below) == 1 else "run"
        return f"{list_text(signs.fed_below)} {verb} on its feed"
    return ""


def _why_no_ac(signs: ReachSigns) -> str:
    """Return why it has no local AC, "" where that is not known."""
    if not signs.has_ac:
        return "it has no local AC" if signs.feeds else ""
    if signs.circuit is not None and signs.circuit.state is CircuitState.PROBABLY_OUT and not signs.circuit.have:
        return f"circuit {signs.circuit.circuit} is probably out"
    return "its local AC was lost when last read" if signs.last_ac is Availability.LOST else ""
