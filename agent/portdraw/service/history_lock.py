"""Keeps two agents from writing one history: each second would count twice, each alarm be told twice."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

try:
    import fcntl
except ImportError:  # a machine without POSIX locks goes without
    fcntl = None  # type: ignore[assignment]

LOCK_NAME = "agent.lock"


@contextlib.contextmanager
def history_lock(folder: Path) -> Iterator[bool]:
    """Hold the lock of a history folder; yields False where another agent holds it. Ends with the process."""
    if fcntl is None:
        yield True
        return
    try:
        file = (folder / LOCK_NAME).open("a")
    except OSError:
        yield True  # the folder's own fault is told by the history itself
        return
    with file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            yield False
            return
        yield True
