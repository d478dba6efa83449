"""`portdraw run` is killed with SIGKILL, the way a machine loses power: no message to a receiver is lost.

What is promised, and held here: each message is sent until it was taken, in the order of the alarms; one that was
under way at the very moment of the kill may be sent once more, with the same id.
"""

from __future__ import annotations

import signal
import time
from collections import Counter
from collections.abc import Callable
from contextlib import AbstractContextManager, closing
from pathlib import Path

from tests.cli.background import Background
from tests.cli.command import ROOT, Child, started
from tests.reporting.notify.real_alertmanager import RealAlertmanager
from tests.service.receiver import Receiver
from tests.service.slipway import NOON_S, changed, slipway, write_folder

from portdraw.history.store import History
from portdraw.rehearsal.emulated_site import EmulatedSite
from portdraw.rehearsal.story import Restore, Scene, Story, Trip
from portdraw.service.clock import Clock

HOOK = 'receivers: {desk: {webhook: "URL"}}\naccess:'
FAST = changed("{every_s: 30", "{every_s: 1")
PATIENCE_S = 90.0
SCALE = 30.0  # a poll of 30 s comes every second


def until(holds: Callable[[], bool]) -> None:
    give_up = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < give_up
        time.sleep(0.01)


def test_an_alarm_raised_before_the_kill_is_told_once_when_the_receiver_is_back(tmp_path: Path) -> None:
    with Background() as background:
        desk = background.do(Receiver().start())
        background.do(desk.stop())  # dead, its port known
        clock = Clock(NOON_S, SCALE)
        story = Story((Scene(60.0, Trip("slip-2"), "breaker 2 opens"),))
        emulated = EmulatedSite(slipway(), clock.now_s, NOON_S, 7, story=story, noise_share=0.0)
        addresses = background.do(emulated.start())
        told = emulated.credentials
        settings = changed("access:", HOOK.replace("URL", desk.url)).replace("user: watch", f"user: {told.user}")
        secrets = {"auth": told.auth_secret, "privacy": told.priv_secret}
        path = str(write_folder(tmp_path, settings, secrets=secrets, addresses=addresses))
        with _agent(path, clock, tmp_path) as child:
            child.until("-> raised: ")
            child.until("receiver desk: no connection")
            child.signal(signal.SIGKILL)
            assert child.process.wait(timeout=30) == -signal.SIGKILL
        assert desk.heard == []
        with closing(History.open(tmp_path / "history", "Atlantic/Faroe", read_only=True)) as history:
            assert history.outbox.waiting() == 1

        background.do(desk.start())
        with _agent(path, clock, tmp_path) as child:
            until(lambda: len(desk.heard) > 0)
            time.sleep(3)  # three more cycles, in which nothing may be told anew
            child.signal(signal.SIGKILL)
        background.do(desk.stop())
        background.loop.call_soon_threadsafe(emulated.stop)
    assert [(message["kind"], message["state"]) for message in desk.heard] == [("local-ac-lost", "raised")]
    assert desk.heard[0]["where"]["unit"] == "slip"


def test_an_alertmanager_is_told_after_the_kill_what_ended_meanwhile(tmp_path: Path) -> None:
    with Background() as background, RealAlertmanager(tmp_path / "am") as am:
        clock = Clock(NOON_S, SCALE)
        story = Story((Scene(60.0, Trip("slip-2"), "opens"), Scene(600.0, Restore("slip-2"), "is closed")))
        emulated = EmulatedSite(slipway(), clock.now_s, NOON_S, 7, story=story, noise_share=0.0)
        addresses = background.do(emulated.start())
        told = emulated.credentials
        settings = changed("access:", f'receivers: {{am: {{alertmanager: "{am.url}"}}}}\naccess:')
        settings = settings.replace("user: watch", f"user: {told.user}")
        secrets = {"auth": told.auth_secret, "privacy": told.priv_secret}
        path = str(write_folder(tmp_path, settings, secrets=secrets, addresses=addresses))
        with _agent(path, clock, tmp_path) as child:
            until(lambda: len(am.active()) == 1)
            child.signal(signal.SIGKILL)
            assert child.process.wait(timeout=30) == -signal.SIGKILL
        (alert,) = am.active()
        assert (alert["labels"]["alertname"], alert["labels"]["unit"]) == ("local-ac-lost", "slip")
        until(lambda: clock.now_s() > NOON_S + 620)  # the breaker is closed while nobody watches
        assert am.active() == [alert]  # it stays up: nobody has said otherwise
        with _agent(path, clock, tmp_path) as child:
            until(lambda: am.active() == [])
            child.signal(signal.SIGKILL)
        background.loop.call_soon_threadsafe(emulated.stop)


def _agent(settings: str, clock: Clock, folder: Path) -> AbstractContextManager[Child]:
    more = {"PYTHONPATH": f"{ROOT / 'agent'}:{ROOT}"}
    words = (settings, str(clock.now_s()), str(SCALE))
    return started(*words, cwd=folder, more=more, module="tests.cli.agent_child")


def test_killed_in_the_middle_of_telling_nothing_is_lost_and_a_second_is_known_by_its_id(tmp_path: Path) -> None:
    count, kills_after = 60, (7, 23, 41)
    with Background() as background:
        desk = background.do(Receiver().start())
        path = write_folder(tmp_path, changed("access:", HOOK.replace("URL", desk.url), FAST), addresses=_nobody())
        with closing(History.open(tmp_path / "history", "Atlantic/Faroe")) as history:
            for number in range(count):
                history.outbox.add("desk", f"id-{number}", {"id": f"id-{number}", "number": number}, time.time())
        for kill_after in kills_after:
            with started("run", "--settings", str(path), cwd=tmp_path, more={}) as child:
                until(lambda after=kill_after: len(desk.heard) >= after)  # type: ignore[misc]
                child.signal(signal.SIGKILL)
                assert child.process.wait(timeout=30) == -signal.SIGKILL
        with started("run", "--settings", str(path), cwd=tmp_path, more={}) as child:
            until(lambda: "id-59" in {message["id"] for message in desk.heard})
            child.signal(signal.SIGTERM)
            assert child.end() == 0
        background.do(desk.stop())
    arrived = [message for message in desk.heard if str(message["id"]).startswith("id-")]
    times = Counter(message["id"] for message in arrived)
    assert set(times) == {f"id-{number}" for number in range(count)}
    # one at most was under way at each kill
    assert sum(times.values()) - count <= len(kills_after)
    assert [message["number"] for message in arrived] == sorted(message["number"] for message in arrived)


def _nobody() -> dict[str, str]:
    return {"winch-house": "127.0.0.1:9", "slip": "127.0.0.1:9"}
