"""All that is known of a unit's legs at one moment, before anything is concluded from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from portdraw.observation.record import PortState, PowerSource

Prefers = Literal["ac", "feed", "higher-voltage", "shared", "unknown"]
SpareFeed = Literal["held", "hidden", "unknown"]


@dataclass(frozen=True)
class FeedFacts:
    """One feed of a unit: the feeder's port, as its feeder tells it. Watts [W] at the PSE output; None is unknown.

    `name` is that of the unit's input, empty where it has one feed. `standby_w`, `idle_w` and `full_w` are what the
    port would give on standby, for the unit alone, and for the unit with its outputs of now. `refused_s` is when the
    feeder last counted a refused request [s since the epoch], `link_up` the port's data link.
    """

    source: str
    name: str = ""
    heard: bool = False
    state: PortState | None = None
    watts: float | None = None
    standby_w: float | None = None
    idle_w: float | None = None
    full_w: float | None = None
    read_s: float | None = None
    refused_s: float | None = None
    link_up: bool | None = None


@dataclass(frozen=True)
class LegSigns:
    """All that is known of a unit's legs at one moment. Watts [W] are at the feeder's PSE output; None is unknown.

    `standby_w`, `idle_w` and `full_w` as in `FeedFacts`, of all feeds together; `feeds` has each where there are
    several. `heard` and `feeder_heard`: fresh answers of the unit and of its feeder. `ac_supply`: what the unit's own
    supply object says. `budget_fell`: the budget it reports [W] is the one it has on its feed, and not that on AC.
    Times in s since the epoch: `time_s` now, `own_read_s`, `port_read_s`, `heard_word_read_s` of the readings,
    `alive_s` of the last answer of any kind, a refusal too. `every_s` is the poll interval [s].
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
    ac_supply: bool | None = None
    budget_fell: float | None = None
    feeds: tuple[FeedFacts, ...] = ()
    own_read_s: float | None = None
    heard_word_read_s: float | None = None
    port_read_s: float | None = None
    alive_s: float | None = None
    time_s: float = 0.0
    every_s: float = 30.0
