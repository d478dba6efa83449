"""An event loop whose time jumps to the next timer: waiting costs nothing, and every time is exact."""

from __future__ import annotations

import asyncio
import selectors
from collections.abc import Callable, Coroutine
from typing import Any, TypeVar

T = TypeVar("T")


class _Jumping(selectors.SelectSelector):
    """Never waits; tells how long it should have waited."""

    jump: Callable[[float], None]

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        found = super().select(0)
        if not found:
            assert timeout is not None, "nothing is due any more: the loop would wait for ever"
            self.jump(max(0.0, timeout))
        return found


class VirtualLoop(asyncio.SelectorEventLoop):
    """A loop that begins at 0 s."""

    def __init__(self) -> None:
        self._virtual_s = 0.0
        selector = _Jumping()
        selector.jump = self._advance
        super().__init__(selector)

    def time(self) -> float:
        """Return the virtual time."""
        return self._virtual_s

    def _advance(self, seconds: float) -> None:
        self._virtual_s += seconds


class VirtualClock:
    """A site clock over the loop's virtual time; `shift_s` sets it back or forth."""

    def __init__(self, start_s: float = 0.0, scale: float = 1.0) -> None:
        self.start_s, self.scale, self.shift_s = start_s, scale, 0.0

    def now_s(self) -> float:
        """Return the site time."""
        return self.start_s + asyncio.get_running_loop().time() * self.scale + self.shift_s

    def wall_s(self, site_s: float) -> float:
        """Return virtual wall seconds."""
        return site_s / self.scale


def run_virtual(work: Callable[[], Coroutine[Any, Any, T]]) -> T:
    """Run work in a loop of virtual time; fail on anything that the loop has to report."""
    escaped: list[str] = []

    async def watched() -> T:
        asyncio.get_running_loop().set_exception_handler(lambda _, context: escaped.append(repr(context)))
        return await work()

    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        result = runner.run(watched())
    assert not escaped
    return result
