"""Things that can go away in the emulated site, one kind a class; each can come back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from portdraw.plan.site import Site


@dataclass(frozen=True)
class CircuitLost:
    """A breaker opens: all behind it is without AC."""

    circuit: str


@dataclass(frozen=True)
class PanelLost:
    """A panel is dead, whatever feeds it."""

    panel: str


@dataclass(frozen=True)
class IncomerLost:
    """The utility's supply is gone at one incomer."""

    incomer: str


@dataclass(frozen=True)
class UpsInputLost:
    """A UPS has no input any more: it lives from its battery."""

    ups: str


@dataclass(frozen=True)
class UpsFlat:
    """A UPS has no input, and its battery is empty."""

    ups: str


@dataclass(frozen=True)
class ModuleLost:
    """One supply module of a unit gives nothing; counted from 0, as they stand in the site file."""

    unit: str
    module: int


@dataclass(frozen=True)
class FeedCableLost:
    """The cable between a feeder's port and the unit that it feeds is open. Unit and port are the feeder's."""

    unit: str
    port: str


@dataclass(frozen=True)
class FeederPortLost:
    """A port that feeds a unit gives no power any more."""

    unit: str
    port: str


@dataclass(frozen=True)
class ControllerRestart:
    """The PoE part of a unit starts anew: all of its ports go off and ask again. It needs no restoring."""

    unit: str


@dataclass(frozen=True)
class UnitLost:
    """A unit is dead, with all that hangs on it."""

    unit: str


Failure = (
    CircuitLost
    | PanelLost
    | IncomerLost
    | UpsInputLost
    | UpsFlat
    | ModuleLost
    | FeedCableLost
    | FeederPortLost
    | ControllerRestart
    | UnitLost
)


def every_single_failure(site: Site) -> Iterator[Failure]:
    """Yield all that can fail alone in a site, in the order of its file."""
    yield from map(CircuitLost, site.circuits)
    yield from map(PanelLost, site.panels)
    yield from map(IncomerLost, site.incomers)
    for ups in site.ups:
        yield UpsInputLost(ups)
        yield UpsFlat(ups)
    for name, unit in site.units.items():
        for module in range(len(unit.supplies)):
            yield ModuleLost(name, module)
        for key, port in unit.ports.items():
            if port.feeds is not None:
                yield FeedCableLost(name, key)
                yield FeederPortLost(name, key)
        if unit.pse is not None:
            yield ControllerRestart(name)
        yield UnitLost(name)


def all_unbacked_ac(site: Site) -> tuple[CircuitLost, ...]:
    """Return the loss of every circuit that no generator stands above, at its panel or further up."""
    backed = {panel for generator in site.generators.values() for panel in generator.feeds}

    def is_backed(panel: str) -> bool:
        seen: set[str] = set()
        while panel in site.panels and panel not in seen:
            if panel in backed:
                return True
            seen.add(panel)
            panel = site.panels[panel].fed_from
        return False

    return tuple(CircuitLost(name) for name, circuit in site.circuits.items() if not is_backed(circuit.panel))
