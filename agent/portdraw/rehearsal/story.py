"""The story of the rehearsal: what happens, when, and who tells what. Read it as a screenplay.

Minutes are site time from the start; days before the start are negative. Scenes about a unit or circuit that the
site does not have are left out, so that the same story can play on a smaller site.
"""

from __future__ import annotations

from dataclasses import dataclass

from portdraw.plan.site import Site
from portdraw.rehearsal.load import Creep, Load, visitor

MINUTE_S = 60.0
DAY_S = 86_400.0


@dataclass(frozen=True)
class Trip:
    """A breaker opens."""

    circuit: str


@dataclass(frozen=True)
class Restore:
    """A breaker is closed again by its keeper."""

    circuit: str


@dataclass(frozen=True)
class Plug:
    """Somebody plugs a device into a spare port."""

    unit: str
    port: str
    device: Load


@dataclass(frozen=True)
class Unplug:
    """Somebody pulls what hangs on a port."""

    unit: str
    port: str


Event = Trip | Restore | Plug | Unplug


@dataclass(frozen=True)
class Scene:
    """One event: seconds from the start, and how a person would tell it."""

    after_s: float
    event: Event
    told: str


@dataclass(frozen=True)
class Wear:
    """A device whose watts creep up, day by day; days before the start when it began."""

    unit: str
    port: str
    began_days_before: float
    w_per_day: float
    told: str


@dataclass(frozen=True)
class Voice:
    """How a unit's agent tells watts and its power source.

    watts: "802.3.1", "group.port", "ifIndex" or "totals"; source: "old root", "802.3.1" or "silent".
    """

    watts: str = "802.3.1"
    source: str = "802.3.1"


UNPLANNED_HEATER = visitor("fan heater controller", 3, 9.0)
UNPLANNED_AP = visitor("borrowed access point", 4, 13.0)

SCENES: tuple[Scene, ...] = (
    Scene(
        4 * MINUTE_S, Trip("pier-7"), "breaker 7 trips: north-pier and breakwater lose local AC, the feeds take over"
    ),
    Scene(
        7 * MINUTE_S,
        Plug("exit-lanes", "6", UNPLANNED_HEATER),
        "a device that nobody planned appears at exit-lanes port 6",
    ),
    Scene(
        10 * MINUTE_S,
        Plug("breakwater", "5", UNPLANNED_AP),
        "a class 4 device at breakwater port 5: the budget denies it",
    ),
    Scene(13 * MINUTE_S, Unplug("breakwater", "5"), "the refused device is taken away again"),
    Scene(14 * MINUTE_S, Restore("pier-7"), "the harbour electrician closes breaker 7: local AC is back"),
)
PAST_SCENES: tuple[Scene, ...] = (
    Scene(-5.3 * DAY_S, Trip("gate-5"), "breaker 5 trips in the week before: both lane units run on their feeds"),
    Scene(-5.3 * DAY_S + 35 * MINUTE_S, Restore("gate-5"), "breaker 5 is closed again after 35 minutes"),
)
WEARS: tuple[Wear, ...] = (Wear("berth-1", "1", 14.0, 0.35, "the heater of the berth-1 ptz draws more every day"),)
VOICES: dict[str, Voice] = {
    "core": Voice(watts="802.3.1"),
    "north-pier": Voice(watts="802.3.1", source="old root"),
    "breakwater": Voice(watts="802.3.1", source="silent"),
    "berth-1": Voice(watts="group.port", source="802.3.1"),
    "berth-2": Voice(watts="group.port", source="old root"),
    "entry-lanes": Voice(watts="ifIndex", source="old root"),
    "exit-lanes": Voice(watts="802.3.1", source="802.3.1"),
    "ticket-hall": Voice(watts="ifIndex", source="802.3.1"),
    "waiting-room": Voice(watts="totals", source="802.3.1"),
}


def voice_of(unit: str) -> Voice:
    """Return how a unit's agent tells its figures; units without a line in the table use the standard columns."""
    return VOICES.get(unit, Voice())


@dataclass(frozen=True)
class Story:
    """The events and wears that play on a site."""

    scenes: tuple[Scene, ...] = ()
    wears: tuple[Wear, ...] = ()

    def on(self, site: Site) -> Story:
        """Return the part of the story that this site can play."""
        scenes = tuple(scene for scene in self.scenes if _can_play(site, scene.event))
        wears = tuple(
            wear for wear in self.wears if wear.unit in site.units and wear.port in site.units[wear.unit].ports
        )
        return Story(scenes, wears)

    def creeps(self, start_s: float) -> dict[tuple[str, str], Creep]:
        """Return the creeping watts by unit and port."""
        return {
            (wear.unit, wear.port): Creep(start_s - wear.began_days_before * DAY_S, wear.w_per_day)
            for wear in self.wears
        }


LIVE = Story(SCENES, WEARS)
PAST = Story(PAST_SCENES, WEARS)
STILL = Story()


def _can_play(site: Site, event: Event) -> bool:
    if isinstance(event, Trip | Restore):
        return event.circuit in site.circuits
    return event.unit in site.units
