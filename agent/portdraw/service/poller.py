"""Polls every readable unit on its own phase, at absolute due times; a hung unit costs nobody else anything."""

from __future__ import annotations

import asyncio
import logging
import math
import zlib
from collections.abc import Callable
from dataclasses import replace
from typing import Protocol

from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.service.clock import Clock
from portdraw.service.poll_load import PollLoad, after_poll

log = logging.getLogger("portdraw.poller")
GRACE_WALL_S = 2.0  # a reader that does not keep its own deadline is cut off this long after it
FIRST_SPREAD_WALL_S = 2.0
# Of hints, in wall time; common practice, no source. A burst settles before it is looked into; then a unit is read
# no more often than this on hints, and what seldom changes (a long reading) no more often than that.
HINT_SETTLES_WALL_S = 0.3
HINT_AGAIN_WALL_S = 3.0
SLOW_HINT_AGAIN_WALL_S = 15.0


class Pollable(Protocol):
    """A unit that can be read once."""

    name: str

    async def poll(self, deadline_s: float, slow: bool) -> UnitObservation:
        """Read the unit within `deadline_s` of wall time."""
        ...


def phase_s(name: str, every_s: float) -> float:
    """Return where in the interval a unit is due: spread by its name, the same after every restart."""
    return zlib.crc32(name.encode()) / 2**32 * every_s


def next_due_s(now_s: float, phase: float, every_s: float) -> float:
    """Return the first due time after `now_s` on a unit's own grid; overdue turns are skipped, never stacked."""
    return (math.floor((now_s - phase) / every_s) + 1) * every_s + phase


class Poller:
    """Runs one task a unit. `on_observation` is called in the event loop with each result.

    `on_extra` is called in its place with a reading that a hint brought, out of turn.
    """

    def __init__(
        self,
        units: list[Pollable],
        clock: Clock,
        every_s: float,
        slow_every_s: float,
        deadline_s: float,
        in_flight: int,
        on_observation: Callable[[UnitObservation], None],
        on_extra: Callable[[UnitObservation], None] | None = None,
    ) -> None:
        self._units = units
        self._clock = clock
        self._every_s = every_s
        self._slow_every_s = slow_every_s
        self._deadline_s = deadline_s
        self._gate = asyncio.Semaphore(in_flight)
        self._on_observation = on_observation
        self._on_extra = on_extra or on_observation
        self._hints = {unit.name: asyncio.Event() for unit in units}
        self._slow_hints: set[str] = set()
        self._began_wall_s: dict[str, float] = {}
        self._slow_wall_s: dict[str, float] = {}
        self._tasks: list[asyncio.Task[None]] = []
        self._slow_last_s: dict[str, float] = {}
        self._reading: set[str] = set()
        self.due_s: dict[str, float] = {}
        self.load = {unit.name: PollLoad() for unit in units}

    def start(self) -> None:
        """Start one task for each unit; the first round comes at once, spread over at most two wall seconds."""
        now_s = self._clock.now_s()
        # every name is there before anything runs: `overdue` is asked from other threads
        self.due_s = {unit.name: now_s for unit in self._units}
        self._tasks = [asyncio.create_task(self._run(unit), name=f"poll {unit.name}") for unit in self._units]

    def hint(self, name: str, slow: bool = False) -> None:
        """Read a unit soon, out of turn; `slow`: with what seldom changes. Hints that follow each other fold."""
        if name in self._hints:
            if slow:
                self._slow_hints.add(name)
            self._hints[name].set()

    async def poll_all_once(self) -> None:
        """Read every unit once, as many at a time as allowed."""
        await asyncio.gather(*(self._poll(unit) for unit in self._units))

    async def stop(self, within_s: float) -> list[str]:
        """End all tasks within `within_s` wall seconds; return the units whose read was cut off."""
        cut_off = sorted(self._reading)
        for task in self._tasks:
            task.cancel()
        if self._tasks:
            await asyncio.wait(self._tasks, timeout=within_s)
        return cut_off

    def overdue(self, now_s: float) -> tuple[str, ...]:
        """Return the units whose poll is more than one interval past its due time."""
        return tuple(sorted(name for name, due in self.due_s.items() if now_s > due + self._every_s))

    async def _run(self, unit: Pollable) -> None:
        phase = phase_s(unit.name, self._every_s)
        await asyncio.sleep(phase_s(unit.name, min(FIRST_SPREAD_WALL_S, self._clock.wall_s(self._every_s))))
        extra = False
        while True:
            await self._poll(unit, extra)
            now_s = self._clock.now_s()
            due_s = next_due_s(now_s, phase, self._every_s)
            due_s += (self.load[unit.name].stretch - 1) * self._every_s
            self.due_s[unit.name] = due_s
            extra = await self._hinted(unit.name, max(0.0, self._clock.wall_s(due_s - now_s)))

    async def _hinted(self, name: str, left_wall_s: float) -> bool:
        """Wait for the unit's turn; True where a hint makes it read before."""
        loop = asyncio.get_running_loop()
        turn_wall_s = loop.time() + left_wall_s
        try:
            async with asyncio.timeout_at(turn_wall_s):
                await self._hints[name].wait()
        except TimeoutError:
            return False
        again_wall_s = self._began_wall_s.get(name, -math.inf) + HINT_AGAIN_WALL_S
        due_wall_s = max(loop.time() + HINT_SETTLES_WALL_S, again_wall_s)
        await asyncio.sleep(max(0.0, min(due_wall_s, turn_wall_s) - loop.time()))
        return due_wall_s < turn_wall_s

    def _paced(self, observation: UnitObservation, slow: bool, took_s: float) -> UnitObservation:
        """Note what a reading took, and say on it where the unit is asked less often for that."""
        name = observation.unit
        every_wall_s = self._clock.wall_s(self._every_s)
        answered = observation.outcome in (Outcome.ANSWERED, Outcome.PARTIAL)
        load = after_poll(self.load[name], observation.requests, took_s, slow or not answered, every_wall_s)
        self.load[name] = load
        if load.stretch == 1:
            return observation
        said = f"{load.why}: it is asked every {load.stretch * self._every_s:g} s, not every {self._every_s:g} s"
        return replace(observation, pace_note=said)

    async def _poll(self, unit: Pollable, extra: bool = False) -> None:
        async with self._gate:
            self._hints[unit.name].clear()  # what is hinted at from here on may come too late for this reading
            began_s, began_wall_s = self._clock.now_s(), asyncio.get_running_loop().time()
            self._began_wall_s[unit.name] = began_wall_s
            last_slow_s = self._slow_last_s.get(unit.name)
            slow = last_slow_s is None or began_s - last_slow_s >= self._slow_every_s or began_s < last_slow_s
            if unit.name in self._slow_hints:
                last_wall_s = self._slow_wall_s.get(unit.name, -math.inf)
                slow = slow or began_wall_s - last_wall_s >= SLOW_HINT_AGAIN_WALL_S  # else it waits for a later one
            if slow:
                self._slow_hints.discard(unit.name)
                self._slow_wall_s[unit.name] = began_wall_s
            self._reading.add(unit.name)
            try:
                async with asyncio.timeout(self._deadline_s + GRACE_WALL_S):
                    observation = await unit.poll(self._deadline_s, slow)
            except TimeoutError:
                late = f"no whole answer within {self._deadline_s + GRACE_WALL_S:g} s; the read was cut off"
                observation = UnitObservation(unit.name, began_s, self._clock.now_s(), Outcome.SILENT, late, ())
            except Exception as error:  # a fault of ours in one unit must not end the watch over the others
                log.exception("reading %s failed", unit.name)
                observation = UnitObservation(
                    unit.name,
                    began_s,
                    self._clock.now_s(),
                    Outcome.GARBLED,
                    f"reading failed inside the agent ({type(error).__name__}); the log says where",
                    (),
                )
            finally:
                self._reading.discard(unit.name)
            observation = self._paced(observation, slow, asyncio.get_running_loop().time() - began_wall_s)
        if slow and observation.outcome in (Outcome.ANSWERED, Outcome.PARTIAL):
            # all units are read slowly in the first round; the second time comes early, by another time for each
            early_s = phase_s(f"{unit.name} slow", self._slow_every_s) if last_slow_s is None else 0.0
            self._slow_last_s[unit.name] = began_s - early_s
        (self._on_extra if extra else self._on_observation)(observation)
