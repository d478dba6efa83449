"""The signs of a unit's legs, gathered from its own answer, its feeder's answer and the power flow."""

from __future__ import annotations

from collections.abc import Callable

from portdraw.judgement.legs import LegSigns
from portdraw.judgement.port_draw import port_state
from portdraw.judgement.wording import list_text
from portdraw.observation.record import Basis, PortState, PowerSource, Quantity
from portdraw.observation.unit_observation import UnitObservation
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.powerflow.two_legs import feeder_w, standby_feeder_w

Heard = Callable[[str], UnitObservation | None]


def leg_signs(site: Site, tree: Tree, unit: str, outputs_w: float | None, heard: Heard, oldest_s: float) -> LegSigns:
    """Return the signs of a unit. `outputs_w` [W] is its whole draw, None when not wholly known.

    `heard` gives a unit's fresh answer, None where there is none; records read before `oldest_s` [s since the
    epoch] are stale.
    """
    spec = site.units[unit]
    own = heard(unit)
    feed = _feed_port(tree, unit, heard, oldest_s)
    ac_source = list_text(tuple(dict.fromkeys(supply.source for supply in spec.supplies)))
    if feed is None:
        return LegSigns(
            ac_source=ac_source or "no declared source",
            feed_source="",
            heard=own is not None,
            feeder_heard=False,
            has_feed=False,
        )
    feeder, key = feed
    seen = heard(feeder)
    draw = None if seen is None else seen.get(key, Quantity.PORT_DRAW)
    measured = draw is not None and draw.basis in (Basis.MEASURED, Basis.LEARNED) and draw.read_s >= oldest_s
    return LegSigns(
        ac_source=ac_source,
        feed_source=f"{feeder} port {key}",
        heard=own is not None,
        feeder_heard=seen is not None,
        has_ac=bool(spec.supplies),
        prefers="unknown" if spec.fed is None else spec.fed.prefers,
        spare_feed="unknown" if spec.fed is None else spec.fed.spare_feed,
        own_word=_word(own, None, Quantity.UNIT_OWN_SOURCE, oldest_s),
        feeder_word=_word(seen, key, Quantity.PORT_PD_SOURCE, oldest_s),
        port_state=port_state(seen, key, oldest_s),
        port_w=draw.number() if measured and draw is not None else None,
        standby_w=standby_feeder_w(site, tree, unit),
        idle_w=feeder_w(site, tree, unit, 0.0),
        full_w=None if outputs_w is None else feeder_w(site, tree, unit, outputs_w),
    )


def _feed_port(tree: Tree, unit: str, heard: Heard, oldest_s: float) -> tuple[str, str] | None:
    """Return the feeder port to look at: of several the one that delivers most, else the first."""

    def weight(feed: tuple[str, str]) -> tuple[bool, float]:
        seen = heard(feed[0])
        delivers = port_state(seen, feed[1], oldest_s) is PortState.DELIVERING
        return delivers, (0.0 if seen is None else seen.number(feed[1], Quantity.PORT_DRAW) or 0.0)

    feeds = tree.feeds_of(unit)
    return max(feeds, key=weight) if feeds else None  # max takes the first of equals


def _word(
    observation: UnitObservation | None, port: str | None, quantity: Quantity, oldest_s: float
) -> PowerSource | None:
    record = None if observation is None else observation.get(port, quantity)
    if record is None or record.value is None or record.read_s < oldest_s:
        return None
    try:
        word = PowerSource(str(record.value))
    except ValueError:
        return None
    return None if word is PowerSource.UNKNOWN else word
