"""How a unit's newest polls went, one after the other: what says that it is read, not read, or refuses us.

One poll says little of a unit whose answers are patchy: two in a row decide, and what brings nothing decides nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from portdraw.observation.unit_observation import Outcome, UnitObservation

USABLE = (Outcome.ANSWERED, Outcome.PARTIAL)
IN_A_ROW = 2  # common practice: one poll may go wrong, or right, by chance
LOST_IN_A_ROW = 3  # common practice, as for staleness: two to three polls that bring nothing


@dataclass(frozen=True)
class PollRun:
    """The newest polls of a unit. `ended_s` [s since the epoch] is when the newest of them ended.

    `usable`, `refused`, `blank` (silence or garbage) count how many of that sort came in a row, up to the newest.
    `refuses`: it refused us twice in a row, and has not been read twice in a row since; `why` is what it gave as
    the reason. `settled`: it is read, with no other poll since the last two of them.
    """

    ended_s: float
    usable: int = 0
    refused: int = 0
    blank: int = 0
    refuses: bool = False
    settled: bool = False
    why: str = ""

    @property
    def is_lost(self) -> bool:
        """Say whether it has brought nothing for so long that it may be dark, not only refusing us."""
        return self.blank >= LOST_IN_A_ROW


def next_run(before: PollRun | None, observation: UnitObservation) -> PollRun:
    """Return the run with one more poll; the same one again changes nothing."""
    if before is not None and before.ended_s == observation.ended_s:
        return before
    run = PollRun(observation.ended_s) if before is None else replace(before, ended_s=observation.ended_s)
    if observation.outcome in USABLE:
        usable = run.usable + 1
        settled = before is None or run.settled or usable >= IN_A_ROW
        return replace(run, usable=usable, refused=0, blank=0, settled=settled, refuses=run.refuses and not settled)
    if observation.outcome is Outcome.REFUSED:
        refused = run.refused + 1
        refuses = run.refuses or refused >= IN_A_ROW
        why = observation.reason or run.why
        return replace(run, usable=0, refused=refused, blank=0, settled=False, refuses=refuses, why=why)
    return replace(run, usable=0, refused=0, blank=run.blank + 1, settled=False)
