"""Faults of the machine under a whole agent on real SNMP: reading and alarming go on, and what is not kept is said.

A limit on file size stands in for the full disk (setrlimit(2): the write fails as it does at a quota), a connection
set to read-only for a file system that was mounted so (https://www.sqlite.org/pragma.html#pragma_query_only): both
work for any user on any machine.
"""

from __future__ import annotations

import asyncio
import resource
import shutil
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families
from tests.service.emulated_agent import run, until
from tests.service.slipway import EVERY_S, NOON_S, UNITS, changed, slipway, write_folder

from portdraw.history.store import FILE_NAME, History
from portdraw.judgement.alarm import AlarmKind, AlarmState
from portdraw.rehearsal.emulated_site import EmulatedSite
from portdraw.rehearsal.story import Restore, Scene, Story, Trip
from portdraw.service.agent import Agent
from portdraw.service.clock import Clock
from portdraw.service.settings import load_settings
from portdraw.service.wiring import gather, open_history

SCALE = 60.0  # a poll of 30 s comes twice a second
TRIPPED_S, CLOSED_S = 1e6, 2e6  # of the emulation's own time: the test decides when they come
STORY = Story((Scene(TRIPPED_S, Trip("slip-2"), "open"), Scene(CLOSED_S, Restore("slip-2"), "closed")))


class SetClock(Clock):
    """A clock that a test can set."""

    set_by_s = 0.0

    def now_s(self) -> float:
        return super().now_s() + self.set_by_s


class Watched:
    """An agent, its clock and history, and the breaker of the emulated slip."""

    def __init__(self, agent: Agent, history: History, clock: SetClock) -> None:
        self.agent, self.history, self.clock = agent, history, clock
        self.breaker_s = 0.0

    def trip(self) -> None:
        self.breaker_s = TRIPPED_S

    def close(self) -> None:
        self.breaker_s = CLOSED_S

    def ac_lost(self) -> AlarmState | None:
        """Return the state of the alarm of lost AC."""
        assessment = self.agent.assessment()
        alarms = () if assessment is None else assessment.alarms
        return next((alarm.state for alarm in alarms if alarm.kind is AlarmKind.LOCAL_AC_LOST), None)

    @property
    def cycles(self) -> int:
        return self.agent.health().cycles

    async def more_cycles(self, count: int) -> None:
        """Wait until so many more cycles have ended."""
        wanted = self.cycles + count
        await until(lambda: self.cycles >= wanted)

    async def get(self, path: str) -> httpx.Response:
        async with httpx.AsyncClient(trust_env=False, timeout=20) as client:
            return await client.get(f"{self.agent.address}{path}")

    async def metric(self, name: str) -> float:
        """Return the value of a metric without labels."""
        families = text_string_to_metric_families((await self.get("/metrics")).text)
        return next(one.value for family in families for one in family.samples if one.name == name)

    def stale(self) -> set[str]:
        """Return the units whose readings are too old."""
        assessment = self.agent.assessment()
        assert assessment is not None
        return {unit.unit for unit in assessment.units if unit.stale}


@asynccontextmanager
async def watched(folder: Path) -> AsyncIterator[Watched]:
    """Run an agent over the emulated slipway until the block ends."""
    clock = SetClock(NOON_S, SCALE)
    began_s = time.monotonic()
    one: list[Watched] = []

    def story_s() -> float:
        return NOON_S + (time.monotonic() - began_s) * SCALE + (one[0].breaker_s if one else 0.0)

    emulated = EmulatedSite(slipway(), story_s, NOON_S, seed=1, story=STORY)
    told = emulated.credentials
    path = write_folder(
        folder,
        changed("user: watch", f"user: {told.user}"),
        secrets={"auth": told.auth_secret, "privacy": told.priv_secret},
        addresses=await emulated.start(),
    )
    parts = gather(load_settings(path), emulated=True)
    history = open_history(parts)
    agent = Agent(parts, history, clock)
    one.append(Watched(agent, history, clock))
    stop = asyncio.Event()
    task = asyncio.create_task(agent.run(stop))
    try:
        await until(lambda: task.done() or (agent.health().cycles >= 3 and not one[0].stale()))
        yield one[0]
    finally:
        stop.set()
        await task
        history.close()
        emulated.stop()


def fill(one: Watched) -> Callable[[], None]:
    """Let no file grow beyond what the log of the history has now."""
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    log = one.history.path.with_name(f"{FILE_NAME}-wal")
    resource.setrlimit(resource.RLIMIT_FSIZE, (log.stat().st_size, limits[1]))
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, limits)


def make_read_only(one: Watched) -> Callable[[], None]:
    one.history.rows("PRAGMA query_only = ON")

    def mend() -> None:
        one.history.rows("PRAGMA query_only = OFF")

    return mend


def delete_folder(one: Watched) -> Callable[[], None]:
    shutil.rmtree(one.history.path.parent)
    return one.history.path.parent.mkdir


def ac_events(history: History, from_s: float = 0.0) -> list[str]:
    """Return what was kept of the alarm of lost AC; a machine that stalls for seconds may add a stale reading."""
    kind = AlarmKind.LOCAL_AC_LOST.value
    return [event.kind for event in history.events(from_s, 1e11) if event.data["kind"] == kind]


FAULTS: dict[str, tuple[Callable[[Watched], Callable[[], None]], str, str]] = {
    "disk full": (fill, "a quota is reached", "a quota is reached"),
    "read-only": (make_read_only, "it is read-only", "it is read-only"),
    "folder deleted": (delete_folder, "was deleted, moved or replaced", "is gone; put it back, or make it anew"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_while_the_history_cannot_be_written_reading_and_alarming_go_on(tmp_path: Path, fault: str) -> None:
    begin, first_words, lasting_words = FAULTS[fault]

    async def work() -> None:
        async with watched(tmp_path) as one:
            assert one.agent.health().history_ok
            broken_s = one.clock.now_s()
            mend = begin(one)
            try:
                await until(lambda: not one.agent.health().history_ok)
                assert first_words in one.agent.health().history_error
                one.trip()
                await until(lambda: one.ac_lost() is AlarmState.RAISED)
                await one.more_cycles(2)
                health = (await one.get("/health")).json()
                assert health["history"]["ok"] is False
                assert lasting_words in health["history"]["error"]
                assert "polls of units wait in memory" in health["history"]["error"]
                assert await one.metric("portdraw_history_ok") == 0
                page = (await one.get("/")).text
                assert "The history can&#39;t be written" in page
                assert lasting_words in page
                assert (await one.get("/ready")).status_code == 200  # the watch itself is as good as ever
                await until(lambda: one.stale() == set())
                mended_s = one.clock.now_s()
            finally:
                mend()
            await until(lambda: one.agent.health().history_ok)
            await one.more_cycles(2)
            assert await one.metric("portdraw_history_ok") == 1
            assert "can&#39;t be written" not in (await one.get("/")).text
        history = History.open(tmp_path / "history", "Atlantic/Faroe", emulated=True, read_only=True)
        for unit in UNITS:  # what waited in memory was written
            assert len(history.hot(broken_s + EVERY_S, mended_s, unit)) >= 2
        assert ac_events(history) == ["alarm-raised"]
        assert history.get_state("alarm-book") is not None
        assert history.rows("PRAGMA integrity_check")[0][0] == "ok"
        history.close()

    run(work)


def test_a_file_moved_away_is_told_and_a_new_one_begun(tmp_path: Path) -> None:
    """Its folder is still there: nobody has to do anything, and what was moved is whole."""

    async def work() -> None:
        async with watched(tmp_path) as one:
            away = tmp_path / "away"
            away.mkdir()
            for file in one.history.path.parent.glob(f"{FILE_NAME}*"):
                file.rename(away / file.name)
            said: list[str] = []

            def told() -> bool:
                said.append(one.agent.health().history_error)
                return bool(said[-1])

            await until(told)
            assert "was deleted, moved or replaced" in said[-1]
            await until(lambda: one.agent.health().history_ok)
            await one.more_cycles(2)
            assert one.history.last_hot("slip") is not None
        moved = History.open(away, "Atlantic/Faroe", emulated=True)
        assert moved.last_hot("slip") is not None
        moved.close()

    run(work)


STEPS_S = {"a day ahead": 86_400.0, "an hour back": -3600.0, "to 1970": -NOON_S + 600}


@pytest.mark.parametrize("step", STEPS_S)
def test_after_the_clock_was_set_reading_and_alarming_go_on(tmp_path: Path, step: str) -> None:
    """An alarm comes up and is over within the delays of the new clock; nothing else is raised by the step."""

    async def work() -> None:
        async with watched(tmp_path) as one:
            one.clock.set_by_s = STEPS_S[step]
            await one.more_cycles(2)
            assessment = one.agent.assessment()
            assert assessment is not None
            assert [alarm.sentence for alarm in assessment.alarms if alarm.state is AlarmState.RAISED] == []
            health = (await one.get("/health")).json()
            assert "clock was set" in health["clock_note"]
            assert health["history"]["ok"] is True
            assert "clock was set" in (await one.get("/")).text
            await until(lambda: one.stale() == set())
            began_s = one.clock.now_s()
            one.trip()
            await until(lambda: one.ac_lost() is AlarmState.RAISED)
            assert (await one.get("/ready")).status_code == 200
            one.close()
            await until(lambda: one.ac_lost() is AlarmState.RETURNED)
        history = History.open(tmp_path / "history", "Atlantic/Faroe", emulated=True, read_only=True)
        assert ac_events(history, began_s - EVERY_S) == ["alarm-raised", "alarm-returned"]
        assert len(ac_events(history)) == 2
        assert {reading.unit for reading in history.hot(began_s, began_s + 7200)} == set(UNITS)
        history.close()

    run(work)


@pytest.mark.parametrize("step", ["an hour back", "to 1970"])
def test_an_answer_of_before_the_clock_was_set_back_is_not_taken_for_fresh(tmp_path: Path, step: str) -> None:
    """The slip falls silent at the very moment: its last answer lies in what is now the future."""

    async def work() -> None:
        async with watched(tmp_path) as one:
            one.agent._poller._units.clear()
            await one.agent._poller.stop(1)
            one.clock.set_by_s = STEPS_S[step]
            await one.more_cycles(1)
            assert one.stale() == set(UNITS)

    run(work)


def test_an_alarm_that_was_about_to_come_up_does_not_wait_for_the_old_time(tmp_path: Path) -> None:
    """Set back by a day within the on-delay: the delay counts anew, it does not last a day."""

    async def work() -> None:
        async with watched(tmp_path) as one:
            one.trip()
            await until(lambda: one.ac_lost() in (AlarmState.PENDING, AlarmState.RAISED))
            one.clock.set_by_s = -86_400.0
            await until(lambda: one.ac_lost() is AlarmState.RAISED)
            one.close()
            await until(lambda: one.ac_lost() is AlarmState.RETURNED)

    run(work)
