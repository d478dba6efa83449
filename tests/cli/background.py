"""An event loop in a thread: what stands on the other side of a child process, and outlives it."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Coroutine
from typing import Any, TypeVar

Result = TypeVar("Result")
PATIENCE_S = 60.0


class Background:
    """Runs coroutines in a loop of its own, and waits for each."""

    def __init__(self) -> None:
        self.loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self.loop.run_forever, daemon=True)

    def __enter__(self) -> Background:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.loop.call_soon_threadsafe(self.loop.stop)
        self._thread.join(timeout=10)

    def do(self, work: Coroutine[Any, Any, Result]) -> Result:
        """Run in the loop and return the result."""
        return asyncio.run_coroutine_threadsafe(work, self.loop).result(timeout=PATIENCE_S)
