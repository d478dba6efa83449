"""Parts of a site: units that hang together through feeds, and what a failure takes in each.

What fails in one part moves no leg and sheds no port in another: only the circuits and UPS that they share see both.
So a failure is worked out part by part, and what is the same in effect is worked out once: the last supply of a unit
and a circuit that carries nothing else there, a feed cable and its port, two circuits that reach different parts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from portdraw.powerflow.failure import Failure
from portdraw.powerflow.network import Network
from portdraw.powerflow.state import FeedId, Outage

Supplies = frozenset[tuple[int, int]]
_NO_SUPPLIES: Supplies = frozenset()


class PartFailure(NamedTuple):
    """What goes out in one part: supplies as (unit, place), feeds as (unit, place), units, controllers.

    `hit` are the units struck. `after` are the supplies that stay out once generators carry, None where none does;
    they carry after `start_s` seconds.
    """

    supplies: Supplies
    feeds: frozenset[FeedId]
    units: frozenset[int]
    controllers: frozenset[int]
    hit: frozenset[int]
    after: Supplies | None = None
    start_s: float = 0.0

    def outage(self) -> Outage:
        """What goes out, as an outage."""
        return Outage(supplies=self.supplies, feeds=self.feeds, units=self.units, controllers=self.controllers)

    def outage_after(self) -> Outage | None:
        """What stays out once generators carry, None where none does."""
        return None if self.after is None else Outage(supplies=self.after)


class Splitter:
    """Splits failures of one network; what each source carries in each part is kept."""

    def __init__(self, network: Network) -> None:
        self._network = network
        self._on: dict[str, Mapping[int, PartFailure]] = {}

    def parts(self, failure: Failure) -> Sequence[PartFailure] | None:
        """What a failure takes part by part; None where it takes what isn't kept by part."""
        lost, after = failure.outage, failure.after
        if _whole_site(lost) or (after is not None and _whole_site(after)):
            return None
        if lost.supplies or lost.feeds or lost.units or lost.controllers:
            parts = {self._network.part_of[at] for at in failure.hit}
            if lost.sources or after is not None or len(parts) > 1:
                return None
            return [PartFailure(lost.supplies, lost.feeds, lost.units, lost.controllers, failure.hit)]
        found = self._of_sources(lost.sources)
        if after is None:
            return list(found.values())
        stays = self._of_sources(after.sources)
        return [
            part._replace(after=stays[number].supplies if number in stays else _NO_SUPPLIES, start_s=failure.start_s)
            for number, part in found.items()
        ]

    def _of_sources(self, names: Iterable[str]) -> Mapping[int, PartFailure]:
        each = [self._of_source(name) for name in names]
        if len(each) == 1:
            return each[0]
        found: dict[int, PartFailure] = {}
        for parts in each:
            for number, part in parts.items():
                other = found.get(number)
                if other is None:
                    found[number] = part
                else:
                    found[number] = other._replace(supplies=other.supplies | part.supplies, hit=other.hit | part.hit)
        return found

    def _of_source(self, name: str) -> Mapping[int, PartFailure]:
        found = self._on.get(name)
        if found is None:
            by_part: dict[int, set[tuple[int, int]]] = {}
            for at, place in self._network.supplies_on.get(name, ()):
                by_part.setdefault(self._network.part_of[at], set()).add((at, place))
            found = self._on[name] = {number: _of_supplies(supplies) for number, supplies in by_part.items()}
        return found


def _of_supplies(supplies: Iterable[tuple[int, int]]) -> PartFailure:
    lost = frozenset(supplies)
    return PartFailure(lost, frozenset(), frozenset(), frozenset(), frozenset(at for at, _ in lost))


def _whole_site(outage: Outage) -> bool:
    """Whether an outage holds anything that is not kept by part."""
    ports = outage.off_ports or outage.unsure_ports or outage.newly_on
    return bool(ports or outage.unsure_feeds or outage.granted_pd_w)
