"""Two agents never write one history."""

from __future__ import annotations

from pathlib import Path

from portdraw.service.history_lock import history_lock


def test_the_second_gets_no_lock_and_the_next_one_does(tmp_path: Path) -> None:
    with history_lock(tmp_path) as first:
        assert first
        with history_lock(tmp_path) as second:
            assert not second
    with history_lock(tmp_path) as third:
        assert third


def test_a_folder_that_cannot_be_used_is_told_by_the_history_itself(tmp_path: Path) -> None:
    with history_lock(tmp_path / "nowhere") as lock:
        assert lock
