"""What the agent costs on a large site: 100 units of 48 ports, each 30 s read, recorded, judged, stored, published.

    .venv/bin/python -m tests.benchmarks.site_load [--units 100] [--intervals 3] [--version 3]

The units are emulated in a process of their own, which does not count; the agent is the one that `portdraw run`
starts, in another, with its history on disk. While it runs somebody scrapes /metrics and opens the overview once an
interval. Counting begins when everything was read for the first time. Slow columns are due every tenth interval, each
unit in its own. The yardstick is what a person's script would do in the same time: one `snmpbulkget` process for each
unit and interval that fetches state and watts, and keeps nothing.

The agent is more patient than usual and asks fewer at a time: a hundred emulated units in one process are slow.
"""

from __future__ import annotations

import argparse
import asyncio
import multiprocessing
import os
import resource
import subprocess
import tempfile
import time
import urllib.request
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from pysnmp.entity.rfc3413.cmdrsp import BulkCommandResponder
from tests.benchmarks.agent_parts import Parts, Polls
from tests.benchmarks.large_site import PORTS, site_text
from tests.benchmarks.loop_lag import LoopLag
from tests.requirements import need_program

from portdraw.observation.unit_observation import Outcome
from portdraw.plan.loader import load_site
from portdraw.rehearsal.emulated_site import EmulatedSite
from portdraw.rehearsal.local_copy import with_addresses
from portdraw.rehearsal.story import Story
from portdraw.service.agent import Agent
from portdraw.service.clock import Clock
from portdraw.service.settings import load_settings
from portdraw.service.wiring import gather, open_history

EVERY_S = 30.0
MOST_INTERVALS = 40
MOST_PERCENT, MOST_MB = 10.0, 250.0
ANSWER_VALUES = 100  # a switch ends one answer at about a hundred values: what fits its buffer
FIRST_WITHIN_S = 300.0
SETTINGS = """\
format: 1
site: site.yaml
history: {folder: history}
listen: {host: 127.0.0.1, port: 0}
poll: {every_s: EVERY, slow_every_s: 300, deadline_s: 25, in_flight: 4}
access:
  load: ACCESS
"""
ACCESSES = {
    "2": "{version: 2, community: {file: community}}",
    "3": "{version: 3, user: USER, auth_secret: {file: auth}, privacy_secret: {file: privacy}}",
}
# state, watts (IEEE 802.3.1) and, once each, uptime and the group's totals
COLUMNS = ("1.3.6.1.2.1.105.1.1.1.6", "1.3.111.2.802.3.1.8.1.1.1.15")
ONCE = ("1.3.6.1.2.1.1.3", "1.3.6.1.2.1.105.1.3.1.1.2", "1.3.6.1.2.1.105.1.3.1.1.3", "1.3.6.1.2.1.105.1.3.1.1.4")


def emulate(pipe: Connection, folder: str, seconds: float) -> None:
    """Answer for every unit until told to stop; tells the CPU seconds spent."""
    BulkCommandResponder.max_varbinds = ANSWER_VALUES

    async def main() -> None:
        site_file = Path(folder) / "site.yaml"
        start_s = time.time()
        emulated = EmulatedSite(load_site(site_file), time.time, start_s, 7, story=Story(()))
        addresses = await emulated.start()
        text = with_addresses(site_file.read_text(encoding="utf-8"), addresses)
        site_file.write_text(text, encoding="utf-8")
        told = emulated.credentials
        pipe.send((addresses, told.user, told.community, told.auth_secret, told.priv_secret))
        give_up = time.monotonic() + seconds
        while time.monotonic() < give_up and not pipe.poll():
            await asyncio.sleep(0.1)
        emulated.stop()
        pipe.send(time.process_time())

    asyncio.run(main())


def serve(pipe: Connection, folder: str, intervals: int) -> None:
    """Run the agent and send its figures."""
    parts, polls = Parts(), Polls()
    parts.attach()
    polls.attach()

    async def main() -> dict[str, Any]:
        began_cpu_s = time.process_time()
        loaded = gather(load_settings(Path(folder) / "settings.yaml"), emulated=True)
        load_s, load_mb = time.process_time() - began_cpu_s, peak_mb()
        history = open_history(loaded)
        agent = Agent(loaded, history, Clock())
        stop = asyncio.Event()
        running = asyncio.create_task(agent.run(stop))
        await _all_read(agent)
        pipe.send(agent.address)
        first_cpu_s = time.process_time() - began_cpu_s - load_s
        parts.clear()
        polls.clear()
        lag = LoopLag()
        before_s, wall_s = time.process_time(), time.monotonic()
        await asyncio.sleep(intervals * EVERY_S)
        cpu_s, wall_s = time.process_time() - before_s, time.monotonic() - wall_s
        stalls_ms = lag.stop()
        assessment = agent.assessment()
        assert assessment is not None
        told = {
            "load s": load_s,
            "load MB": load_mb,
            "first s": first_cpu_s,
            "cpu s": cpu_s,
            "wall s": wall_s,
            "parts": dict(parts.cpu_s),
            "longest": dict(parts.longest_s),
            "stalls": stalls_ms,
            "polls": len(polls.began_s),
            "failed": polls.failed,
            "requests": polls.requests,
            "records": polls.records,
            "slices": polls.slices(EVERY_S),
            "headline": assessment.headline,
            "alarms": len(assessment.alarms),
        }
        stop.set()
        await running
        history.close()
        return {**told, "peak MB": peak_mb()}

    pipe.send(asyncio.run(main()))


async def _all_read(agent: Agent) -> None:
    """Wait until every unit has answered in full, and one interval more: the first reading asks for everything."""
    give_up = time.monotonic() + FIRST_WITHIN_S
    while time.monotonic() < give_up:
        await asyncio.sleep(1)
        now = agent.assessment()
        if now is not None and all(unit.outcome is Outcome.ANSWERED for unit in now.units):
            await asyncio.sleep(EVERY_S)
            return
    raise SystemExit("not every unit was read for the first time")


def peak_mb() -> float:
    """Return this process's peak of memory [MB]; ru_maxrss is in KiB on Linux (getrusage(2))."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def script_s(addresses: list[str], options: list[str]) -> float:
    """Return the CPU seconds of one `snmpbulkget` process for each address, one after the other."""
    program, spent_s = need_program("snmpbulkget"), 0.0
    for address in addresses:
        words = [program, *options, "-m", "", "-On", "-t", "10", f"-Cn{len(ONCE)}", f"-Cr{PORTS}", address]
        with subprocess.Popen([*words, *ONCE, *COLUMNS], stdout=subprocess.PIPE, env={"MIBS": ""}) as child:
            assert child.stdout is not None
            lines = child.stdout.read().count(b"\n.")
            _, status, usage = os.wait4(child.pid, 0)
            child.returncode = status
        if status or lines < 2 * PORTS:
            raise SystemExit(f"snmpbulkget brought {lines + 1} values from {address}")
        spent_s += usage.ru_utime + usage.ru_stime
    return spent_s


def main() -> None:
    """Run it and print the figures; exit code 1 where a limit does not hold."""
    parser = argparse.ArgumentParser(description="CPU and memory of the agent on a large site")
    parser.add_argument("--units", type=int, default=100)
    parser.add_argument("--intervals", type=int, default=3)
    parser.add_argument("--version", choices=tuple(ACCESSES), default="3")
    chosen = parser.parse_args()
    intervals = max(1, min(MOST_INTERVALS, chosen.intervals))
    with tempfile.TemporaryDirectory(prefix="portdraw-site-load-") as folder:
        held = _run(Path(folder), chosen.units, intervals, chosen.version)
    raise SystemExit(0 if held else 1)


def _run(folder: Path, units: int, intervals: int, version: str) -> bool:
    (folder / "site.yaml").write_text(site_text(units), encoding="utf-8")
    spawn = multiprocessing.get_context("spawn")
    to_emulation, emulation_end = spawn.Pipe()
    to_agent, agent_end = spawn.Pipe()
    seconds = 600 + intervals * EVERY_S
    emulation = spawn.Process(target=emulate, args=(emulation_end, str(folder), seconds), daemon=True)
    agent = spawn.Process(target=serve, args=(agent_end, str(folder), intervals), daemon=True)
    emulation.start()
    try:
        if not to_emulation.poll(300):
            raise SystemExit("the emulation did not start within 300 s")
        addresses, user, community, auth, privacy = to_emulation.recv()
        for name, secret in (("community", community), ("auth", auth), ("privacy", privacy)):
            (folder / name).touch(mode=0o600)
            (folder / name).write_text(secret, encoding="utf-8")
        access = ACCESSES[version].replace("USER", user)
        text = SETTINGS.replace("EVERY", f"{EVERY_S:g}").replace("ACCESS", access)
        (folder / "settings.yaml").write_text(text, encoding="utf-8")
        agent.start()
        told = _watch(to_agent, agent, intervals)
        options = ["-v2c", "-c", community]
        if version == "3":
            options = ["-v3", "-l", "authPriv", "-u", user, "-a", "SHA-256", "-A", auth, "-x", "AES", "-X", privacy]
        script = script_s(list(addresses.values()), options)
        to_emulation.send("stop")
        emulation_s = to_emulation.recv()
    finally:
        for process in (agent, emulation):
            if process.pid is not None:
                process.join(10)
                if process.is_alive():
                    process.terminate()
    return _print(told, len(addresses), version, script, emulation_s)


def _watch(pipe: Connection, agent: Any, intervals: int) -> dict[str, Any]:
    """Scrape and look once an interval until the agent's figures come."""
    while not pipe.poll(1):
        if not agent.is_alive():
            raise SystemExit("the agent ended before its time")
    address = pipe.recv()
    for _ in range(intervals):
        time.sleep(EVERY_S / 3)
        for path in ("/metrics", "/"):
            with urllib.request.urlopen(f"{address}{path}", timeout=60) as answer:
                answer.read()
        time.sleep(EVERY_S / 2)
    found: dict[str, Any] = pipe.recv()
    return found


def _print(told: dict[str, Any], units: int, version: str, script: float, emulation_s: float) -> bool:
    intervals = told["wall s"] / EVERY_S
    percent: float = 100 * told["cpu s"] / told["wall s"]
    peak: float = told["peak MB"]
    own = told["cpu s"] / intervals
    parts = {"read (the rest)": told["cpu s"] - sum(told["parts"].values()), **told["parts"]}
    slices, stalls = told["slices"], told["stalls"]
    print(
        f"{units} units of {PORTS} ports, SNMP v{version}, each {EVERY_S:g} s, {intervals:.1f} intervals, one process"
    )
    print(f"  {told['headline']} ({told['alarms']} alarms)")
    print(f"  start: {told['load s']:.1f} s CPU to load the site file ({told['load MB']:.0f} MB), then")
    print(f"  {told['first s']:.1f} s until everything was read for the first time and judged")
    print(f"CPU: {percent:.1f} % of one core (limit {MOST_PERCENT:g} %), {own:.2f} s an interval")
    for name, spent_s in parts.items():
        longest = told["longest"].get(name)
        most = "" if not longest else f", at most {1000 * longest:.0f} ms in one go"
        print(f"  {name:<16}{100 * spent_s / told['wall s']:5.2f} %  {1000 * spent_s / intervals:6.0f} ms{most}")
    each = f"{told['requests'] / told['polls']:.1f} requests and {told['records'] / told['polls']:.0f} records each"
    print(f"polls: {told['polls']} ({told['failed']} not answered in full), {each}")
    spread = f"{slices} (mean {sum(slices) / len(slices):.0f}, largest {max(slices)})"
    print(f"  spread, polls begun in each tenth of the interval: {spread}")
    lag = f"median {stalls['median']:.1f} ms, p99 {stalls['p99']:.0f} ms, longest {stalls['max']:.0f} ms"
    print(f"  lag of the loop: {lag}")
    print(f"peak memory: {peak:.0f} MB (limit {MOST_MB:g} MB)")
    print(f"yardstick: one snmpbulkget a unit takes {script:.2f} s an interval and keeps nothing")
    reading = parts["read (the rest)"] / intervals / script
    print(f"ratio ours / yardstick: {own / script:.2f}; of the reading alone {reading:.2f}")
    print(f"the emulation, not counted: {emulation_s:.0f} s CPU in all")
    return percent <= MOST_PERCENT and peak <= MOST_MB


if __name__ == "__main__":
    main()
