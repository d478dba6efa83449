"""What was learned of draws goes into the history and comes back from it; what can't be read stops nothing."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.judgement.test_draw_estimates import HALL, SITE, TREE, watch

from portdraw.history.store import History
from portdraw.judgement.memory import Memory
from portdraw.service.draw_keeper import DrawKeeper


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    one = History.open(tmp_path / "history", "Atlantic/Faroe")
    yield one
    one.close()


def test_it_comes_back_after_a_restart(history: History) -> None:
    _, memory = watch(180, Memory())
    DrawKeeper(history).keep(memory.draws)
    again = DrawKeeper(history).first_memory(SITE, TREE)
    assert again.sheet is not None
    assert again.draws[HALL].learning.ports == memory.draws[HALL].learning.ports


def test_it_writes_only_what_is_new(history: History, monkeypatch: pytest.MonkeyPatch) -> None:
    keeper = DrawKeeper(history)
    _, memory = watch(60, Memory())
    written: list[str] = []
    monkeypatch.setattr(history, "put_state", lambda key, value: written.append(key))
    keeper.keep(memory.draws)
    keeper.keep(memory.draws)
    assert written == [f"draws/{HALL}"]


def test_what_can_not_be_read_is_said_and_left(history: History, caplog: pytest.LogCaptureFixture) -> None:
    history.put_state(f"draws/{HALL}", {"format": 99, "ports": []})
    assert DrawKeeper(history).first_memory(SITE, TREE).draws == {}
    assert f"what was learned of the draws of {HALL} before the restart can't be taken up" in caplog.text


def test_without_a_history_nothing_is_kept() -> None:
    keeper = DrawKeeper(None)
    _, memory = watch(30, Memory())
    keeper.keep(memory.draws)
    assert keeper.first_memory(SITE, TREE).draws == {}
