"""How long a client may take, and how much may wait for it: figures, and a pure judgement of one connection.

The figures are common practice, no source; each is far above what a slow but honest client needs.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

HANDSHAKE_S = 10.0
HEAD_S = 10.0
BODY_S = 10.0
ANSWER_S = 60.0
STALL_S = 20.0
KEEP_ALIVE_S = 5

MOST_HEAD_OCTETS = 16 * 1024
MOST_BODY_OCTETS = 8 * 1024
MOST_TARGET_OCTETS = 2000
MOST_UNSENT_OCTETS = 64 * 1024 * 1024  # of all connections together

MOST_CONNECTIONS = 400
MOST_CONNECTIONS_OF_ONE = 50
MOST_RUNNING = 64
MOST_STREAMS = 32
REQUESTS_PER_S = 20.0
REQUESTS_AT_ONCE = 100.0


class Phase(StrEnum):
    """What a connection is at."""

    GREETING = "greeting"  # TLS is being agreed
    WAITING = "waiting"  # no whole request head is there
    BODY = "body"  # the rest of the request is awaited
    ANSWERING = "answering"  # an answer is made or sent
    STREAMING = "streaming"  # an answer that has no end


_LONGEST_S = {Phase.GREETING: HANDSHAKE_S, Phase.WAITING: HEAD_S, Phase.BODY: BODY_S, Phase.ANSWERING: ANSWER_S}


@dataclass(frozen=True)
class Moment:
    """A connection as it is at one moment. `request` counts its requests; `unsent_octets` wait to be taken."""

    phase: Phase
    request: int
    unsent_octets: int


@dataclass(frozen=True)
class Progress:
    """Since when [s] a connection is at its phase, and since when what it has to take has not become less."""

    moment: Moment
    phase_since_s: float
    stuck_since_s: float | None = None


def follow(before: Progress | None, moment: Moment, now_s: float) -> Progress:
    """Return the progress with what is so at `now_s`."""
    stuck_since_s: float | None = None
    if before is not None and moment.unsent_octets and moment.unsent_octets >= before.moment.unsent_octets > 0:
        stuck_since_s = now_s if before.stuck_since_s is None else before.stuck_since_s
    same = before is not None and (before.moment.phase, before.moment.request) == (moment.phase, moment.request)
    return Progress(moment, before.phase_since_s if before is not None and same else now_s, stuck_since_s)


def overdue(progress: Progress, now_s: float) -> str:
    """Return why a connection is to be cut at `now_s`, "" where it is not."""
    phase = progress.moment.phase
    longest_s = _LONGEST_S.get(phase)
    if longest_s is not None and now_s - progress.phase_since_s > longest_s:
        return f"{phase.value} for more than {longest_s:g} s"
    if progress.stuck_since_s is not None and now_s - progress.stuck_since_s > STALL_S:
        return f"nothing taken for more than {STALL_S:g} s"
    return ""
