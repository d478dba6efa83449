"""Who feeds whom: the power tree of a site, by unit names.

Works on every site that could be typed, also on one with cycles or undeclared names: those are findings of
`structure`, not reasons to stop.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Set

from portdraw.plan.ports import sort_key
from portdraw.plan.site import Site


class Tree:
    """The power tree of one site, worked out once: a site never changes."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._feeds: dict[str, list[tuple[str, str]]] = {name: [] for name in site.units}
        self._children: dict[str, list[str]] = {name: [] for name in site.units}
        for name, unit in site.units.items():
            for key in sorted(unit.ports, key=sort_key):
                below = unit.ports[key].feeds_unit
                if below is None or below not in self._feeds:
                    continue
                self._feeds[below].append((name, key))
                if below not in self._children[name]:
                    self._children[name].append(below)
        self._sorted_feeds = {name: self._sorted(feeds) for name, feeds in self._feeds.items()}
        self._circuits = {name: self._find_circuits(name) for name in site.units}
        self._units_on: dict[str, list[str]] = {}
        for name, circuits in self._circuits.items():
            for circuit in circuits:
                self._units_on.setdefault(circuit, []).append(name)
        self._order = self._leaves_first()
        self._tiers = self._count_tiers()

    def feeds_of(self, unit: str) -> tuple[tuple[str, str], ...]:
        """Return (feeder unit, port key) of every feed of a unit, in the order of its inputs' names."""
        return self._sorted_feeds.get(unit, ())

    def feeder_of(self, unit: str) -> tuple[str, str] | None:
        """Return (feeder unit, port key) of a unit's first feed, None for a unit that no other feeds."""
        feeds = self.feeds_of(unit)
        return feeds[0] if feeds else None

    def children(self, unit: str) -> tuple[str, ...]:
        """Return the units that a unit feeds, in the order of its ports."""
        return tuple(self._children.get(unit, ()))

    def order(self) -> tuple[str, ...]:
        """Return all units, each after every unit that it feeds; units in a cycle come last."""
        return self._order

    def tier(self, unit: str) -> int:
        """Return 1 for a unit that no other feeds, 2 for one below it, and so on; 0 in or below a cycle."""
        return self._tiers.get(unit, 0)

    def cycles(self) -> tuple[tuple[str, ...], ...]:
        """Return every ring of units that feed each other, beginning with its first unit in the file."""
        found: list[tuple[str, ...]] = []
        seen: set[str] = set()
        for start in self._site.units:
            if start in seen or start in self._tiers:
                continue
            ring = self._ring_through(start)
            if ring:
                found.append(ring)
                seen.update(ring)
        return tuple(found)

    def in_ring(self, unit: str) -> bool:
        """Say whether a unit feeds itself, directly or through others; False for one merely below a ring."""
        return self.tier(unit) == 0 and bool(self._ring_through(unit))

    def circuits_of(self, unit: str) -> tuple[str, ...]:
        """Return the AC circuits above a unit's supplies, through a UPS too, each once."""
        return self._circuits[unit]

    def units_on(self, circuit: str) -> tuple[str, ...]:
        """Return the units with a supply below a circuit, through a UPS too, in the order of the file."""
        return tuple(self._units_on.get(circuit, ()))

    def _sorted(self, feeds: list[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
        return tuple(sorted(feeds, key=lambda feed: self._site.units[feed[0]].ports[feed[1]].feeds or ""))

    def _find_circuits(self, unit: str) -> tuple[str, ...]:
        found: dict[str, None] = {}
        for supply in self._site.units[unit].supplies:
            ups = self._site.ups.get(supply.source)
            circuit = supply.source if ups is None else ups.input
            if circuit in self._site.circuits:
                found.setdefault(circuit)
        return tuple(found)

    def _leaves_first(self) -> tuple[str, ...]:
        waiting = {name: len(below) for name, below in self._children.items()}
        ready = deque(name for name, count in waiting.items() if count == 0)
        order: list[str] = []
        while ready:
            name = ready.popleft()
            order.append(name)
            for feeder in dict.fromkeys(feeder for feeder, _ in self._feeds[name]):
                waiting[feeder] -= 1
                if waiting[feeder] == 0:
                    ready.append(feeder)
        placed = set(order)
        return (*order, *(name for name in self._site.units if name not in placed))

    def _count_tiers(self) -> dict[str, int]:
        tiers: dict[str, int] = {}
        waiting = {name: len({feeder for feeder, _ in feeds}) for name, feeds in self._feeds.items()}
        ready = deque(name for name, count in waiting.items() if count == 0)
        while ready:
            name = ready.popleft()
            tiers[name] = 1 + max((tiers[feeder] for feeder, _ in self._feeds[name]), default=0)
            for below in self._children[name]:
                waiting[below] -= 1
                if waiting[below] == 0:
                    ready.append(below)
        return tiers

    def _ring_through(self, start: str) -> tuple[str, ...]:
        """Return the shortest ring of feeds through a unit, empty where there is none."""
        came_from: dict[str, str] = {}
        queue = deque([start])
        while queue:
            name = queue.popleft()
            for below in self._children[name]:
                if below == start:
                    ring = [name]
                    while ring[-1] != start:
                        ring.append(came_from[ring[-1]])
                    return tuple(reversed(ring))
                if below not in came_from:
                    came_from[below] = name
                    queue.append(below)
        return ()


def reach(start: Set[str], step: Callable[[str], Iterable[str]]) -> set[str]:
    """Everything that repeated steps lead to, without the start unless a ring leads back to it."""
    found: set[str] = set()
    waiting = list(start)
    while waiting:
        for name in step(waiting.pop()):
            if name not in found:
                found.add(name)
                waiting.append(name)
    return found
