"""The running agent: start, cycle until told to stop, stop in bounded time, say what was left undone."""

from __future__ import annotations

import asyncio
import gc
import logging
from collections.abc import Callable
from importlib.metadata import PackageNotFoundError, version

from apscheduler.schedulers.asyncio import AsyncIOScheduler
from apscheduler.triggers.cron import CronTrigger

from portdraw.history.store import History, HistoryError
from portdraw.judgement.alarm_book import AlarmChange, Key
from portdraw.judgement.assessment import SiteAssessment
from portdraw.observation.unit_observation import UnitObservation
from portdraw.reading.notification_listener import Hint, NotificationListener
from portdraw.reading.pysnmp_engine import PysnmpEngine
from portdraw.reporting.current import AgentHealth
from portdraw.reporting.http.alarm_desk import Deed, Handled, Order
from portdraw.reporting.http.app import build_app
from portdraw.reporting.metrics import site_registry
from portdraw.service.clock import Clock
from portdraw.service.clock_watch import ClockWatch
from portdraw.service.cycle import Cycle, Drift, Hand
from portdraw.service.days import close_days, drift_of, local_day, night_draws
from portdraw.service.delivery import Delivery, queued
from portdraw.service.hint_listener import hint_listener
from portdraw.service.poll_watch import PollWatch
from portdraw.service.poller import Poller
from portdraw.service.site_catalogue import site_catalogue
from portdraw.service.tls_files import tls_files
from portdraw.service.web_access import web_rules
from portdraw.service.web_server import WebServer, bind
from portdraw.service.wiring import Parts, unit_readers

log = logging.getLogger("portdraw")
STOP_WITHIN_WALL_S = 5.0
GARBAGE_AFTER = 20_000  # new objects; at the language's own 700 the searches took three times as long in all
EARLY_AGAIN_WALL_S = 2.0  # cycles that hints bring about come no more often, nor take more than a tenth of the time
DAILY_AGAIN_S = 600.0  # how long after a failure the daily work is tried anew


def agent_version() -> str:
    """Return the installed version, "unknown" in a tree that was never installed."""
    try:
        return version("portdraw")
    except PackageNotFoundError:
        return "unknown"


class Agent:
    """One site's agent. Make it, `await start()`, `await run_until(stop_event)`; it is the Source of all pages."""

    def __init__(
        self,
        parts: Parts,
        history: History,
        clock: Clock,
        on_change: Callable[[AlarmChange], None] | None = None,
        serve: bool = True,
    ) -> None:
        settings = parts.loaded.settings
        self._parts = parts
        self._history = history
        self._clock = clock
        self._clock_watch = ClockWatch(clock)
        self._every_s = settings.poll.every_s
        self._on_change = on_change
        self._started_s = clock.now_s()
        self._last_cycle_s: float | None = None
        self._last_cycle_took_s: float | None = None
        self._cycle = Cycle(parts.site, self._every_s, history, queued(parts.destinations), parts.emulated)
        self._engine = PysnmpEngine(parts.accesses)
        self._poller = Poller(
            list(unit_readers(parts.site, self._engine, clock, site_catalogue(parts.loaded))),
            clock,
            self._every_s,
            settings.poll.slow_every_s,
            settings.poll.deadline_s,
            settings.poll.in_flight,
            self._take,
            self._take_extra,
        )
        self._hinted: set[str] = set()  # units that were hinted at and not read since
        self._early = asyncio.Event()
        self._listener: NotificationListener | None = None
        self._delivery = Delivery(history, parts.destinations, clock, self.assessment)
        self._scheduler = AsyncIOScheduler(timezone=parts.site.site.timezone)
        self._readable = sum(1 for unit in parts.site.units.values() if unit.readable)
        self._poll_watch = PollWatch(self._every_s, self._readable)
        self._first_round = asyncio.Event()
        self._day_done = ""
        self._daily_due_s = 0.0
        self._daily_error = ""
        self._fault = ""
        self._web = self._make_web() if serve else None
        if serve:
            self._listener = hint_listener(
                parts.loaded, parts.site, parts.accesses, site_catalogue(parts.loaded), self._take_hint
            )

    # Source

    def assessment(self) -> SiteAssessment | None:
        """Return the newest assessment."""
        return self._cycle.current

    def health(self) -> AgentHealth:
        """Return how the agent itself is doing."""
        now_s = self._clock.now_s()
        error = self._cycle.history_words or self._daily_error
        why_not_ready = self._fault or ("no cycle has ended yet" if self._cycle.current is None else "")
        return AgentHealth(
            started_s=self._started_s,
            last_cycle_s=self._last_cycle_s,
            last_cycle_took_s=self._last_cycle_took_s,
            cycles=0 if self._cycle.current is None else self._cycle.current.cycle,
            overdue_units=self._poller.overdue(now_s),
            history_ok=not error,
            history_error=error,
            receivers=self._delivery.health(),
            version=agent_version(),
            ready=not why_not_ready,
            why_not_ready=why_not_ready,
            late_after_s=max(60.0, 4 * self._every_s),
            clock_note=self._clock_watch.note,
            busy_note=self._poll_watch.words(self._clock.scale),
            emulated=self._parts.emulated,
            polling={name: (load.requests, load.seconds) for name, load in self._poller.load.items()},
            notifications=None if self._listener is None else self._listener.counts(),
        )

    def now_s(self) -> float:
        """Return the site clock."""
        return self._clock.now_s()

    # AlarmDesk

    def knows(self, key: Key) -> bool:
        """Say whether there is such an alarm."""
        return self._cycle.knows(key)

    def carry_out(self, order: Order) -> Handled | None:
        """Do to an alarm what a person ordered; None where it is not in a state for it."""
        now_s = self._clock.now_s()
        hand = Hand(order.owner, order.by, order.reason, now_s + order.for_s if order.for_s else None)
        deeds = {
            Deed.ACKNOWLEDGE: self._cycle.acknowledge,
            Deed.SHELVE: self._cycle.shelve,
            Deed.UNSHELVE: self._cycle.take_back,
        }
        change = deeds[order.deed](order.key, hand, now_s)
        if change is not None and self._on_change is not None:
            self._on_change(change)
        return None if change is None else Handled(change, not self._cycle.history_error)

    @property
    def address(self) -> str:
        """Where the pages are."""
        return "" if self._web is None else self._web.address

    @property
    def open_connections(self) -> int:
        """How many web connections are open."""
        return 0 if self._web is None else self._web.open_connections

    # life

    async def run(self, stop: asyncio.Event) -> list[str]:
        """Run until `stop` is set; return sentences about what was left undone at the end."""
        thresholds = gc.get_threshold()
        try:
            self._start()
            if self._listener is not None:
                await self._listener.start()
            cycling = asyncio.create_task(self._cycle_forever(), name="cycle")
            await stop.wait()
            cycling.cancel()
            return await self._stop()
        finally:
            gc.unfreeze()
            gc.set_threshold(*thresholds)

    async def once(self) -> SiteAssessment:
        """Read every unit once, judge once, and let go of everything."""
        try:
            await self._poller.poll_all_once()
            await self._judge()
            assert self._cycle.current is not None
            return self._cycle.current
        finally:
            await self._engine.close()

    def _make_web(self) -> WebServer:
        loaded = self._parts.loaded
        listen, rules = loaded.settings.listen, web_rules(loaded)
        app = build_app(self, site_registry(self), rules, self)
        sock = bind(listen.host, listen.port, beyond_loopback=not rules.access.is_open)
        return WebServer(app, sock, tls_files(loaded), rules.behind_proxy)

    def _start(self) -> None:
        if self._web is not None:
            self._web.start()
        self._poller.start()
        self._delivery.start()
        if self._clock.scale == 1.0:
            zone = self._parts.site.site.timezone
            # in a thread of the scheduler's; however late the machine wakes up, yesterday is still closed
            self._scheduler.add_job(self.daily, CronTrigger(hour=0, minute=5, timezone=zone), misfire_grace_time=None)
            self._scheduler.start()

    async def _cycle_forever(self) -> None:
        if self._readable:
            try:
                async with asyncio.timeout(self._parts.loaded.settings.poll.deadline_s + 3):
                    await self._first_round.wait()
            except TimeoutError:
                log.warning("not every unit has answered or timed out in the first round; judging what is there")
        due_s = self._clock.now_s()
        while True:
            await self._judge_safely()
            if not gc.get_freeze_count():
                # plan, library and templates stay for good: a search for garbage in all of them would hold up polls
                gc.collect()
                gc.freeze()
                gc.set_threshold(GARBAGE_AFTER, *gc.get_threshold()[1:])
            due_s += self._every_s
            now_s = self._clock.now_s()
            if due_s < now_s or due_s > now_s + 2 * self._every_s:  # overrun, or the machine's clock was set
                due_s = now_s + self._every_s
            await self._wait_for_cycle(self._clock.wall_s(due_s - now_s))

    async def _wait_for_cycle(self, left_wall_s: float) -> None:
        """Wait for the next cycle's time; judge before that what hints have brought, at a bounded rate."""
        loop = asyncio.get_running_loop()
        due_wall_s = loop.time() + left_wall_s
        while True:
            rest_wall_s = max(EARLY_AGAIN_WALL_S, 10 * (self._last_cycle_took_s or 0.0))
            await asyncio.sleep(max(0.0, min(rest_wall_s, due_wall_s - loop.time())))
            try:
                async with asyncio.timeout_at(due_wall_s):
                    await self._early.wait()
            except TimeoutError:
                return
            self._early.clear()
            await self._judge_safely()

    async def _judge_safely(self) -> None:
        """Judge; a fault of ours in one cycle must not end the watch, but nobody may take old news for fresh."""
        try:
            await self._judge()
            self._fault = ""
        except Exception as error:
            log.exception("a cycle failed; the next one is tried")
            kind = type(error).__name__
            self._fault = f"the newest cycle failed inside the agent ({kind}); what is shown is of before"

    async def _judge(self) -> None:
        """Do one cycle. On a large site the study of failures runs in a thread, so that polls go on meanwhile."""
        began_s = asyncio.get_running_loop().time()
        if self._clock_watch.look():
            log.warning("%s", self._clock_watch.note)
        now_s = self._clock.now_s()
        assessment = self._cycle.look(now_s, self._trends if self._is_day_new(now_s) else None)
        if self._cycle.study_is_long:
            study = await asyncio.to_thread(self._cycle.study, assessment)
        else:
            study = self._cycle.study(assessment)
        changes = self._cycle.conclude(assessment, study)
        self._last_cycle_s = now_s
        self._last_cycle_took_s = asyncio.get_running_loop().time() - began_s
        if self._on_change is not None:
            for change in changes:
                self._on_change(change)

    def daily(self) -> None:
        """Close finished days and work out trends anew. A failure is told in the health, never raised."""
        if self._cycle.current is not None:
            trends = self._trends(self._cycle.current)
            self._cycle.drift = self._cycle.drift if trends is None else trends

    def _is_day_new(self, now_s: float) -> bool:
        """Say whether the daily work is due in this cycle: at the start, and later where no scheduler runs."""
        today = local_day(now_s, self._parts.site.site.timezone)
        begins = not self._day_done or (today != self._day_done and not self._scheduler.running)
        return begins and now_s >= self._daily_due_s

    def _trends(self, assessment: SiteAssessment) -> Drift | None:
        """Return today's drift; None where the history can't be used."""
        now_s = self._clock.now_s()
        try:
            close_days(self._history, now_s)
            found = drift_of(self._history, assessment, now_s)
            self._cycle.tonight = night_draws(self._history, self._parts.site, now_s)
        except HistoryError as error:
            self._daily_error = str(error)
            self._daily_due_s = now_s + DAILY_AGAIN_S
            log.error("%s; trends are as of the last good day", error)
            return None
        self._daily_error = ""
        self._day_done = local_day(now_s, assessment.timezone)
        return found

    def _take(self, observation: UnitObservation) -> None:
        self._cycle.take(observation)
        self._poll_watch.take(observation)
        if observation.unit in self._hinted:
            self._hinted.discard(observation.unit)
            self._early.set()
        if self._cycle.heard_units >= self._readable:
            self._first_round.set()

    def _take_extra(self, observation: UnitObservation) -> None:
        """Take a reading that a hint brought out of turn, and judge it soon."""
        self._hinted.discard(observation.unit)
        self._cycle.take(observation, extra=True)
        self._early.set()

    def _take_hint(self, hint: Hint) -> None:
        if hint.reads == "nothing":
            return
        self._hinted.update(hint.units)
        for name in hint.units:
            self._poller.hint(name, slow=hint.reads == "slow")

    async def _stop(self) -> list[str]:
        left: list[str] = []
        if self._listener is not None:
            await self._listener.close()
        if self._scheduler.running:
            self._scheduler.shutdown(wait=False)
        cut_off = await self._poller.stop(STOP_WITHIN_WALL_S / 4)
        if cut_off:
            left.append(f"reading was cut off for {', '.join(cut_off)}")
        try:
            await self._judge()
        except Exception:
            log.exception("the last cycle could not be kept")
            left.append("the readings since the last cycle were not kept")
        if self._cycle.history_words:
            left.append(self._cycle.history_words)
        waiting = await self._delivery.stop(STOP_WITHIN_WALL_S / 4)
        if waiting:
            left.append(f"{waiting} messages to receivers wait in the history and go out after the next start")
        if self._web is not None and not await self._web.stop(STOP_WITHIN_WALL_S / 2):
            left.append("open web connections were cut")
        await self._engine.close()
        return left
