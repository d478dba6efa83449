"""A child process that writes cycles until it is killed, and says each one that was acknowledged."""

from __future__ import annotations

import sys
from pathlib import Path

from tests.history.samples import observation

from portdraw.history.store import History


def main() -> None:
    """Write one cycle after the other; print its number only after record_cycle returned."""
    history = History.open(Path(sys.argv[1]), "UTC")
    start_s = 1_772_409_600.0
    for number in range(1_000_000):
        time_s = start_s + 30 * number
        draws = {str(port): 5.0 + (number + port) % 40 / 10 for port in range(1, 25)}
        history.record_cycle([observation(unit, time_s, draws) for unit in ("core", "north-pier")], 30)
        sys.stdout.write(f"{number}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
