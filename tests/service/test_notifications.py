"""From a notification to the alarm: real net-snmp senders, a real agent, an emulated site; and wrong settings."""

from __future__ import annotations

import re
import socket
import time
from pathlib import Path

import httpx
import pytest
from tests.reading.notifier import PORT_ON_OFF, send
from tests.service.emulated_agent import Served, emulated_agent, run, until
from tests.service.slipway import SETTINGS, changed, write_folder

from portdraw.judgement.alarm import AlarmKind, AlarmState
from portdraw.plan.plan_error import PlanError
from portdraw.reading.access import Access, User
from portdraw.reading.notification_gate import Fate, NotificationCounts
from portdraw.rehearsal.story import Scene, Story, Trip
from portdraw.service.agent import Agent
from portdraw.service.clock import Clock
from portdraw.service.settings import SettingsError, load_settings
from portdraw.service.wiring import gather, open_history

NOTIFICATIONS = "notifications: {port: 0, access: [slip-v3]}\n"
EVERY_S = 3600  # at the tests' pace of site time a turn comes every two minutes
TRIPS_EARLY = Story((Scene(240.0, Trip("slip-2"), "breaker 2 opens"),))


def counts(served: Served) -> NotificationCounts:
    told = served.agent.health().notifications
    assert told is not None
    return told


def access_of(served: Served) -> Access:
    return served.agent._parts.accesses["slip-v3"]


def target_of(served: Served) -> str:
    listener = served.agent._listener
    assert listener is not None
    return f"udp:127.0.0.1:{listener.port}"


def read_s(served: Served) -> tuple[float | None, ...]:
    assessment = served.agent.assessment()
    assert assessment is not None
    return tuple(unit.read_s for unit in assessment.units)


@pytest.mark.parametrize("program", ["snmptrap", "snmpinform"])
def test_a_notification_has_its_unit_read_and_judged_long_before_its_turn(tmp_path: Path, program: str) -> None:
    async def work() -> None:
        async with emulated_agent(tmp_path, more=NOTIFICATIONS, every_s=EVERY_S, story=TRIPS_EARLY) as served:
            await until(lambda: served.agent.now_s() > served.agent._started_s + 270)  # the breaker is open by now
            first = read_s(served)
            assert served.state(AlarmKind.LOCAL_AC_LOST) is None
            assert await send(program, target_of(served), access_of(served), *PORT_ON_OFF) == 0
            began = time.monotonic()
            await until(lambda: None not in read_s(served) and read_s(served) != first)
            print(f"read and judged {time.monotonic() - began:.2f} s after the notification")
            # both units stand behind 127.0.0.1; none had its turn meanwhile
            assert served.agent.now_s() - served.agent._started_s < EVERY_S
            await until(lambda: served.state(AlarmKind.LOCAL_AC_LOST) in (AlarmState.PENDING, AlarmState.RAISED))
            assert counts(served).units == {"winch-house": 1, "slip": 1}
            # one out of turn is judged by, and stands for no interval of its own in the history
            assert len(served.history.hot(0, 4e12, "slip")) == 1

    run(work)


def test_what_was_counted_is_told_in_health_and_metrics(tmp_path: Path) -> None:
    async def work() -> None:
        async with emulated_agent(tmp_path, more=NOTIFICATIONS, every_s=EVERY_S) as served:
            access = access_of(served)
            assert isinstance(access, User)
            target = target_of(served)
            await send("snmptrap", target, access, *PORT_ON_OFF)
            await send("snmptrap", target, ["-v2c", "-c", "public"], *PORT_ON_OFF)
            await send("snmptrap", target, access, *PORT_ON_OFF, source="127.0.0.77")
            with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
                sock.sendto(b"hello", ("127.0.0.1", int(target.rsplit(":", 1)[1])))
            await until(lambda: sum(counts(served).fates.values()) == 4)
            assert {fate: n for fate, n in counts(served).fates.items() if n} == {
                Fate.TAKEN: 1,
                Fate.REFUSED: 1,
                Fate.UNKNOWN: 1,
                Fate.MALFORMED: 1,
            }
            async with httpx.AsyncClient(base_url=served.agent.address) as client:
                health = (await client.get("/health")).json()["notifications"]
                metrics = (await client.get("/metrics")).text
            assert health == {
                "taken": 1,
                "unknown_sender": 1,
                "credentials_refused": 1,
                "not_understood": 1,
                "too_many": 0,
                "units": {"winch-house": 1, "slip": 1},
            }
            assert 'portdraw_notifications_total{fate="taken"} 1.0' in metrics
            assert re.search(r'portdraw_unit_notifications_total\{site="[^"]*",unit="slip"\} 1\.0', metrics)

    run(work)


def test_one_that_is_no_reason_to_read_brings_no_reading(tmp_path: Path) -> None:
    """Anybody who asks a switch with a wrong community makes it send authenticationFailure."""

    async def work() -> None:
        async with emulated_agent(tmp_path, more=NOTIFICATIONS, every_s=EVERY_S) as served:
            await send("snmptrap", target_of(served), access_of(served), "", "1.3.6.1.6.3.1.1.5.5")
            await until(lambda: counts(served).fates[Fate.TAKEN] == 1)
            assert not any(event.is_set() for event in served.agent._poller._hints.values())
            assert served.agent._hinted == set()

    run(work)


def test_without_the_group_nothing_listens(tmp_path: Path) -> None:
    async def work() -> None:
        async with emulated_agent(tmp_path) as served:
            assert served.agent.health().notifications is None
            async with httpx.AsyncClient(base_url=served.agent.address) as client:
                assert (await client.get("/health")).json()["notifications"] is None
                assert "portdraw_notifications" not in (await client.get("/metrics")).text

    run(work)


@pytest.mark.parametrize(
    ("group", "sentence"),
    [
        ("{access: [other]}", "notifications.access[1]: 'other' is not declared under access (declared: slip-v3)"),
        ("{access: []}", "notifications.access: names no access"),
        ("{port: 162}", "notifications: needs the key 'access'"),
        ("{host: harbour, access: [slip-v3]}", "notifications.host: must be an address of this machine"),
        ("{port: 70000, access: [slip-v3]}", "notifications.port"),
        ("{community: public, access: [slip-v3]}", "notifications.community"),
    ],
)
def test_wrong_settings_are_told_with_their_place(tmp_path: Path, group: str, sentence: str) -> None:
    path = write_folder(tmp_path, changed("access:", f"notifications: {group}\naccess:"))
    with pytest.raises(PlanError) as error:
        gather(load_settings(path))
    assert sentence in str(error.value)
    assert re.search(r"settings\.yaml:\d+:\d+: ", str(error.value))


def test_two_accesses_can_t_share_a_user_with_other_secrets(tmp_path: Path) -> None:
    twin = "  twin:\n    version: 3\n    user: watch\n    auth_secret: {file: auth}\n    privacy: none\n"
    text = changed("access:", "notifications: {access: [slip-v3, twin]}\naccess:", SETTINGS) + twin
    with pytest.raises(PlanError, match=r"access\[2\]: 'twin' has the user of another access of this list"):
        gather(load_settings(write_folder(tmp_path, text)))


def test_a_port_in_use_is_one_sentence(tmp_path: Path) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        port = sock.getsockname()[1]
        path = write_folder(
            tmp_path, changed("access:", f"notifications: {{port: {port}, access: [slip-v3]}}\naccess:")
        )
        parts = gather(load_settings(path))
        history = open_history(parts)
        try:
            with pytest.raises(SettingsError) as error:
                Agent(parts, history, Clock())
        finally:
            history.close()
    assert str(error.value) == f"notifications: 127.0.0.1:{port} can't be used: Address already in use"
