"""Messages are kept until delivered, over a restart too, and none is queued twice."""

from __future__ import annotations

from pathlib import Path

from portdraw.history.store import History


def test_a_message_lives_until_it_is_delivered(tmp_path: Path) -> None:
    """Queue, fail, restart, deliver."""
    history = History.open(tmp_path, "UTC")
    assert history.outbox.add("desk", "a1", {"text": "north-pier lost local AC"}, 100.0)
    assert history.outbox.add("phone", "a1", {"text": "north-pier lost local AC"}, 100.0)
    first = history.outbox.due(100.0, "desk")[0]
    history.outbox.failed(first.number, "connection refused", 160.0)
    assert [item.receiver for item in history.outbox.due(159.0)] == ["phone"]
    history.close()

    again = History.open(tmp_path, "UTC")
    kept = again.outbox.due(160.0, "desk")[0]
    assert (kept.attempts, kept.last_error, kept.due_s) == (1, "connection refused", 160.0)
    assert kept.payload == {"text": "north-pier lost local AC"}
    again.outbox.done(kept.number, 161.0)
    assert again.outbox.due(1e9, "desk") == []
    assert again.outbox.waiting() == 1
    again.close()


def test_the_same_message_is_not_queued_twice(tmp_path: Path) -> None:
    """Not while it waits, and not after it was delivered; after a month its key is free."""
    history = History.open(tmp_path, "UTC")
    assert history.outbox.add("desk", "a1", {"n": 1}, 100.0)
    assert not history.outbox.add("desk", "a1", {"n": 2}, 101.0)
    item = history.outbox.due(101.0)[0]
    assert item.payload == {"n": 1}
    history.outbox.done(item.number, 102.0)
    assert not history.outbox.add("desk", "a1", {"n": 3}, 103.0)
    history.outbox.forget(103.0)
    assert history.outbox.add("desk", "a1", {"n": 4}, 104.0)
    history.close()


def test_order_and_limit(tmp_path: Path) -> None:
    """First in, first out."""
    history = History.open(tmp_path, "UTC")
    for number in range(5):
        history.outbox.add("desk", f"a{number}", {"n": number}, 100.0 - number)
    assert [item.payload["n"] for item in history.outbox.due(100.0, limit=3)] == [0, 1, 2]
    history.close()


def test_what_waits_for_others_is_dropped_and_counted(tmp_path: Path) -> None:
    history = History.open(tmp_path, "UTC")
    for receiver in ("desk", "pager", "old"):
        for number in range(2):
            history.outbox.add(receiver, f"a{number}", {"n": number}, 100.0)
    history.outbox.done(history.outbox.due(100.0, "old")[0].number, 101.0)
    assert history.outbox.drop_others(("desk", "new")) == {"pager": 2, "old": 1}
    assert [item.receiver for item in history.outbox.due(100.0)] == ["desk", "desk"]
    assert history.outbox.drop_others(("desk",)) == {}
    assert not history.outbox.add("old", "a0", {"n": 0}, 102.0)  # what was delivered is still known as such
    history.close()
