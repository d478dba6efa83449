"""A child process that writes cycles as the agent does until it is killed, and says each one that was acknowledged.

    python -m tests.history.writer_child FOLDER

It goes on after the last cycle that it finds. Ten minutes of site time lie between two cycles, so that days are
closed in the midst of the writing.
"""

from __future__ import annotations

import sys
from pathlib import Path

from tests.history.samples import observation

from portdraw.history.store import History
from portdraw.observation.unit_observation import UnitObservation

START_S = 1_772_409_600.0  # 2026-03-02 00:00 UTC
STEP_S = 600.0
UNITS = ("core", "north-pier")
PORTS = 24
RECEIVER = "desk"
BOOK = "alarm-book"
HOT_DAYS = 400  # nothing is pruned, so that every cycle can be looked at


def cycle_time_s(number: int) -> float:
    """Return the site time of a cycle [s since the epoch]."""
    return START_S + STEP_S * number


def draw_w(number: int, port: int) -> float:
    """Return what a port draws in a cycle [W]."""
    return 5.0 + (number * 7 + port) % 40 / 10


def observations(number: int) -> list[UnitObservation]:
    """Return what both units tell in a cycle."""
    draws = {str(port): draw_w(number, port) for port in range(1, PORTS + 1)}
    return [observation(unit, cycle_time_s(number), draws) for unit in UNITS]


def main() -> None:
    """Write one cycle after the other; print its number only after every call of it has returned."""
    history = History.open(Path(sys.argv[1]), "UTC", HOT_DAYS)
    last = history.last_hot(UNITS[0])
    number = 0 if last is None else round((last.time_ms / 1000 - START_S) / STEP_S) + 1
    while True:
        time_s = cycle_time_s(number)
        history.record_cycle(observations(number), STEP_S)
        history.outbox.add(RECEIVER, str(number), {"number": number}, time_s)
        history.add_event(time_s, "alarm-raised", "core", None, str(number), {"number": number})
        history.put_state(BOOK, {"number": number})
        history.close_days(time_s)
        sys.stdout.write(f"{number}\n")
        sys.stdout.flush()
        number += 1


if __name__ == "__main__":
    main()
