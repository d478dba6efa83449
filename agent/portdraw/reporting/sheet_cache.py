"""Sheets that were made already, so that many readers of one page cost as much as one."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable

MOST_SHEETS = 48


class SheetCache:
    """Keeps the newest sheet of each page. Safe for threads: one sheet is made at a time, the others wait for it."""

    def __init__(self, most: int = MOST_SHEETS) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._kept: OrderedDict[Hashable, tuple[tuple[object, ...], str]] = OrderedDict()

    def sheet(self, page: Hashable, facts: tuple[object, ...], make: Callable[[], str]) -> str:
        """Return the sheet of a page made from `facts`; `make` is called where they are others than last time."""
        with self._lock:
            kept = self._kept.get(page)
            if kept is None or any(old is not new and old != new for old, new in zip(kept[0], facts, strict=True)):
                kept = (facts, make())
                self._kept[page] = kept
            self._kept.move_to_end(page)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
            return kept[1]
