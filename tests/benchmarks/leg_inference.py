"""How well the legs are known: seeded incidents with known truth, the confusion table, and how soon it is decided.

    .venv/bin/python -m tests.benchmarks.leg_inference [--incidents 1000] [--seed 1]

Ends with 1 where a bound is missed: recall and precision of each state at least 0.99, no wrong state where a truthful
sign is there, and a median time to decision under two poll intervals. `tests/judgement/leg_scoring.py` says what
counts. Incident n is made from seed x 1,000,000 + n.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from collections import Counter
from collections.abc import Iterator

from tests.judgement.leg_scoring import JUDGED, Score, score_incidents

LEAST, MOST_POLLS = 0.99, 2.0
MOST_LINES = 20


def main() -> int:
    """Play the incidents, print the tables and say whether the bounds hold."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--incidents", type=int, default=1000)
    words.add_argument("--seed", type=int, default=1)
    asked = words.parse_args()
    began_s = time.process_time()
    first = asked.seed * 1_000_000
    score = Score()
    try:
        score_incidents(range(first, first + asked.incidents), score)
    except KeyboardInterrupt:
        print("interrupted: this is what was played until then")
    played = sum(score.kinds.values())
    print(f"{played} incidents, seed {asked.seed}, {time.process_time() - began_s:.0f} s of processor time")
    print("incidents by kind: " + ", ".join(f"{kind} {count}" for kind, count in sorted(score.kinds.items())))
    for judged in JUDGED:
        print("\n".join(_table(score, judged)))
    print(f"\nsigns of local AC of equal strength against each other: {score.contradictions} samples")
    for name, rows in (
        ("such samples without that reason", score.unreasoned),
        ("wrong states", score.wrong),
        ("wrong states without a single truthful sign", score.blind),
        ("due and not told", score.missed),
    ):
        kinds = Counter(row.split(", unit-")[0].split(", ", 1)[1] for row in rows)
        print(f"{name}: {len(rows)}" + "".join(f"; {kind}: {count}" for kind, count in kinds.most_common()))
    failed = list(_failures(score))
    for line in failed[:MOST_LINES]:
        print(f"MISSED: {line}")
    if len(failed) > MOST_LINES:
        print(f"and {len(failed) - MOST_LINES} more")
    return 1 if failed else 0


def _table(score: Score, judged: str) -> Iterator[str]:
    told = sorted({one for what, _, one in score.table if what == judged})
    width = max(len(one) for one in (*told, *score.states(judged))) + 2
    yield f"\n{judged}: samples, truth down, told across (in brackets: too soon after a change to count)"
    yield "".ljust(width) + "".join(one.rjust(width + 8) for one in told) + "recall".rjust(10) + "precision".rjust(12)
    for truth in score.states(judged):
        cells = (f"{score.table[judged, truth, one]} ({score.early[judged, truth, one]})" for one in told)
        figures = f"{score.recall(judged, truth):10.4f}{score.precision(judged, truth):12.4f}"
        yield truth.ljust(width) + "".join(cell.rjust(width + 8) for cell in cells) + figures
    polls = score.polls[judged]
    if polls:
        yield f"decided after {statistics.median(polls):.2f} polls (median of {len(polls)} changes)"


def _failures(score: Score) -> Iterator[str]:
    for judged in JUDGED:
        for state in score.states(judged):
            recall, precision = score.recall(judged, state), score.precision(judged, state)
            if min(recall, precision) < LEAST:
                yield f"{judged}, {state}: recall {recall:.4f}, precision {precision:.4f}"
        if score.polls[judged] and statistics.median(score.polls[judged]) >= MOST_POLLS:
            yield f"median time to decision of {judged}"
    yield from (*score.wrong, *score.unreasoned)


if __name__ == "__main__":
    sys.exit(main())
