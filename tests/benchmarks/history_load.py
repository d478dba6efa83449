"""What the history costs: 720 ports read each 30 s for 30 days, written through the agent's own calls, then audited.

    .venv/bin/python -m tests.benchmarks.history_load [--days 30] [--long 180] [--folder FOLDER]

Time is simulated; each cycle is written as the agent writes it, and each day is closed when it is over. The yardstick
of the same run is what a person would write down first: a table with one row a reading, for two of the days. Each
part runs in a process of its own, so that its peak of memory is its own.

For the long period the written days are laid several times one before the other (port-days alone: an audit of closed
days reads nothing else). The draws are invented: a base for each port, more at night, and noise of some 0.1 W.
"""

from __future__ import annotations

import argparse
import gc
import multiprocessing
import os
import random
import resource
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from multiprocessing.connection import Connection
from pathlib import Path
from statistics import median

from portdraw.history.site_day import day_start_s
from portdraw.history.store import FILE_NAME, History
from portdraw.observation.record import Basis, PortState, Quantity, Record
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.loader import parse_site
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.reporting.audit.audit import build_audit

UNITS, PORTS = 15, 48
EVERY_S = 30.0
DAY_S = 86_400.0
FIRST_DAY = date(2026, 1, 5)
LIMIT_MS = 5.0
YARDSTICK_DAYS = 2
SOURCE = "invented"
NOISE = 4096  # length of each port's list of noise: longer than a day of cycles


def site() -> Site:
    """Return a site of 15 units with 48 device ports each, without changes of summer time."""
    ports = "".join(
        f"      {port}: {{device: DEVICE-{port}, type: camera, cable: {{length_m: 30, conductor: copper}}}}\n"
        for port in range(1, PORTS + 1)
    )
    units = "".join(
        f"  {name}:\n    address: 10.40.0.{number}\n    access: v3\n    supplies: [{{from: c-{number}}}]\n"
        f"    pse: {{budget_w: 740, voltage_v: 54, ports: {PORTS}, class_max: 4}}\n"
        f"    ports:\n{ports.replace('DEVICE', name)}"
        for number, name in enumerate(unit_names(), 1)
    )
    circuits = "".join(
        f'  c-{number}: {{panel: P1, breaker: "{number}", rating_a: 16}}\n' for number in range(1, UNITS + 1)
    )
    return parse_site(
        'format: 1\nsite: {name: Load, timezone: UTC, night: {from: "20:00", to: "06:30"}}\n'
        "incomers: {town: {rating_a: 400}}\npanels: {P1: {fed_from: town}}\n"
        f"circuits:\n{circuits}device_types:\n  camera: {{class: 4, typical_w: 7, night_w: 11}}\nunits:\n{units}"
    )


def unit_names() -> list[str]:
    """Return the names of the units."""
    return [f"unit-{number:02}" for number in range(1, UNITS + 1)]


class Draws:
    """The invented watts [0.1 W], the same for the history and its yardstick."""

    def __init__(self) -> None:
        dice = random.Random(7)
        self._ports = [
            (
                dice.randint(25, 120),
                dice.choice((0, 0, 38)),
                [round(dice.gauss(0, dice.choice((1, 2, 4)))) for _ in range(NOISE)],
            )
            for _ in range(UNITS * PORTS)
        ]

    def at(self, cycle: int) -> Iterator[int]:
        """Yield the draw of every port in a cycle [0.1 W]."""
        hour = cycle * EVERY_S % DAY_S / 3600
        dark, day, at = hour < 6.5 or hour >= 20, int(cycle * EVERY_S // DAY_S), cycle % NOISE
        for base_dw, night_dw, noise in self._ports:
            draw_dw = base_dw + noise[at] + day % 7
            yield max(0, draw_dw + night_dw if dark else draw_dw)


class Observations:
    """Makes the observations of a cycle. History keeps no record's own time, so records are made once and shared."""

    def __init__(self) -> None:
        self._draws = Draws()
        self._states = [
            Record(str(port), Quantity.PORT_STATE, PortState.DELIVERING, "", None, SOURCE, 0.0)
            for port in range(1, PORTS + 1)
        ]
        self._known: dict[tuple[int, int], Record] = {}

    def at(self, cycle: int, start_s: float) -> list[UnitObservation]:
        """Return what every unit told in a cycle."""
        time_s = start_s + cycle * EVERY_S
        draws = list(self._draws.at(cycle))
        found = []
        for number, unit in enumerate(unit_names()):
            own = draws[number * PORTS : (number + 1) * PORTS]
            records = [self._record(port, draw_dw) for port, draw_dw in enumerate(own)]
            records += self._states
            records.append(
                Record(None, Quantity.UNIT_DRAW, float(sum(own) // 10), "W", Basis.MEASURED, SOURCE, time_s)
            )
            # each answer has a time of its own, spread over the interval, as the poller spreads its polls
            ended_s = time_s + EVERY_S * number / UNITS
            found.append(UnitObservation(unit, ended_s - 0.1, ended_s, Outcome.ANSWERED, "", tuple(records)))
        return found

    def _record(self, port: int, draw_dw: int) -> Record:
        record = self._known.get((port, draw_dw))
        if record is None:
            record = Record(str(port + 1), Quantity.PORT_DRAW, draw_dw / 10, "W", Basis.MEASURED, SOURCE, 0.0)
            self._known[port, draw_dw] = record
        return record


def write(folder: str, days: int) -> dict[str, float]:
    """Write the days through the history's own calls; times in ms and s."""
    start_s = day_start_s(FIRST_DAY, History.open(Path(folder), "UTC").zone)
    history = History.open(Path(folder), "UTC")
    observations = Observations()
    per_day = round(DAY_S / EVERY_S)
    cycles_ms: list[float] = []
    cpu_ms: list[float] = []
    closing_s: list[float] = []
    for cycle in range(days * per_day):
        told = observations.at(cycle, start_s)
        began_s, cpu_began_s = time.perf_counter(), time.process_time()
        history.record_cycle(told, EVERY_S)
        cycles_ms.append(1000 * (time.perf_counter() - began_s))
        cpu_ms.append(1000 * (time.process_time() - cpu_began_s))
        if (cycle + 1) % per_day == 0:
            began_s = time.perf_counter()
            history.close_days(start_s + (cycle + 1) * EVERY_S)
            closing_s.append(time.perf_counter() - began_s)
    info = history.info()
    readings = info.hot_rows * PORTS
    hot_bytes, day_bytes = (
        history.rows(f"SELECT sum(pgsize) FROM dbstat WHERE name = '{name}'")[0][0] or 0
        if _has_dbstat(history)
        else 0
        for name in ("hot", "port_day")
    )
    history.close()
    cycles_ms.sort()
    cpu_ms.sort()
    return {
        "readings": float(days * per_day * UNITS * PORTS),
        "bytes": float(sum(file.stat().st_size for file in Path(folder).iterdir())),
        "hot readings": float(readings),
        "hot bytes": float(hot_bytes),
        "day bytes": float(day_bytes),
        "median ms": median(cycles_ms),
        "p99 ms": cycles_ms[len(cycles_ms) * 99 // 100],
        "largest ms": cycles_ms[-1],
        "cpu ms": median(cpu_ms),
        "cpu p99 ms": cpu_ms[len(cpu_ms) * 99 // 100],
        "closing s": median(closing_s),
        "peak MB": peak_mb(),
    }


def _has_dbstat(history: History) -> bool:
    """Say whether this SQLite counts the pages of each table (a compile-time option)."""
    return any("ENABLE_DBSTAT_VTAB" in row for row in history.rows("PRAGMA compile_options"))


def plain_write(folder: str) -> dict[str, float]:
    """The yardstick: one row a reading, in the same mode of the same database, for two days; then percentiles."""
    connection = sqlite3.connect(Path(folder) / "plain.sqlite", isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = NORMAL")
    connection.execute(
        "CREATE TABLE reading (time_ms INTEGER, unit INTEGER, port INTEGER, draw_dw INTEGER, state INTEGER, "
        "PRIMARY KEY (time_ms, unit, port)) WITHOUT ROWID"
    )
    draws = Draws()
    start_ms = round(datetime(FIRST_DAY.year, FIRST_DAY.month, FIRST_DAY.day, tzinfo=UTC).timestamp() * 1000)
    cycles = round(YARDSTICK_DAYS * DAY_S / EVERY_S)
    cycles_ms = []
    for cycle in range(cycles):
        time_ms = start_ms + round(cycle * EVERY_S * 1000)
        told = list(draws.at(cycle))
        began_s = time.perf_counter()
        rows = [
            (time_ms + number // PORTS * 2000, number // PORTS, number % PORTS + 1, draw_dw, 3)
            for number, draw_dw in enumerate(told)
        ]
        connection.execute("BEGIN IMMEDIATE")
        connection.executemany("INSERT INTO reading VALUES (?, ?, ?, ?, ?)", rows)
        connection.execute("COMMIT")
        cycles_ms.append(1000 * (time.perf_counter() - began_s))
    began_s = time.perf_counter()
    # ordered by port and draw, every percentile is a row at a known place
    for _ in connection.execute("SELECT unit, port, draw_dw FROM reading ORDER BY unit, port, draw_dw"):
        pass
    audit_s = time.perf_counter() - began_s
    connection.close()
    size = sum(file.stat().st_size for file in Path(folder).glob("plain.sqlite*"))
    cycles_ms.sort()
    return {
        "bytes a reading": size / (cycles * UNITS * PORTS),
        "median ms": median(cycles_ms),
        "p99 ms": cycles_ms[len(cycles_ms) * 99 // 100],
        "audit s a day": audit_s / YARDSTICK_DAYS,
        "peak MB": peak_mb(),
    }


def lengthen(folder: str, days: int, wanted: int) -> dict[str, float]:
    """Lay the written port-days before themselves until there are `wanted` of them."""
    connection = sqlite3.connect(Path(folder) / FILE_NAME)
    done = days
    while done < wanted:
        more = min(days, wanted - done)
        first, last = FIRST_DAY.isoformat(), (FIRST_DAY + timedelta(days=more - 1)).isoformat()
        back = f"-{done + (days - more)} days" if more < days else f"-{done} days"
        connection.execute(
            "INSERT INTO port_day SELECT date(day, ?), unit, port, body FROM port_day WHERE day BETWEEN ? AND ?",
            (back, first, last),
        )
        done += more
    connection.commit()
    connection.close()
    return {}


def audit(folder: str, first_s: float, last_s: float) -> dict[str, float]:
    """Build the audit of a period from the history alone."""
    plan = site()
    tree = Tree(plan)
    history = History.open(Path(folder), "UTC", read_only=True)
    gc.collect()
    before_mb = peak_mb()
    began_s = time.perf_counter()
    result = build_audit(plan, tree, history, first_s, last_s, last_s, emulated=False)
    took_s = time.perf_counter() - began_s
    history.close()
    if len(result.ports) != UNITS * PORTS:
        raise SystemExit(f"the audit has {len(result.ports)} ports instead of {UNITS * PORTS}")
    return {"s": took_s, "peak MB": peak_mb(), "before MB": before_mb}


def peak_mb() -> float:
    """Return this process's peak of memory [MB]; ru_maxrss is in KiB on Linux (getrusage(2))."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def apart(work: Callable[..., dict[str, float]], *values: object) -> dict[str, float]:
    """Run a part in a fresh process and return its figures; where it fails, its own words say why."""
    spawn = multiprocessing.get_context("spawn")
    ours, theirs = spawn.Pipe(duplex=False)
    child = spawn.Process(target=_tell, args=(theirs, work, values))
    child.start()
    theirs.close()
    try:
        figures: dict[str, float] = ours.recv()
    except EOFError:
        raise SystemExit(f"{work.__name__} failed") from None
    finally:
        child.join()
    return figures


def _tell(pipe: Connection, work: Callable[..., dict[str, float]], values: tuple[object, ...]) -> None:
    pipe.send(work(*values))


def main() -> None:
    """Run it and print the figures."""
    parser = argparse.ArgumentParser(description="cost of the history")
    parser.add_argument("--days", type=int, default=30)
    parser.add_argument("--long", type=int, default=180, help="days of the long audit; 0 leaves it out")
    parser.add_argument("--folder", type=Path, default=None, help="where to write; a throw-away folder otherwise")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="portdraw-history-", dir=chosen.folder) as folder:
        _run(folder, max(1, chosen.days), chosen.long)


def _run(folder: str, days: int, long: int) -> None:
    plain = apart(plain_write, folder)
    for file in Path(folder).iterdir():
        file.unlink()
    ours = apart(write, folder, days)
    start_s = datetime(FIRST_DAY.year, FIRST_DAY.month, FIRST_DAY.day, tzinfo=UTC).timestamp()
    end_s = start_s + days * DAY_S - 1
    short_audit = apart(audit, folder, start_s, end_s)
    per_reading = ours["bytes"] / ours["readings"]
    print(f"{UNITS} units, {UNITS * PORTS} ports, each {EVERY_S:.0f} s, {days} days, {os.cpu_count()} cores")
    print(
        f"on disk: {ours['bytes'] / 1e6:.0f} MB after {ours['readings'] / 1e6:.1f} million readings, "
        f"{per_reading:.2f} bytes a reading ({ours['hot bytes'] / 1e6:.0f} MB hot: "
        f"{ours['hot bytes'] / max(1.0, ours['hot readings']):.2f} bytes a reading; "
        f"{ours['day bytes'] / 1e6:.1f} MB port-days: {ours['day bytes'] / 1e6 / days:.2f} MB a day)"
    )
    print(
        f"write time of a cycle: median {ours['median ms']:.2f} ms, p99 {ours['p99 ms']:.2f} ms, "
        f"largest {ours['largest ms']:.0f} ms; its CPU: median {ours['cpu ms']:.2f} ms, "
        f"p99 {ours['cpu p99 ms']:.2f} ms (limit {LIMIT_MS:.0f} ms)"
    )
    print(f"closing a day: {ours['closing s']:.1f} s; peak memory of the writer {ours['peak MB']:.0f} MB")
    print(f"audit of {days} days: {short_audit['s']:.1f} s, peak memory {short_audit['peak MB']:.0f} MB")
    print(
        f"yardstick, one row a reading, {YARDSTICK_DAYS} days: {plain['bytes a reading']:.1f} bytes a reading, "
        f"median {plain['median ms']:.2f} ms, p99 {plain['p99 ms']:.2f} ms a cycle; "
        f"its sorting alone {plain['audit s a day'] * days:.0f} s for {days} days"
    )
    print(
        f"ratio ours / yardstick: bytes {per_reading / plain['bytes a reading']:.3f}, "
        f"write time {ours['median ms'] / plain['median ms']:.2f}, "
        f"audit {short_audit['s'] / (plain['audit s a day'] * days):.3f}"
    )
    if long > days:
        apart(lengthen, folder, days, long)
        told = apart(audit, folder, start_s - (long - days) * DAY_S, end_s)
        print(
            f"audit of {long} days: {told['s']:.1f} s, peak memory {told['peak MB']:.0f} MB "
            f"(before it began {told['before MB']:.0f} MB)"
        )


if __name__ == "__main__":
    main()
