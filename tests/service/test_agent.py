"""The whole agent in one process: on an emulated site over real SNMP, and beside addresses that answer nothing."""

from __future__ import annotations

import asyncio
import logging
import socket
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator, Mapping
from contextlib import asynccontextmanager, contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families
from tests.service.receiver import Receiver
from tests.service.slipway import NOON_S, SITE, UNITS, changed, slipway, write_folder

from portdraw.history.store import History
from portdraw.judgement.alarm import AlarmKind, AlarmState
from portdraw.judgement.alarm_book import AlarmChange
from portdraw.judgement.assessment import SiteAssessment
from portdraw.observation.unit_observation import Outcome
from portdraw.rehearsal.emulated_site import EmulatedSite
from portdraw.rehearsal.story import Restore, Scene, Story, Trip
from portdraw.service.agent import Agent
from portdraw.service.clock import Clock
from portdraw.service.settings import load_settings
from portdraw.service.wiring import gather, open_history

SCALE = 30.0  # a poll of 30 s comes every second
PATIENCE_S = 60.0
STORY = Story(
    (
        Scene(60.0, Trip("slip-2"), "breaker 2 opens"),
        Scene(240.0, Restore("slip-2"), "breaker 2 is closed"),
    )
)
HOOK = 'receivers: {desk: {webhook: "URL"}}\naccess:'
FAST = changed("{every_s: 30", "{every_s: 1").replace("deadline_s: 4", "deadline_s: 0.5")


def run(work: Callable[[], Awaitable[None]]) -> None:
    """Run in a loop of its own; nothing may escape."""
    escaped: list[str] = []

    async def watched() -> None:
        asyncio.get_running_loop().set_exception_handler(lambda _, context: escaped.append(repr(context)))
        async with asyncio.timeout(PATIENCE_S):
            await work()

    asyncio.run(watched())
    assert not escaped


async def until(holds: Callable[[], bool]) -> None:
    """Wait until something holds; `run` bounds it."""
    while not holds():
        await asyncio.sleep(0.02)


@contextmanager
def mute() -> Iterator[str]:
    """An address that takes questions and never answers."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        yield f"127.0.0.1:{sock.getsockname()[1]}"


class Running:
    """An agent that runs, its history, and what it said at the end."""

    def __init__(self, agent: Agent, history: History) -> None:
        self.agent, self.history = agent, history
        self.changes: list[AlarmChange] = []
        self.left: list[str] = []
        self.stop_took_s = 0.0

    async def get(self, path: str) -> httpx.Response:
        async with httpx.AsyncClient(trust_env=False, timeout=20) as client:
            return await client.get(f"{self.agent.address}{path}")

    def state(self, kind: AlarmKind) -> AlarmState | None:
        """Return the state of the first alarm of a kind."""
        assessment = self.agent.assessment()
        alarms = () if assessment is None else assessment.alarms
        return next((alarm.state for alarm in alarms if alarm.kind is kind), None)


@asynccontextmanager
async def running(
    folder: Path,
    settings: str = FAST,
    addresses: Mapping[str, str] | None = None,
    secrets: Mapping[str, str] | None = None,
    clock: Clock | None = None,
    site: str = SITE,
    emulated: bool = False,
) -> AsyncIterator[Running]:
    """Run an agent over a folder; it is stopped at the end."""
    parts = gather(load_settings(write_folder(folder, settings, site, secrets, addresses)), emulated=emulated)
    history = open_history(parts)
    changes: list[AlarmChange] = []
    agent = Agent(parts, history, clock or Clock(), on_change=changes.append)
    one = Running(agent, history)
    one.changes = changes
    stop = asyncio.Event()
    task = asyncio.create_task(agent.run(stop))
    try:
        yield one
    finally:
        began = time.monotonic()
        stop.set()
        one.left = await task
        one.stop_took_s = time.monotonic() - began
        history.close()


def metrics(text: str) -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
    """Return the samples, parsed by the Prometheus client's own parser."""
    return {
        (sample.name, tuple(sorted(sample.labels.items()))): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def test_a_loss_of_ac_on_real_snmp_reaches_pages_metrics_history_and_receiver(tmp_path: Path) -> None:
    async def work() -> None:
        desk = await Receiver().start()
        clock = Clock(NOON_S, SCALE)
        emulated = EmulatedSite(slipway(), clock.now_s, NOON_S, 7, story=STORY, noise_share=0.0)
        addresses = await emulated.start()
        told = emulated.credentials
        settings = changed("access:", HOOK.replace("URL", desk.url)).replace("user: watch", f"user: {told.user}")
        secrets = {"auth": told.auth_secret, "privacy": told.priv_secret}
        try:
            async with running(tmp_path, settings, addresses, secrets, clock, emulated=True) as one:
                await until(lambda: one.agent.assessment() is not None)
                ready, health, site = [await one.get(path) for path in ("/ready", "/health", "/api/v1/site")]
                assert (ready.status_code, ready.json()["ready"]) == (200, True)
                assert health.json()["history"] == {"ok": True, "error": ""}
                assert site.json()["emulated"] is True
                assert {unit["unit"]: unit["poll"]["outcome"] for unit in site.json()["units"]} == dict.fromkeys(
                    UNITS, "answered"
                )
                await until(lambda: one.state(AlarmKind.LOCAL_AC_LOST) is AlarmState.RAISED)
                found = metrics((await one.get("/metrics")).text)
                up = [key for key, value in found.items() if key[0] == "portdraw_alarm_active" and value == 1]
                assert [dict(labels)["kind"] for _, labels in up] == ["local-ac-lost"]
                assert "EMULATED" in dict(up[0][1])["site"]
                page = (await one.get("/")).text
                assert "EMULATED" in page
                # on a busy machine the breaker may have opened before the first reading
                assert "slip (slip) lost local AC" in page or "slip (slip) was without local AC" in page
                await until(lambda: one.state(AlarmKind.LOCAL_AC_LOST) is AlarmState.RETURNED)
                await desk.until(2, PATIENCE_S)
                slip_w = emulated.truth().units["slip"].port_w["1"]
                seen = next(
                    unit for unit in (await one.get("/api/v1/site")).json()["units"] if unit["unit"] == "slip"
                )
                assert seen["ports"][0]["draw"]["value_w"] == pytest.approx(slip_w, abs=0.051)
            assert one.left == [] or all("was cut off" in sentence for sentence in one.left)
            assert [message["state"] for message in desk.heard] == ["raised", "returned"]
            assert all(message["emulated"] for message in desk.heard)
        finally:
            emulated.stop()
            await desk.stop()
        history = History.open(tmp_path / "history", "Atlantic/Faroe", emulated=True, read_only=True)
        assert [event.kind for event in history.events(0, NOON_S * 2)] == ["alarm-raised", "alarm-returned"]
        assert {one.unit for one in history.hot(0, NOON_S * 2)} == set(UNITS)
        history.close()

    run(work)


def test_before_the_first_cycle_it_is_alive_and_not_ready(tmp_path: Path) -> None:
    async def work() -> None:
        with mute() as address:
            settings = changed("deadline_s: 4", "deadline_s: 30")
            async with running(tmp_path, settings, dict.fromkeys(UNITS, address)) as one:
                await asyncio.sleep(0.1)
                assert (await one.get("/health")).json()["alive"] is True
                ready, site = await one.get("/ready"), await one.get("/api/v1/site")
                assert (ready.status_code, ready.json()) == (
                    503,
                    {"ready": False, "reason": "no cycle has ended yet"},
                )
                assert site.status_code == 503
                assert metrics((await one.get("/metrics")).text)[("portdraw_ready", ())] == 0
                assert (await one.get("/")).status_code == 200
                await asyncio.sleep(2.1)  # the first round begins within two seconds
        assert "reading was cut off for slip, winch-house" in one.left
        assert one.stop_took_s < 30  # generous: about five seconds are allowed for

    run(work)


def test_units_that_answer_nothing_are_unknown_and_then_stale_never_zero(tmp_path: Path) -> None:
    async def work() -> None:
        with mute() as address:
            async with running(tmp_path, FAST, dict.fromkeys(UNITS, address)) as one:
                await until(lambda: one.agent.assessment() is not None)
                site = (await one.get("/api/v1/site")).json()
                found = metrics((await one.get("/metrics")).text)
        assert {unit["poll"]["outcome"] for unit in site["units"]} == {Outcome.SILENT.value}
        assert all(unit["draw"]["value_w"] is None for unit in site["units"])
        assert not [key for key in found if key[0] == "portdraw_unit_draw_watts"]
        assert [value for key, value in found.items() if key[0] == "portdraw_reading_stale"] == [1.0, 1.0]

    run(work)


def test_a_site_that_is_not_readable_by_design_is_judged_at_once(tmp_path: Path) -> None:
    """Nobody is waited for, though the deadline is long."""

    async def work() -> None:
        site = SITE.replace("    access: slip-v3\n", "")
        settings = changed("deadline_s: 4", "deadline_s: 120")
        async with running(tmp_path, settings, site=site) as one:
            await until(lambda: one.agent.assessment() is not None)
            assessment = one.agent.assessment()
            assert assessment is not None
            assert {unit.outcome for unit in assessment.units} == {Outcome.NOT_READABLE}
            assert not any(unit.stale for unit in assessment.units)
        assert one.left == []

    run(work)


def test_a_cycle_that_fails_does_not_end_the_watch_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    async def work() -> None:
        site = SITE.replace("    access: slip-v3\n", "")
        async with running(tmp_path, FAST, site=site) as one:
            await until(lambda: one.agent.health().ready)
            cycle = one.agent._cycle
            real = cycle.look
            failures = 0

            def fail(*_: Any) -> SiteAssessment:
                nonlocal failures
                failures += 1
                raise ZeroDivisionError("a fault of ours")

            monkeypatch.setattr(cycle, "look", fail)
            await until(lambda: failures >= 2)
            answer = await one.get("/ready")
            assert answer.status_code == 503
            assert "failed inside the agent (ZeroDivisionError)" in answer.json()["reason"]
            assert (await one.get("/api/v1/site")).status_code == 200  # what was known stays in view, with its age
            monkeypatch.setattr(cycle, "look", real)
            await until(lambda: one.agent.health().ready)

    run(work)
    assert "a fault of ours" in caplog.text


def test_a_history_that_breaks_is_told_and_watching_goes_on(tmp_path: Path) -> None:
    async def work() -> None:
        with mute() as address:
            async with running(tmp_path, FAST, dict.fromkeys(UNITS, address)) as one:
                await until(lambda: one.agent.assessment() is not None)
                one.history.close()
                await until(lambda: not one.agent.health().history_ok)
                before = one.agent.health().cycles
                await until(lambda: one.agent.health().cycles > before + 1)
                health = (await one.get("/health")).json()
                assert health["history"]["ok"] is False
                assert "history file" in health["history"]["error"]
                assert metrics((await one.get("/metrics")).text)[("portdraw_history_ok", ())] == 0
        assert any("history file" in sentence for sentence in one.left)

    run(work)


def test_trends_are_worked_out_anew_after_a_failure(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """The daily work fails at the start; it is tried again ten minutes of site time later, not in each cycle."""

    def tries() -> int:
        return caplog.text.count("trends are as of the last good day")

    async def work() -> None:
        site = SITE.replace("    access: slip-v3\n", "")
        settings = changed("{every_s: 30", "{every_s: 60")
        async with running(tmp_path, settings, site=site, clock=Clock(NOON_S, 600.0)) as one:
            one.history.close()
            await until(lambda: one.agent.health().cycles >= 5)
            await until(lambda: tries() >= 2)
            assert tries() <= 1 + (one.agent.now_s() - NOON_S) / 600
            assert one.agent._cycle.drift is None

    with caplog.at_level(logging.ERROR):
        run(work)


def test_messages_that_wait_at_the_end_are_counted(tmp_path: Path) -> None:
    async def work() -> None:
        desk = await Receiver().start()
        await desk.stop()
        site = SITE.replace("    access: slip-v3\n", "")
        settings = changed("access:", HOOK.replace("URL", desk.url), FAST)
        async with running(tmp_path, settings, site=site) as one:
            one.history.outbox.add("desk", "a", {"number": 1}, 0.0)
            one.history.outbox.add("desk", "b", {"number": 2}, 0.0)
            await until(lambda: not all(receiver.ok for receiver in one.agent.health().receivers))
            found = metrics((await one.get("/metrics")).text)
            assert found[("portdraw_receiver_ok", (("receiver", "desk"),))] == 0
        assert one.left == ["2 messages to receivers wait in the history and go out after the next start"]

    run(work)


def test_reading_once_judges_once_and_leaves_nothing_open(tmp_path: Path) -> None:
    async def work() -> None:
        with mute() as address:
            path = write_folder(tmp_path, FAST, addresses=dict.fromkeys(UNITS, address))
            parts = gather(load_settings(path))
            history = open_history(parts)
            agent = Agent(parts, history, Clock(), serve=False)
            assessment = await agent.once()
            assert {unit.outcome for unit in assessment.units} == {Outcome.SILENT}
            assert agent.address == ""
            await asyncio.sleep(0.05)
            assert len(asyncio.all_tasks()) == 1
            history.close()

    run(work)
