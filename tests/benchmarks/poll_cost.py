"""What one poll of a 48-port unit costs: our CPU beside one `snmpbulkget` process that fetches the same columns.

    .venv/bin/python -m tests.benchmarks.poll_cost [--polls 40]

The unit is net-snmp's own agent in a process of its own, whose CPU does not count; it is asked by SNMP v2c and v3
(SHA-256, AES-128). Ours is the whole read: question, answer, decoding, records. The tool's is one process started,
run and ended (without loading MIB texts), as a person's script would do it.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.reading.polling import opened, reader
from tests.reading.real_agent import COMMUNITY, RealAgent, real_agent, tool_options, user
from tests.requirements import need_program

from portdraw.observation.unit_observation import Outcome
from portdraw.reading.access import Access, Community
from portdraw.reading.catalogue import standard_catalogue
from portdraw.reading.columns import Reader
from portdraw.reading.engine import Answer, Engine, Target, parse_address
from portdraw.reading.varbind import Oid, oid_text

PORTS = 48
MOST_RATIO = 3.0
POLLS_AN_HOUR = {"cycle": 3600 / 30, "slow": 3600 / 300}  # the defaults of the settings; "start" is once
ACCESSES: dict[str, Access] = {"v2c": Community(COMMUNITY), "v3": user("sha256", "aes128")}
# what one snmpbulkget process asks: once each, and a row for every port. Our cycle reads the denied counters too; the
# tool is spared them, as an agent ends one answer at about a hundred values
ONCE = ("sysUpTime", "pethMainPsePower", "pethMainPseOperStatus", "pethMainPseConsumptionPower")
IN_ROWS = ("pethPsePortDetectionStatus", "extremePethPortMeasuredPower")
GROUPS = {
    "detection state": ("pethPsePortDetectionStatus",),
    "watts": ("extremePethPortMeasuredPower",),
    "denied counters": ("pethPsePortPowerDeniedCounter",),
    "other counters": ("pethPsePortMPSAbsentCounter", "pethPsePortOverLoadCounter", "pethPsePortShortCounter"),
    "class": ("pethPsePortPowerClassifications",),
    "priority, enabled": ("pethPsePortPowerPriority", "pethPsePortAdminEnable"),
    "LLDP neighbours": ("lldpRemSysName",),
    "LLDP power source": ("lldpV2Xdot3RemPowerSource",),
    "link": ("ifOperStatus",),
    "names and types": ("ifName", "ifType"),
}


class CountingEngine:
    """Counts the bindings and the requests."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self.varbinds = self.requests = 0

    async def get(self, target: Target, oids: Sequence[Oid], timeout_s: float) -> Answer:
        """Pass GET on."""
        return self._count(await self._engine.get(target, oids, timeout_s))

    async def get_bulk(
        self, target: Target, oids: Sequence[Oid], repetitions: int, timeout_s: float, non_repeaters: int = 0
    ) -> Answer:
        """Pass GETBULK on."""
        return self._count(await self._engine.get_bulk(target, oids, repetitions, timeout_s, non_repeaters))

    async def close(self) -> None:
        """Nothing of its own."""

    def _count(self, answer: Answer) -> Answer:
        self.varbinds += len(answer.varbinds)
        self.requests += 1
        return answer


@dataclass(frozen=True)
class Cost:
    """Milliseconds of CPU of one read, with the bindings and requests that it took."""

    cpu_ms: float
    varbinds: int
    requests: int


def unit_rows(told: bool) -> str:
    """Return the tables of a 48-port unit as a recording: half of its ports deliver, each has a neighbour.

    `told` adds the power source that devices tell by LLDP; a unit that has none is not asked for it in a cycle.
    """
    power, group = "1.3.6.1.2.1.105.1.1.1", "1.3.6.1.2.1.105.1.3.1.1"
    lines = [f"{group}.2.1|66|740", f"{group}.3.1|2|1", f"{group}.4.1|66|{PORTS // 2 * 7}"]
    for port in range(1, PORTS + 1):
        delivers = port % 2
        for column, value in ((3, 1), (6, 3 if delivers else 2), (7, 3), (10, 4 if delivers else 1)):
            lines.append(f"{power}.{column}.1.{port}|2|{value}")
        lines += [f"{power}.{column}.1.{port}|65|{port % 3}" for column in (8, 11, 12, 13, 14)]
        lines.append(f"1.3.6.1.4.1.1916.1.27.2.1.1.6.1.{port}|66|{7000 + 10 * port if delivers else 0}")
        lines += [f"1.3.6.1.2.1.2.2.1.3.{port}|2|6", f"1.3.6.1.2.1.2.2.1.8.{port}|2|{2 - delivers}"]
        lines.append(f"1.3.6.1.2.1.31.1.1.1.1.{port}|4|port {port}")
        lines.append(f"1.0.8802.1.1.2.1.4.1.1.9.0.{port}.1|4|device-{port}")
        if told:
            lines.append(f"1.3.111.2.802.3.1.5.1.3.2.1.8.0.{port}.1.1|2|5")
    return "\n".join(lines) + "\n"


async def whole_polls(agent: RealAgent, access: Access, polls: int, slow: bool) -> Cost:
    """Read the unit as the service does and return what one read costs."""
    async with opened({"a": access}) as engine:
        counting = CountingEngine(engine)
        one = reader(agent.address, counting)
        for warm in (True, True, False, False):
            assert (await one.poll(20, slow=warm)).outcome is Outcome.ANSWERED
        counting.varbinds = counting.requests = 0
        began = time.process_time()
        for _ in range(polls):
            assert (await one.poll(20, slow=slow)).outcome is Outcome.ANSWERED
        cpu_ms = 1000 * (time.process_time() - began) / polls
        return Cost(cpu_ms, counting.varbinds // polls, counting.requests // polls)


async def one_group(agent: RealAgent, access: Access, polls: int, names: tuple[str, ...]) -> Cost:
    """Read a group of columns by itself; their number of rows is known, as in every poll but the first."""
    oids = [standard_catalogue().objects[name].arcs for name in names]
    async with opened({"a": access}) as engine:
        counting = CountingEngine(engine)
        target, loop = parse_address(agent.address, "a"), asyncio.get_running_loop()
        expected = dict.fromkeys(oids, PORTS)
        await Reader(counting, target, loop.time() + 20).columns(oids, expected)
        counting.varbinds = counting.requests = 0
        began = time.process_time()
        for _ in range(polls):
            columns = await Reader(counting, target, loop.time() + 20).columns(oids, expected)
            assert all(len(column.rows) == PORTS for column in columns.values())
        cpu_ms = 1000 * (time.process_time() - began) / polls
        return Cost(cpu_ms, counting.varbinds // polls, counting.requests // polls)


def tool_ms(agent: RealAgent, access: Access, polls: int) -> float:
    """Return CPU milliseconds of one `snmpbulkget` process for the columns of a cycle, checked to bring every row."""
    objects = standard_catalogue().objects
    words = [need_program("snmpbulkget"), *tool_options(access), "-m", "", "-On", "-t", "20"]
    words += [f"-Cn{len(ONCE)}", f"-Cr{PORTS}", agent.address]
    words += [oid_text(objects[name].arcs) for name in (*ONCE, *IN_ROWS)]
    spent_s = 0.0
    with tempfile.TemporaryFile() as out:
        files = [(os.POSIX_SPAWN_DUP2, out.fileno(), 1)]
        for _ in range(polls):
            child = os.posix_spawn(words[0], words, {**os.environ, "MIBS": ""}, file_actions=files)
            _, status, usage = os.wait4(child, 0)
            assert status == 0
            spent_s += usage.ru_utime + usage.ru_stime
        out.seek(0)
        lines = sum(1 for line in out if line.startswith(b"."))
    assert lines == polls * (len(ONCE) + PORTS * len(IN_ROWS)), lines
    return 1000 * spent_s / polls


def measure(agent: RealAgent, told: RealAgent, version: str, polls: int) -> bool:
    """Print the table of one SNMP version; return whether the ratio holds."""
    access = ACCESSES[version]
    pairs = []
    for _ in range(3):  # side by side, three times: the machine's speed drifts
        ours = asyncio.run(whole_polls(agent, access, polls, slow=False))
        pairs.append((ours, tool_ms(agent, access, polls)))
    cycle, tool = sorted(pairs, key=lambda pair: pair[0].cpu_ms / pair[1])[1]
    slow = asyncio.run(whole_polls(agent, access, max(5, polls // 4), slow=True))
    ratio = cycle.cpu_ms / tool
    print(f"SNMP {version}: one cycle of {PORTS} ports, {cycle.varbinds} values in {cycle.requests} requests")
    fetched = len(ONCE) + PORTS * len(IN_ROWS)
    print(f"  ours {cycle.cpu_ms:.1f} ms")
    print(f"  one snmpbulkget process for {fetched} of them (state, watts, totals, uptime) {tool:.1f} ms")
    print(f"  ratio {ratio:.2f} (limit {MOST_RATIO:g})")
    print(f"  a slow poll: {slow.cpu_ms:.1f} ms, {slow.varbinds} values in {slow.requests} requests")
    print(f"  {'group alone':<20}{'pace':<8}{'values':>7}{'ms a read':>11}{'s an hour':>11}")
    for title, names in GROUPS.items():
        cost = asyncio.run(one_group(told, access, max(5, polls // 4), names))
        pace = standard_catalogue().objects[names[0]].pace
        hourly = cost.cpu_ms * POLLS_AN_HOUR[pace] / 1000 if pace in POLLS_AN_HOUR else None
        words = "once" if hourly is None else f"{hourly:.2f}"
        print(f"  {title:<20}{pace:<8}{cost.varbinds:>7}{cost.cpu_ms:>11.1f}{words:>11}")
    return ratio <= MOST_RATIO


def main() -> None:
    """Run it and print the figures; exit code 1 where the ratio does not hold."""
    parser = argparse.ArgumentParser(description="CPU of one poll of a 48-port unit")
    parser.add_argument("--polls", type=int, default=40)
    polls = max(4, min(1000, parser.parse_args().polls))
    with tempfile.TemporaryDirectory(prefix="portdraw-poll-cost-") as folder:
        plain, full = Path(folder) / "unit.snmprec", Path(folder) / "told.snmprec"
        plain.write_text(unit_rows(told=False))
        full.write_text(unit_rows(told=True))
        users = [access for access in ACCESSES.values() if not isinstance(access, Community)]
        with real_agent(plain, users) as agent, real_agent(full, users) as told:
            held = [measure(agent, told, version, polls) for version in ACCESSES]
    raise SystemExit(0 if all(held) else 1)


if __name__ == "__main__":
    main()
