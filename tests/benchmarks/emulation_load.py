"""What the emulated site costs: CPU of nine agents, each polled every 2 s of wall time, beside a busy yardstick.

    .venv/bin/python -m tests.benchmarks.emulation_load [--seconds 30]

The emulation runs in a process of its own; the polling process reads it by SNMPv3 as the demo's agent does. The
yardstick is the polling side's own CPU in the same run.
"""

from __future__ import annotations

import argparse
import asyncio
import multiprocessing
import os
import time
from multiprocessing.connection import Connection

from portdraw.cli.demo import SCALE, SITE_FILE
from portdraw.plan.loader import load_site
from portdraw.reading.access import User
from portdraw.reading.catalogue import standard_catalogue
from portdraw.reading.pysnmp_engine import PysnmpEngine
from portdraw.reading.unit_reader import UnitReader
from portdraw.rehearsal.emulated_site import EmulatedSite
from portdraw.service.clock import Clock

POLL_EVERY_WALL_S = 2.0
SLOW_EVERY_POLLS = 10
MOST_SECONDS = 300.0


def _emulate(pipe: Connection, start_s: float) -> None:
    async def main() -> None:
        site = load_site(SITE_FILE)
        clock = Clock(start_s, SCALE)
        emulated = EmulatedSite(site, clock.now_s, start_s, 7)
        addresses = await emulated.start()
        credentials = emulated.credentials
        pipe.send((addresses, credentials.user, credentials.auth_secret, credentials.priv_secret))
        began = time.monotonic()
        while time.monotonic() - began < MOST_SECONDS + 60:
            await asyncio.sleep(0.05)
            if pipe.poll():
                word = pipe.recv()
                if word == "stop":
                    break
                pipe.send(time.process_time())
        emulated.stop()

    asyncio.run(main())


async def _poll(addresses: dict[str, str], user: User, seconds: float) -> tuple[int, int, int]:
    engine = PysnmpEngine({"v3": user})
    site = load_site(SITE_FILE)
    readers = []
    for name, address in addresses.items():
        unit = site.units[name].model_copy(update={"address": address, "access": "v3"})
        readers.append(UnitReader(name, unit, engine, standard_catalogue(), time.time))
    polls = records = requests = 0
    began = time.monotonic()
    round_number = 0
    while time.monotonic() - began < seconds:
        for reader in readers:
            observation = await reader.poll(4.0, slow=round_number % SLOW_EVERY_POLLS == 0)
            polls, records, requests = polls + 1, records + len(observation.records), requests + observation.requests
        round_number += 1
        await asyncio.sleep(max(0.0, round_number * POLL_EVERY_WALL_S - (time.monotonic() - began)))
    await engine.close()
    return polls, records, requests


def main() -> None:
    """Run it and print the figures."""
    parser = argparse.ArgumentParser(description="CPU of the emulated site at the demo's rate")
    parser.add_argument("--seconds", type=float, default=30.0)
    seconds = min(MOST_SECONDS, parser.parse_args().seconds)
    ours, theirs = multiprocessing.get_context("spawn").Pipe()
    child = multiprocessing.get_context("spawn").Process(target=_emulate, args=(theirs, time.time()))
    child.start()
    try:
        if not ours.poll(60):
            raise SystemExit("the emulation did not start within 60 s")
        addresses, user, auth, privacy = ours.recv()
        access = User(user, "sha256", auth.encode(), "aes128", privacy.encode())
        ours.send("cpu")
        emulation_before_s = ours.recv()
        cpu_before_s, wall_before_s = time.process_time(), time.monotonic()
        polls, records, requests = asyncio.run(_poll(addresses, access, seconds))
        ours.send("cpu")
        emulation_s = ours.recv() - emulation_before_s
        cpu_s, wall_s = time.process_time() - cpu_before_s, time.monotonic() - wall_before_s
    finally:
        ours.send("stop")
        child.join(10)
        if child.is_alive():
            child.terminate()
    share, own_share = 100 * emulation_s / wall_s, 100 * cpu_s / wall_s
    counted = f"{polls} polls in {wall_s:.0f} s, {requests} requests, {records} records"
    print(f"{len(addresses)} agents, {counted}, {os.cpu_count()} cores")
    print(f"emulation: {share:.1f} % of a core, {1000 * emulation_s / polls:.1f} ms a poll (limit 10 %)")
    print(f"yardstick, the reading side: {own_share:.1f} % of a core, {1000 * cpu_s / polls:.1f} ms a poll")
    print(f"ratio emulation / reading: {emulation_s / cpu_s:.2f}")


if __name__ == "__main__":
    main()
