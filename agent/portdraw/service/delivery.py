"""Delivers to each receiver by itself: messages from the outbox, with retries that outlive a restart, or states.

A message is marked as delivered after the receiver took it, so that a crash in between sends it once more, never
not at all; its `id` is then the same.
"""

from __future__ import annotations

import asyncio
import logging
import math
from collections.abc import Callable, Mapping

from portdraw.history.outbox import OutboxItem
from portdraw.history.store import History, HistoryError
from portdraw.judgement.assessment import SiteAssessment
from portdraw.reporting.current import ReceiverHealth
from portdraw.reporting.notify.alertmanager import Alertmanager
from portdraw.reporting.notify.attempt import LONGEST_WAIT_S, Notifier, backoff_s
from portdraw.service.alert_follower import AlertFollower
from portdraw.service.clock import Clock

log = logging.getLogger("portdraw.delivery")
LOOK_EVERY_WALL_S = 1.0
TIMEOUT_S = 5.0
AT_ONCE = 20  # messages of one look
# A message that was refused this often, some twenty minutes long, no longer holds up those behind it; it is tried
# on. Common practice, no source.
MAY_BE_PASSED_AFTER = 8


def queued(receivers: Mapping[str, Notifier]) -> tuple[str, ...]:
    """Return the names of those receivers that get messages from the outbox; an Alertmanager follows states."""
    return tuple(name for name, notifier in receivers.items() if not isinstance(notifier, Alertmanager))


class Delivery:
    """One task a receiver, so that a dead receiver delays nobody else."""

    def __init__(
        self,
        history: History,
        receivers: Mapping[str, Notifier],
        clock: Clock,
        assessment: Callable[[], SiteAssessment | None] = lambda: None,
    ) -> None:
        self._history = history
        self._receivers = receivers
        self._clock = clock
        self._assessment = assessment
        self._followers = {
            name: AlertFollower(name, notifier, history, clock)
            for name, notifier in receivers.items()
            if isinstance(notifier, Alertmanager)
        }
        self._tasks: list[asyncio.Task[None]] = []
        self._health = {name: ReceiverHealth(name, True, "") for name in receivers}

    def health(self) -> tuple[ReceiverHealth, ...]:
        """Return how the last delivery to each receiver went."""
        return tuple(self._health.values())

    def start(self) -> None:
        """Start delivering; messages for receivers that are no more are dropped, and told once."""
        self._drop_left_over()
        self._tasks = [asyncio.create_task(self._run(name), name=f"deliver {name}") for name in self._receivers]

    async def stop(self, within_s: float) -> int:
        """Deliver what is due for at most `within_s` wall seconds, then stop; return how many messages wait."""
        for task in self._tasks:
            task.cancel()
        if self._tasks:
            await asyncio.wait(self._tasks, timeout=within_s)
        try:
            async with asyncio.timeout(within_s):
                await asyncio.gather(*(self._look(name) for name in self._receivers))
        except TimeoutError:
            pass
        try:
            return self._history.outbox.waiting()
        except HistoryError:
            return 0

    async def _run(self, name: str) -> None:
        while True:
            await self._look(name)
            await asyncio.sleep(LOOK_EVERY_WALL_S)

    async def _look(self, name: str) -> None:
        """Send what is due; whatever goes wrong is told in the health and ends nothing."""
        try:
            if name in self._followers:
                await self._follow(name)
            else:
                await self._round(name)
        except HistoryError as error:
            self._health[name] = ReceiverHealth(name, False, str(error))
        except Exception as error:
            log.exception("delivering to %s failed", name)
            kind = type(error).__name__
            self._health[name] = ReceiverHealth(name, False, f"delivering failed inside the agent ({kind})")

    async def _follow(self, name: str) -> None:
        assessment = self._assessment()
        if assessment is None:
            return  # right after the start nobody knows yet what is up
        follower = self._followers[name]
        health = await follower.round(assessment, TIMEOUT_S, backoff_s(follower.failures + 1))
        if health is not None:
            self._health[name] = health

    async def _round(self, name: str) -> None:
        """Send in the order in which messages were queued: one that has to wait holds up all behind it."""
        for item in self._history.outbox.due(math.inf, name, limit=AT_ONCE):
            if not (self._is_due(item) and await self._send(name, item)) and item.attempts < MAY_BE_PASSED_AFTER:
                break

    def _is_due(self, item: OutboxItem) -> bool:
        wait_s = item.due_s - self._clock.now_s()
        # longer than any back-off: the machine's clock was set back meanwhile
        return wait_s <= 0 or wait_s > LONGEST_WAIT_S * self._clock.scale

    async def _send(self, name: str, item: OutboxItem) -> bool:
        result = await self._receivers[name].send(item.payload, item.attempts, TIMEOUT_S)
        now_s = self._clock.now_s()
        if result.ok:
            self._history.outbox.done(item.number, now_s)
            self._health[name] = ReceiverHealth(name, True, "")
            return True
        wait_s = backoff_s(item.attempts + 1) * self._clock.scale
        self._history.outbox.failed(item.number, result.error, now_s + wait_s)
        if self._health[name].ok:
            log.warning("receiver %s: %s; the message waits and is tried again", name, result.error)
        self._health[name] = ReceiverHealth(name, False, result.error)
        return False

    def _drop_left_over(self) -> None:
        try:
            dropped = self._history.outbox.drop_others(queued(self._receivers))
        except HistoryError as error:
            log.error("%s; messages for receivers that are no more are still there", error)
            return
        for name, count in dropped.items():
            log.warning("%d messages for %s were dropped: the settings have no such receiver any more", count, name)
