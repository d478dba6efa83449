"""What the demo prints while it runs: the story's scenes, the alarms, and what the webhook was told."""

from __future__ import annotations

import asyncio
import shlex
import sys
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from portdraw.judgement.alarm_book import AlarmChange
from portdraw.service.clock import Clock


class DemoWords:
    """Prints each line with the site's clock, and keeps the changes that it saw."""

    def __init__(self, timezone: str, clock: Clock) -> None:
        self._zone = ZoneInfo(timezone)
        self._clock = clock
        self.came_up = 0
        self.over = 0

    def scene(self, told: str) -> None:
        """Tell a scene of the story."""
        self._line("story", told)

    def change(self, change: AlarmChange) -> None:
        """Tell an alarm that came up or is over."""
        if change.came_up:
            self.came_up += 1
            self._line("raised", change.alarm.sentence)
        elif change.is_over:
            self.over += 1
            self._line("returned", change.alarm.sentence)

    def message(self, message: dict[str, object]) -> None:
        """Tell what the receiver got."""
        where = message.get("where")
        unit = where.get("unit") if isinstance(where, dict) else "the site"
        self._line("webhook", f"got {message.get('state')}: {message.get('kind')}, {unit}")

    async def busy(self, note: Callable[[], str], every_wall_s: float = 1.0) -> None:
        """Look for a note that the machine can't follow the story; tell it once, and end."""
        said = ""
        while not said:
            await asyncio.sleep(every_wall_s)
            said = note()
        self._line("note", said)

    def _line(self, what: str, text: str) -> None:
        moment = datetime.fromtimestamp(self._clock.now_s(), self._zone).strftime("%H:%M:%S")
        say(f"{moment}  {what:8}  {text}")


def switch_lines(addresses: Mapping[str, str], settings: Path, access: str) -> Iterator[str]:
    """Yield the switches with their addresses, and a whole command that asks one of them."""
    yield "Switches:"
    width = max(map(len, addresses), default=0)
    for name, address in addresses.items():
        yield f"  {name:{width}}  {address}"
    first = next(iter(addresses.values()), "")
    words = [*own_command(), "probe", first, "--settings", str(settings), "--access", access]
    yield "Ask one of them, in another terminal while this runs:"
    yield f"  {shlex.join(words)}"


def own_command() -> list[str]:
    """Return how this program is called from any folder."""
    called = Path(sys.argv[0])
    if called.stem == "portdraw" and called.exists():
        return [str(called.absolute())]
    return [sys.executable, "-m", "portdraw"]


def say(text: str) -> None:
    """Print a line at once, also into a pipe."""
    print(text, flush=True)
