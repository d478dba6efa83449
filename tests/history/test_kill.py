"""kill -9 under load, fifty times over one history: no acknowledged cycle is lost, and none is there in part.

A cycle counts as acknowledged when the calls that wrote it have returned, that is after COMMIT with a write-ahead
log and synchronous=NORMAL (https://www.sqlite.org/pragma.html#pragma_synchronous): what was committed is with the
operating system and outlives the process. A loss of mains may still take the newest commits, but never the file's
soundness.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.history.writer_child import (
    BOOK,
    HOT_DAYS,
    PORTS,
    RECEIVER,
    START_S,
    STEP_S,
    UNITS,
    cycle_time_s,
    draw_w,
)

from portdraw.history.store import History

REPOSITORY = Path(__file__).parents[2]
KILLS = 50
DAY_MS = 86_400_000
PER_DAY = round(86_400 / STEP_S)
LONGEST_WAIT_S = 0.15  # some 50 cycles
EARLY_SHARE = 0.2  # killed while it starts or takes up the log of the one before


def write_until_killed(folder: Path, dice: random.Random) -> list[int]:
    """Start a child, kill it at a random moment, and return the cycles that it said were acknowledged."""
    child = subprocess.Popen(
        [sys.executable, "-m", "tests.history.writer_child", str(folder)],
        cwd=REPOSITORY,
        env={**os.environ, "PYTHONPATH": f"{REPOSITORY / 'agent'}{os.pathsep}{REPOSITORY}"},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert child.stdout is not None
    assert child.stderr is not None
    try:
        first = "" if dice.random() < EARLY_SHARE else child.stdout.readline()
        time.sleep(dice.uniform(0, LONGEST_WAIT_S))
        assert child.poll() is None, child.stderr.read()
    finally:
        child.send_signal(signal.SIGKILL)
    lines = (first + child.stdout.read()).split("\n")[:-1]  # the last line may be cut short
    child.stderr.close()
    child.stdout.close()
    assert child.wait() == -signal.SIGKILL
    return [int(line) for line in lines]


def check(folder: Path, first: int, acknowledged: set[int]) -> int:
    """Check all from cycle `first` on; return how many there are. Also one that was never acknowledged is whole."""
    expected = {number for number in acknowledged if number >= first}
    history = History.open(folder, "UTC", HOT_DAYS)
    found: dict[int, dict[str, tuple[float | None, ...]]] = {}
    for reading in history.hot(cycle_time_s(first), 1e11):
        number, rest = divmod(reading.time_ms / 1000 - START_S, STEP_S)
        assert rest == 0
        found.setdefault(int(number), {})[reading.unit] = tuple(
            reading.draw_w(str(port)) for port in range(1, PORTS + 1)
        )
    count = first + len(found)
    assert sorted(found) == list(range(first, count))
    for number, by_unit in found.items():
        whole = tuple(draw_w(number, port) for port in range(1, PORTS + 1))
        assert by_unit == dict.fromkeys(UNITS, whole)
    assert expected <= set(found)
    told = [event.data["number"] for event in history.events(cycle_time_s(first), 1e11)]
    assert len(told) == len(set(told))
    assert expected <= set(told) <= set(found)
    state = history.get_state(BOOK)
    assert (-1 if state is None else state["number"]) >= max(acknowledged, default=-1)
    queued = {item.key for item in history.outbox.due(1e12, RECEIVER, limit=1_000_000)}
    assert {str(number) for number in expected} <= queued
    assert history.rows("PRAGMA integrity_check")[0][0] == "ok"
    history.close()
    return count


def test_fifty_kills_lose_no_acknowledged_cycle(tmp_path: Path) -> None:
    dice = random.Random(1907)
    acknowledged: set[int] = set()
    seen = spoke = 0
    for _ in range(KILLS):
        said = write_until_killed(tmp_path, dice)
        spoke += bool(said)
        if said:
            assert said == list(range(seen, seen + len(said)))  # it went on where the file ended
            acknowledged.update(said)
        seen = check(tmp_path, max(0, seen - 1), acknowledged)
    assert spoke > KILLS / 2
    check(tmp_path, 0, acknowledged)
    history = History.open(tmp_path, "UTC", HOT_DAYS)
    closed = history.close_days(cycle_time_s(seen))
    assert seen > 2 * PER_DAY, "the days of this run were too few to say anything of closing them"
    assert len(closed) <= 1  # the others were closed by the children
    first_day = datetime.fromtimestamp(START_S, UTC).date()
    for number in range(seen // PER_DAY):
        day = first_day + timedelta(days=number)
        known = {
            (one.unit, one.port): sum(one.ms_at.values())
            for one in history.each_port_day(day, day)
            if one.port is not None
        }
        assert known == {(unit, str(port)): DAY_MS for unit in UNITS for port in range(1, PORTS + 1)}
    history.close()
