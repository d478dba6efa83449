"""Delivery to real receivers on loopback: in order, until it is taken, over a restart, none waiting for another."""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import json
import logging
import time
from collections.abc import Awaitable, Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from tests.service.receiver import Receiver

from portdraw.history.store import History, HistoryError
from portdraw.reporting.notify.attempt import Notifier
from portdraw.reporting.notify.webhook import Webhook
from portdraw.service import delivery as delivery_module
from portdraw.service.clock import Clock
from portdraw.service.delivery import Delivery

SECRET = b"hook-secret-of-the-desk"
NOW_S = 1_772_452_800.0


@pytest.fixture(autouse=True)
def soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make all waits short; that they are kept in order does not hang on their length."""
    monkeypatch.setattr(delivery_module, "LOOK_EVERY_WALL_S", 0.02)
    monkeypatch.setattr(delivery_module, "TIMEOUT_S", 30.0)
    monkeypatch.setattr(delivery_module, "backoff_s", lambda attempt: 0.05)


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    one = History.open(tmp_path / "history", "UTC")
    yield one
    one.close()


def queue(history: History, numbers: range, *receivers: str) -> None:
    for number in numbers:
        for receiver in receivers or ("desk",):
            assert history.outbox.add(receiver, f"key-{number}", {"number": number}, NOW_S)


async def settled(history: History, waiting: int = 0) -> None:
    """Wait until no more than so many messages wait: what was taken is then also noted as taken."""
    async with asyncio.timeout(30):
        while history.outbox.waiting() > waiting:
            await asyncio.sleep(0.01)


def destinations(**receivers: Receiver) -> dict[str, Notifier]:
    return {name: Webhook(receiver.url, SECRET) for name, receiver in receivers.items()}


def health(delivery: Delivery) -> dict[str, str]:
    return {one.name: "" if one.ok else one.last_error for one in delivery.health()}


def run(work: Callable[[], Awaitable[None]]) -> None:
    """Run in a loop of its own; nothing may escape."""
    escaped: list[str] = []

    async def watched() -> None:
        asyncio.get_running_loop().set_exception_handler(lambda _, context: escaped.append(repr(context)))
        await work()

    asyncio.run(watched())
    assert not escaped


def hmac_sha256(key: bytes, body: bytes) -> str:
    """HMAC written out after RFC 2104, section 2."""
    padded = key.ljust(64, b"\0")
    inner = hashlib.sha256(bytes(octet ^ 0x36 for octet in padded) + body).digest()
    return hashlib.sha256(bytes(octet ^ 0x5C for octet in padded) + inner).hexdigest()


def test_messages_come_in_order_signed_and_once(history: History) -> None:
    async def work() -> None:
        desk = await Receiver().start()
        queue(history, range(30))
        delivery = Delivery(history, destinations(desk=desk), Clock(NOW_S))
        delivery.start()
        await settled(history)
        assert await delivery.stop(1) == 0
        assert desk.numbers == list(range(30))
        for headers, body in zip(desk.headers, desk.bodies, strict=True):
            assert headers["portdraw-signature"] == f"sha256={hmac_sha256(SECRET, body)}"
            assert headers["content-type"] == "application/json"
        assert health(delivery) == {"desk": ""}
        await desk.stop()

    run(work)


@pytest.mark.parametrize("trouble", [[500, 503], ["drop", 500], ["hang"], [302, 404]])
def test_a_message_that_is_not_taken_is_tried_again_before_any_later_one(
    history: History, trouble: list[int | str], monkeypatch: pytest.MonkeyPatch
) -> None:
    if "hang" in trouble:
        monkeypatch.setattr(delivery_module, "TIMEOUT_S", 2.0)

    async def work() -> None:
        desk = await Receiver(trouble).start()
        queue(history, range(3))
        delivery = Delivery(history, destinations(desk=desk), Clock(NOW_S))
        delivery.start()
        await settled(history)
        assert await delivery.stop(1) == 0
        assert desk.numbers == [0] * len(trouble) + [0, 1, 2]
        await desk.stop()

    run(work)


def test_what_comes_while_another_waits_for_its_turn_stays_behind_it(
    history: History, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An alarm's return must never be told before the alarm: the second is due at once, the first only later."""
    monkeypatch.setattr(delivery_module, "backoff_s", lambda attempt: 0.6)

    async def work() -> None:
        desk = await Receiver([500]).start()
        queue(history, range(1))
        delivery = Delivery(history, destinations(desk=desk), Clock(NOW_S))
        delivery.start()
        await desk.until(1)
        queue(history, range(1, 3))
        await settled(history)
        await delivery.stop(1)
        assert desk.numbers == [0, 0, 1, 2]
        await desk.stop()

    run(work)


def test_a_dead_receiver_is_told_when_it_is_back(history: History, caplog: pytest.LogCaptureFixture) -> None:
    async def work() -> None:
        desk = await Receiver().start()
        await desk.stop()
        queue(history, range(4))
        delivery = Delivery(history, destinations(desk=desk), Clock(NOW_S))
        delivery.start()
        async with asyncio.timeout(30):
            while not health(delivery)["desk"]:
                await asyncio.sleep(0.01)
        assert "no connection" in health(delivery)["desk"]
        assert desk.url not in health(delivery)["desk"] + caplog.text
        await desk.start()
        await settled(history)
        await asyncio.sleep(0.1)
        assert health(delivery) == {"desk": ""}
        await delivery.stop(1)
        assert desk.numbers == [0, 1, 2, 3]
        await desk.stop()

    with caplog.at_level(logging.DEBUG, "portdraw"):
        run(work)
    assert caplog.text.count("the message waits and is tried again") == 1
    assert SECRET.decode() not in caplog.text


def test_a_slow_receiver_delays_nobody_else(history: History) -> None:
    async def work() -> None:
        slow, quick = await Receiver().start(), await Receiver().start()
        slow.always = "hang"
        queue(history, range(20), "slow", "quick")
        delivery = Delivery(history, destinations(slow=slow, quick=quick), Clock(NOW_S))
        delivery.start()
        await settled(history, 20)
        assert quick.numbers == list(range(20))
        assert set(slow.numbers) <= {0}
        waiting = await delivery.stop(0.2)
        assert waiting == 20
        await slow.stop()
        await quick.stop()

    run(work)


def test_a_restart_goes_on_where_it_was(tmp_path: Path) -> None:
    async def work() -> None:
        desk = await Receiver().start()
        first = History.open(tmp_path, "UTC")
        queue(first, range(2))
        delivery = Delivery(first, destinations(desk=desk), Clock(NOW_S))
        delivery.start()
        await settled(first)
        await desk.stop()
        queue(first, range(2, 6))
        await asyncio.sleep(0.2)
        assert await delivery.stop(0.5) == 4
        first.close()

        await desk.start()
        again = History.open(tmp_path, "UTC")
        delivery = Delivery(again, destinations(desk=desk), Clock(NOW_S + 5))
        delivery.start()
        await settled(again)
        assert await delivery.stop(1) == 0
        again.close()
        assert desk.numbers == [0, 1, 2, 3, 4, 5]
        await desk.stop()

    run(work)


def test_what_is_due_goes_out_while_stopping(history: History) -> None:
    async def work() -> None:
        desk = await Receiver().start()
        delivery = Delivery(history, destinations(desk=desk), Clock(NOW_S))
        queue(history, range(3))  # queued by the last cycle, after the tasks' last look
        assert await delivery.stop(30) == 0
        assert desk.numbers == [0, 1, 2]
        await desk.stop()

    run(work)


def test_stopping_does_not_wait_for_a_receiver_that_hangs(history: History, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(delivery_module, "TIMEOUT_S", 60.0)

    async def work() -> None:
        desk = await Receiver().start()
        desk.always = "hang"
        queue(history, range(3))
        delivery = Delivery(history, destinations(desk=desk), Clock(NOW_S))
        delivery.start()
        await desk.until(1)
        began = time.monotonic()
        assert await delivery.stop(0.2) == 3
        assert time.monotonic() - began < 10  # generous: 0.4 s were asked for
        await desk.stop()

    run(work)


def test_a_message_that_is_never_taken_does_not_hold_up_the_others_for_ever(history: History) -> None:
    async def work() -> None:
        desk = await Receiver().start()
        desk.refuse = {0}
        queue(history, range(4))
        delivery = Delivery(history, destinations(desk=desk), Clock(NOW_S))
        delivery.start()
        async with asyncio.timeout(20):
            while not {1, 2, 3} <= set(desk.numbers):
                await asyncio.sleep(0.02)
        assert desk.numbers[: delivery_module.MAY_BE_PASSED_AFTER] == [0] * delivery_module.MAY_BE_PASSED_AFTER
        assert [number for number in desk.numbers if number] == [1, 2, 3]
        desk.refuse = set()
        await settled(history)
        assert await delivery.stop(1) == 0
        await desk.stop()

    run(work)


def test_a_clock_that_is_set_back_does_not_hold_a_message_up(history: History) -> None:
    async def work() -> None:
        desk = await Receiver().start()
        queue(history, range(2))
        (first, _) = history.outbox.due(NOW_S)
        history.outbox.failed(first.number, "no connection", NOW_S + 5)  # on a clock that was a year ahead
        delivery = Delivery(history, destinations(desk=desk), Clock(NOW_S - 365 * 86_400))
        delivery.start()
        await settled(history)
        await delivery.stop(1)
        assert desk.numbers == [0, 1]
        await desk.stop()

    run(work)


def test_a_history_that_can_not_be_read_is_told_and_waited_for(
    history: History, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = True
    due = history.outbox.due

    def maybe(*args: object, **named: object) -> object:
        if broken:
            raise HistoryError("history file x: the disk reports an error")
        return due(*args, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(history.outbox, "due", maybe)

    async def work() -> None:
        nonlocal broken
        desk = await Receiver().start()
        queue(history, range(2))
        delivery = Delivery(history, destinations(desk=desk), Clock(NOW_S))
        delivery.start()
        async with asyncio.timeout(30):
            while not health(delivery)["desk"]:
                await asyncio.sleep(0.01)
        assert health(delivery) == {"desk": "history file x: the disk reports an error"}
        broken = False
        await settled(history)
        await asyncio.sleep(0.1)
        assert health(delivery) == {"desk": ""}
        await delivery.stop(1)
        await desk.stop()

    run(work)


def test_a_fault_of_ours_with_one_receiver_ends_nothing(history: History, caplog: pytest.LogCaptureFixture) -> None:
    async def work() -> None:
        desk, pager = await Receiver().start(), await Receiver().start()
        history.outbox.add("pager", "bad", {"number": float("inf")}, NOW_S)  # JSON has no such figure (RFC 8259)
        queue(history, range(3), "desk", "pager")
        delivery = Delivery(history, destinations(desk=desk, pager=pager), Clock(NOW_S))
        delivery.start()
        await settled(history, 4)
        await asyncio.sleep(0.1)
        assert health(delivery)["desk"] == ""
        assert "delivering failed inside the agent (ValueError)" in health(delivery)["pager"]
        await delivery.stop(1)
        await desk.stop()
        await pager.stop()

    run(work)
    assert "delivering to pager failed" in caplog.text


def test_a_secret_does_not_stand_in_a_receiver_s_repr() -> None:
    assert SECRET.decode() not in repr(Webhook("http://127.0.0.1:1/", SECRET))


def test_each_attempt_carries_its_own_time_and_number_and_the_same_message(history: History) -> None:
    async def work() -> None:
        desk = await Receiver([500, "drop"]).start()
        queue(history, range(1))
        delivery = Delivery(history, destinations(desk=desk), Clock(NOW_S))
        delivery.start()
        await settled(history)
        await delivery.stop(1)
        await desk.stop()
        assert [message["attempt"] for message in desk.heard] == [1, 2, 3]
        times = [datetime.fromisoformat(message["sent_at"]) for message in desk.heard]
        assert times == sorted(times)
        # the machine's own time, not the site's clock, which stands in 2026-03 here
        assert abs(times[-1].timestamp() - time.time()) < 600
        assert len({json.dumps({**message, "attempt": 0, "sent_at": ""}) for message in desk.heard}) == 1

    run(work)


def test_a_receiver_checks_a_message_as_the_readme_says(history: History) -> None:
    """The lines of README.md for a receiver, on what was really sent."""

    async def work() -> None:
        desk = await Receiver().start()
        history.outbox.add("desk", "key", {"id": "0495ad51", "number": 0}, NOW_S)
        delivery = Delivery(history, destinations(desk=desk), Clock(NOW_S))
        delivery.start()
        await settled(history)
        await delivery.stop(1)
        await desk.stop()
        body, header = desk.bodies[0], desk.headers[0]["portdraw-signature"]
        seen: set[str] = set()
        assert is_new(body, header, SECRET, seen)
        assert not is_new(body, header, SECRET, seen)  # the same once more
        assert not is_new(body.replace(b'"number":0', b'"number":1'), header, SECRET, set())  # changed on the way
        assert not is_new(body, header, b"another key", set())
        old = body.replace(json.loads(body)["sent_at"][:4].encode(), b"2020", 1)
        signed = f"sha256={hmac_sha256(SECRET, old)}"
        assert not is_new(old, signed, SECRET, set())  # played again years later

    run(work)


def is_new(body: bytes, header: str, key: bytes, seen: set[str]) -> bool:
    wanted = "sha256=" + hmac.new(key, body, hashlib.sha256).hexdigest()
    if not hmac.compare_digest(wanted, header):
        return False  # not from us, or changed on the way
    message = json.loads(body)
    age_s = (datetime.now(UTC) - datetime.fromisoformat(message["sent_at"])).total_seconds()
    if abs(age_s) > 300 or message["id"] in seen:
        return False  # played again, or sent again after a crash
    seen.add(message["id"])
    return True


def test_messages_for_a_receiver_that_is_no_more_are_dropped_and_told_once(
    history: History, caplog: pytest.LogCaptureFixture
) -> None:
    async def work() -> None:
        desk = await Receiver().start()
        queue(history, range(3), "desk", "pager", "old-desk")
        delivery = Delivery(history, destinations(desk=desk), Clock(NOW_S))
        with caplog.at_level(logging.WARNING, "portdraw"):
            delivery.start()
        await settled(history)
        assert await delivery.stop(1) == 0
        assert desk.numbers == [0, 1, 2]
        await desk.stop()

    run(work)
    assert sorted(record.message for record in caplog.records) == [
        "3 messages for old-desk were dropped: the settings have no such receiver any more",
        "3 messages for pager were dropped: the settings have no such receiver any more",
    ]
