"""Whether the polls of a site keep up: for site time that runs faster than a busy machine can follow."""

from __future__ import annotations

from collections import deque

from portdraw.observation.unit_observation import Outcome, UnitObservation

# Common practice, no source: a story that loses more than that is no longer the one that is told.
MOST_BAD_SHARE = 0.25
ROUNDS = 8  # of all units: what the share is taken over
MOST_TURNS = 10  # of one unit that count at once
_GOOD = (Outcome.ANSWERED, Outcome.PARTIAL)


class PollWatch:
    """Takes each regular poll and tells the share of turns that were lost, or skipped because one came late.

    `every_s` is the poll interval [s of the site clock], `units` how many are polled. Not thread-safe.
    """

    def __init__(self, every_s: float, units: int) -> None:
        self._every_s = every_s
        self._least = 4 * units
        self._bad: deque[bool] = deque(maxlen=max(1, ROUNDS * units))
        self._began_s: dict[str, float] = {}

    def take(self, observation: UnitObservation) -> None:
        """Count one poll, and the turns before it that were skipped."""
        before_s = self._began_s.get(observation.unit)
        self._began_s[observation.unit] = observation.began_s
        if before_s is not None:
            skipped = round((observation.began_s - before_s) / self._every_s) - 1
            self._bad.extend([True] * max(0, min(skipped, MOST_TURNS)))
        self._bad.append(observation.outcome not in _GOOD)

    @property
    def bad_share(self) -> float:
        """Return the share of turns that brought nothing, of the newest rounds; 0 before there are enough."""
        return sum(self._bad) / len(self._bad) if self._bad and len(self._bad) >= self._least else 0.0

    def words(self, scale: float) -> str:
        """Return why site time at `scale` is too fast for this machine, "" where it keeps up or time is real."""
        if scale <= 1 or self.bad_share <= MOST_BAD_SHARE:
            return ""
        times = "fifteen" if scale == 15 else f"{scale:g}"
        return (
            f"this machine is too busy for site time at {times} times: polls are late or lost, so alarms come and go "
            "that the story does not tell; run it on a quieter machine"
        )
