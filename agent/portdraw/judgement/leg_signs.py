"""The signs of a unit's legs, gathered from its own answer, its feeders' answers and the power flow."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from portdraw.judgement.leg_facts import FeedFacts, LegSigns
from portdraw.judgement.memory import Memory, fresh
from portdraw.judgement.port_draw import port_state
from portdraw.judgement.wording import list_text
from portdraw.observation.record import Basis, PortState, PowerSource, Quantity
from portdraw.observation.unit_observation import UnitObservation
from portdraw.plan.site import Site, Unit
from portdraw.plan.tree import Tree
from portdraw.powerflow.port_link import PortId
from portdraw.powerflow.two_legs import (
    budget_on_ac_w,
    budget_on_feed_w,
    feed_class,
    feed_power,
    on_feed_pd_w,
    standby_pd_w,
)

# Common practice: a reported budget is that of the feed within this, where both budgets are further apart.
BUDGET_TOLERANCE_W = 1.0
BUDGET_TOLERANCE_PERCENT = 3.0

_HAS_AC = {"there": True, "lost": False}


@dataclass(frozen=True)
class Readings:
    """Answers and times of one cycle [s since the epoch]; what was read before `oldest_s` is stale."""

    site: Site
    tree: Tree
    memory: Memory
    time_s: float
    every_s: float
    oldest_s: float

    def heard(self, unit: str) -> UnitObservation | None:
        """Return a unit's fresh answer, None where there is none."""
        return fresh(self.memory, unit, self.time_s, self.every_s)

    def alive_s(self, unit: str) -> float | None:
        """Return when the unit last answered anything, if that is not too long ago."""
        last_s = self.memory.alive_s.get(unit)
        return last_s if last_s is not None and self.oldest_s <= last_s <= self.time_s + self.every_s else None


def leg_signs(readings: Readings, unit: str, outputs_w: float | None) -> LegSigns:
    """Return the signs of a unit. `outputs_w` [W] is its whole draw, None when not wholly known."""
    spec = readings.site.units[unit]
    own = readings.heard(unit)
    feeds = tuple(_feed(readings, unit, feed, outputs_w) for feed in readings.tree.feeds_of(unit))
    ac_source = list_text(tuple(dict.fromkeys(supply.source for supply in spec.supplies)))
    if not feeds:
        return LegSigns(
            ac_source=ac_source or "no declared source",
            feed_source="",
            heard=own is not None,
            feeder_heard=False,
            has_feed=False,
            alive_s=readings.alive_s(unit),
            time_s=readings.time_s,
            every_s=readings.every_s,
        )
    main = max(feeds, key=lambda feed: (feed.state is PortState.DELIVERING, feed.watts or 0.0))  # the first of equals
    feeder, key = readings.tree.feeds_of(unit)[feeds.index(main)]
    own_word, own_read_s = _word(own, None, Quantity.UNIT_OWN_SOURCE, readings.oldest_s)
    heard_word, heard_word_read_s = _word(readings.heard(feeder), key, Quantity.PORT_PD_SOURCE, readings.oldest_s)
    delivering = [feed for feed in feeds if feed.state is PortState.DELIVERING]
    return LegSigns(
        ac_source=ac_source,
        feed_source=main.source,
        heard=own is not None,
        feeder_heard=all(feed.heard for feed in feeds),
        has_ac=bool(spec.supplies),
        prefers="unknown" if spec.fed is None else spec.fed.prefers,
        spare_feed="unknown" if spec.fed is None else spec.fed.spare_feed,
        own_word=own_word,
        feeder_word=heard_word,
        port_state=main.state if main.state is PortState.DELIVERING else _if_same(feed.state for feed in feeds),
        port_w=_sum(feed.watts for feed in delivering) if delivering else main.watts,
        standby_w=_sum(feed.standby_w for feed in delivering) if delivering else main.standby_w,
        idle_w=main.idle_w,
        full_w=main.full_w,
        ac_supply=_ac_supply(own, readings.oldest_s),
        budget_fell=_budget_fell(readings, unit, spec, own),
        feeds=feeds,
        own_read_s=own.ended_s if own_read_s is None and own is not None else own_read_s,
        heard_word_read_s=heard_word_read_s,
        port_read_s=min((feed.read_s for feed in feeds if feed.read_s is not None), default=None),
        alive_s=readings.alive_s(unit),
        time_s=readings.time_s,
        every_s=readings.every_s,
    )


def _feed(readings: Readings, unit: str, feed: PortId, outputs_w: float | None) -> FeedFacts:
    """Return what the feeder tells of one feed, beside what it would give by the power flow."""
    site, tree, (feeder, key) = readings.site, readings.tree, feed
    seen = readings.heard(feeder)
    draw = None if seen is None else seen.get(key, Quantity.PORT_DRAW)
    measured = draw is not None and draw.basis in (Basis.MEASURED, Basis.LEARNED) and draw.read_s >= readings.oldest_s
    granted = feed_class(site, tree, unit, feed)
    spec = site.units[unit]
    state = None if seen is None else seen.get(key, Quantity.PORT_STATE)
    denied = readings.memory.denied.get(feed)
    link = None if seen is None else seen.text(key, Quantity.PORT_LINK)
    return FeedFacts(
        source=f"{feeder} port {key}",
        name=(site.units[feeder].ports[key].feeds or "").partition("/")[2],
        heard=seen is not None,
        state=port_state(seen, key, readings.oldest_s),
        watts=draw.number() if measured and draw is not None else None,
        standby_w=None if granted is None else _at_feeder_w(readings, unit, feed, standby_pd_w(spec, granted)),
        idle_w=_at_feeder_w(readings, unit, feed, on_feed_pd_w(spec, 0.0)),
        full_w=None if outputs_w is None else _at_feeder_w(readings, unit, feed, on_feed_pd_w(spec, outputs_w)),
        read_s=state.read_s if state is not None else None if seen is None else seen.ended_s,
        refused_s=None if denied is None else denied.rose_s,
        link_up=None if link is None else link == "up",
    )


def _at_feeder_w(readings: Readings, unit: str, feed: PortId, pd_w: float) -> float | None:
    power = feed_power(readings.site, readings.tree, unit, pd_w, feed=feed)
    return None if power is None else power.pse_w


def _word(
    observation: UnitObservation | None, port: str | None, quantity: Quantity, oldest_s: float
) -> tuple[PowerSource | None, float | None]:
    """Return a power source with the time of its reading; None where nothing is said."""
    record = None if observation is None else observation.get(port, quantity)
    if record is None or record.value is None or record.read_s < oldest_s:
        return None, None
    try:
        word = PowerSource(str(record.value))
    except ValueError:
        return None, None
    return (None, None) if word is PowerSource.UNKNOWN else (word, record.read_s)


def _ac_supply(own: UnitObservation | None, oldest_s: float) -> bool | None:
    """Return what the unit's own supply object says of local AC: there, lost, or None where it says nothing."""
    record = None if own is None else own.get(None, Quantity.UNIT_AC_SUPPLY)
    if record is None or record.value is None or record.read_s < oldest_s:
        return None
    return _HAS_AC.get(str(record.value))


def _budget_fell(readings: Readings, unit: str, spec: Unit, own: UnitObservation | None) -> float | None:
    """Return the budget that the unit reports [W] where it is that of its feed, and clearly not that of its AC."""
    told_w = None if own is None else own.number(None, Quantity.UNIT_BUDGET)
    if told_w is None or not spec.supplies or spec.pse is None:
        return None
    on_feed_w = budget_on_feed_w(readings.site, readings.tree, unit)
    near_w = max(BUDGET_TOLERANCE_W, on_feed_w * BUDGET_TOLERANCE_PERCENT / 100)
    if on_feed_w <= 0 or on_feed_w + 3 * near_w >= budget_on_ac_w(spec):
        return None
    return told_w if abs(told_w - on_feed_w) <= near_w else None


def _sum(watts: Iterable[float | None]) -> float | None:
    """Return the sum, None where one of them is not known."""
    all_w = list(watts)
    known_w = [one for one in all_w if one is not None]
    return sum(known_w) if len(known_w) == len(all_w) else None


def _if_same(states: Iterable[PortState | None]) -> PortState | None:
    """Return the first state of ports that do not deliver, None where one of them is not known."""
    found = list(states)
    return None if None in found else found[0]
