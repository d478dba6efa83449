"""What a unit remembers between polls: paces, restarts, ports that come and go, and twenty units side by side."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping, Sequence

from tests.reading.ber import Request
from tests.reading.map_engine import MapEngine
from tests.reading.polling import opened, poll, reader, run
from tests.reading.scripted_agent import COMMUNITY, ScriptedAgent, Sender, honest, scripted_agent

from portdraw.observation.record import Quantity, Record
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.site import Unit
from portdraw.reading.access import Community
from portdraw.reading.catalogue import standard_catalogue
from portdraw.reading.engine import Answer, Failure, ReadError
from portdraw.reading.unit_reader import UnitReader
from portdraw.reading.varbind import Kind, Oid, Varbind

OBJECTS = standard_catalogue().objects
UPTIME: Oid = (*OBJECTS["sysUpTime"].arcs, 0)
Step = Callable[["Bench"], object]


class Bench:
    """A unit of two ports in memory, whose rows a test changes between polls. The site clock ticks once a poll."""

    def __init__(self) -> None:
        self.engine = MapEngine({})
        self.now_s = 1_000_000.0
        self.reader = UnitReader(
            "unit", Unit(address="192.0.2.1", access="a"), self.engine, standard_catalogue(), lambda: self.now_s
        )
        self.set_uptime(3600)
        self.set("pethPsePortDetectionStatus", {(1, 1): 3, (1, 2): 2})
        self.set("pethPsePortAdminEnable", {(1, 1): 1, (1, 2): 1})
        self.set("pethPsePortPowerClassifications", {(1, 1): 4, (1, 2): 1})
        self.set("extremePethPortMeasuredPower", {(1, 1): 6400, (1, 2): 0})
        self.set("pethMainPsePower", {(1,): 90})
        self.set("pethMainPseConsumptionPower", {(1,): 6})
        self.set("ifType", {(1,): 6, (2,): 6})

    def set(self, name: str, values: Mapping[Oid, int | bytes]) -> None:
        """Replace the rows of a column."""
        column = OBJECTS[name].arcs
        for oid in [oid for oid in self.engine.rows if oid[: len(column)] == column]:
            del self.engine.rows[oid]
        for index, value in values.items():
            kind = Kind.OCTETS if isinstance(value, bytes) else Kind.INTEGER
            self.engine.rows[column + index] = Varbind(column + index, kind, value)

    def set_uptime(self, seconds: float) -> None:
        self.engine.rows[UPTIME] = Varbind(UPTIME, Kind.TIMETICKS, int(seconds * 100))

    async def poll(self, slow: bool = False) -> UnitObservation:
        self.now_s += 30
        self.engine.asked.clear()
        return await self.reader.poll(5, slow)


def on_bench(work: Callable[[Bench], Awaitable[None]]) -> None:
    async def within() -> None:
        await work(Bench())

    run(within)


def record(observation: UnitObservation, port: str | None, quantity: Quantity) -> Record:
    return observation.index[port, quantity]


def values(observation: UnitObservation) -> dict[tuple[str | None, Quantity], object]:
    return {key: found.value for key, found in observation.index.items()}


def test_slow_values_keep_their_own_time() -> None:
    async def work(bench: Bench) -> None:
        first = await bench.poll()
        second = await bench.poll()
        assert record(second, "1", Quantity.PORT_ADMIN) == record(first, "1", Quantity.PORT_ADMIN)
        assert record(second, "1", Quantity.PORT_DRAW).read_s == record(first, "1", Quantity.PORT_DRAW).read_s + 30
        third = await bench.poll(slow=True)
        assert record(third, "1", Quantity.PORT_ADMIN).read_s == bench.now_s

    on_bench(work)


def test_a_neighbour_that_left_does_not_stay() -> None:
    async def work(bench: Bench) -> None:
        bench.set("lldpRemSysName", {(0, 1, 1): b"quay camera", (0, 2, 1): b"desk phone"})
        assert (await bench.poll()).text("1", Quantity.PORT_NEIGHBOUR) == "quay camera"
        bench.set("lldpRemSysName", {(0, 2, 1): b"desk phone"})
        # not asked for in a fast poll: the old name, with its own time
        assert (await bench.poll()).text("1", Quantity.PORT_NEIGHBOUR) == "quay camera"
        gone = await bench.poll(slow=True)
        assert gone.get("1", Quantity.PORT_NEIGHBOUR) is None
        assert gone.text("2", Quantity.PORT_NEIGHBOUR) == "desk phone"

    on_bench(work)


def test_class_of_an_idle_port_does_not_survive_into_the_next_device() -> None:
    """Idle ports show the class of the last device, or class 0; a false class would be a false "above class"."""

    async def work(bench: Bench) -> None:
        first = await bench.poll()
        assert first.number("1", Quantity.PORT_CLASS) == 3
        assert record(first, "2", Quantity.PORT_CLASS).value is None
        bench.set("pethPsePortDetectionStatus", {(1, 1): 2, (1, 2): 2})  # unplugged
        assert record(await bench.poll(), "1", Quantity.PORT_CLASS).value is None
        bench.set("pethPsePortDetectionStatus", {(1, 1): 3, (1, 2): 3})  # other devices
        bench.set("pethPsePortPowerClassifications", {(1, 1): 5, (1, 2): 2})
        arrived = await bench.poll()
        assert record(arrived, "1", Quantity.PORT_CLASS).value is None
        assert record(arrived, "2", Quantity.PORT_CLASS).value is None
        known = await bench.poll()  # not a slow poll: the change of state asks for the slow values
        assert known.number("1", Quantity.PORT_CLASS) == 4
        assert known.number("2", Quantity.PORT_CLASS) == 1
        settled = await bench.poll()
        assert len(bench.engine.asked) < 4
        assert settled.number("1", Quantity.PORT_CLASS) == 4

    on_bench(work)


def test_a_cycle_is_one_question_once_the_unit_is_known() -> None:
    """A message costs as much as some ninety values in it, so the uptime, totals and port rows share one."""

    async def work(bench: Bench) -> None:
        first = await bench.poll()
        again = await bench.poll()
        assert len(bench.engine.asked) == 1
        assert again.requests == 1
        assert values(again) == values(first)

    on_bench(work)


def test_totals_that_travel_along_are_walked_where_the_answer_is_short() -> None:
    async def work(bench: Bench) -> None:
        first = await bench.poll()

        def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
            return Answer((), 1, 0) if (repetitions or 0) > 2 else engine.honest(oids, repetitions)  # tooBig

        bench.engine.twist = twist
        again = await bench.poll()
        assert again.outcome is Outcome.ANSWERED
        assert values(again) == values(first)

    on_bench(work)


def test_a_restart_starts_anew() -> None:
    async def work(bench: Bench) -> None:
        await bench.poll()
        bench.set_uptime(12)
        bench.set("pethPsePortDetectionStatus", {(1, 7): 3})
        bench.set("extremePethPortMeasuredPower", {(1, 7): 2000})
        after = await bench.poll()
        assert after.ports() == ("7",)
        assert after.number("7", Quantity.PORT_DRAW) == 2.0

    on_bench(work)


def test_a_restart_soon_after_a_start_is_seen_by_the_time_between() -> None:
    """Uptime 4 s, then 5 s although ten seconds have passed since: it began anew in between."""

    async def work(bench: Bench) -> None:
        bench.set_uptime(4)
        await bench.poll()
        bench.reader._uptime.restarted(4, asyncio.get_running_loop().time() - 20)
        bench.set_uptime(5)
        bench.set("pethPsePortDetectionStatus", {(1, 7): 3})
        assert "7" in (await bench.poll()).ports()
        assert "1" not in (await bench.poll()).ports()

    on_bench(work)


def test_uptime_that_goes_on_is_no_restart() -> None:
    async def work(bench: Bench) -> None:
        await bench.poll()
        for seconds in (3600, 3600.5, 3601, 7200):
            bench.set_uptime(seconds)
            await bench.poll()
            assert len(bench.engine.asked) < 4

    on_bench(work)


def fail_on(name: str, failure: Failure = Failure.SILENT) -> Callable[[MapEngine, Sequence[Oid], int | None], Answer]:
    column = OBJECTS[name].arcs

    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        if any(oid[: len(column)] == column for oid in oids):
            raise ReadError(failure, "no answer to this")
        return engine.honest(oids, repetitions)

    return twist


def test_port_numbers_that_rest_on_a_broken_read_are_not_remembered() -> None:
    """The first poll lost the names of interfaces; the second must not go on without them."""

    async def work(bench: Bench) -> None:
        bench.set("ifType", {(101,): 6, (102,): 6})
        bench.set("ifName", {(101,): b"e1/0/1", (102,): b"e1/0/2"})
        bench.set("ifOperStatus", {(101,): 1, (102,): 2})
        bench.engine.twist = fail_on("ifName", Failure.GARBLED)
        first = await bench.poll()
        assert first.outcome is Outcome.PARTIAL
        assert first.number("1", Quantity.PORT_DRAW) == 6.4
        assert first.get("1", Quantity.PORT_LINK) is None
        bench.engine.twist = None
        assert (await bench.poll()).text("1", Quantity.PORT_LINK) == "up"

    on_bench(work)


def test_a_column_that_was_cut_off_is_asked_for_again_at_once() -> None:
    async def work(bench: Bench) -> None:
        bench.engine.twist = fail_on("extremePethPortMeasuredPower", Failure.GARBLED)
        first = await bench.poll()
        assert first.outcome is Outcome.PARTIAL
        assert record(first, "1", Quantity.PORT_DRAW).missing is not None
        bench.engine.twist = None
        assert (await bench.poll()).number("1", Quantity.PORT_DRAW) == 6.4

    on_bench(work)


def test_watts_do_not_change_their_source_when_the_better_one_is_cut_off() -> None:
    async def work(bench: Bench) -> None:
        bench.set("pethPsePortActualPower", {(1, 1): 6500, (1, 2): 0})
        assert (await bench.poll()).number("1", Quantity.PORT_DRAW) == 6.5
        bench.engine.twist = fail_on("pethPsePortActualPower", Failure.GARBLED)
        cut = await bench.poll()
        assert cut.outcome is Outcome.PARTIAL
        assert record(cut, "1", Quantity.PORT_DRAW).value is None
        assert record(cut, "1", Quantity.PORT_DRAW).missing == (
            "no answer to this after 1.3.111.2.802.3.1.8.1.1.1.15"
        )

    on_bench(work)


def test_silence_after_the_first_answer_is_a_part_with_reasons() -> None:
    """Known ports must not vanish: their state and watts are missing, and why."""

    async def work(bench: Bench) -> None:
        await bench.poll()

        def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
            if repetitions is not None:
                raise ReadError(Failure.SILENT, "no answer")
            return engine.honest(oids, repetitions)

        bench.engine.twist = twist
        observation = await bench.poll(slow=True)
        assert observation.outcome is Outcome.PARTIAL
        assert observation.ports() == ("1", "2")
        assert "It is off" not in observation.reason
        for port in ("1", "2"):
            for quantity in (Quantity.PORT_STATE, Quantity.PORT_DRAW):
                why = record(observation, port, quantity).missing
                assert why is not None
                assert "gave no further answer within" in why
        assert record(observation, None, Quantity.UNIT_DRAW).value is None

    on_bench(work)


def test_a_group_that_is_unknown_makes_the_total_unknown() -> None:
    async def work(bench: Bench) -> None:
        bench.set("pethMainPsePower", {(1,): 90, (2,): 90})
        bench.set("pethMainPseConsumptionPower", {(1,): 6, (2,): 40})
        assert (await bench.poll()).number(None, Quantity.UNIT_DRAW) == 46
        bench.set("pethMainPseConsumptionPower", {(1,): 6, (2,): -1})
        unknown = record(await bench.poll(), None, Quantity.UNIT_DRAW)
        assert unknown.value is None
        assert unknown.missing == "-1 W is refused: this object defines no sign"

    on_bench(work)


def test_a_total_above_the_supply_is_refused() -> None:
    """Milliwatts where the module says watts: 6,400 of 90 W."""

    async def work(bench: Bench) -> None:
        bench.set("pethMainPseConsumptionPower", {(1,): 6400})
        refused = record(await bench.poll(), None, Quantity.UNIT_DRAW)
        assert refused.missing == "6400 W is refused: the supply that the agent reports gives 90 W"
        bench.set("pethMainPseConsumptionPower", {(1,): 99})
        assert (await bench.poll()).number(None, Quantity.UNIT_DRAW) == 99

    on_bench(work)


def test_watts_that_belong_to_no_port_are_said() -> None:
    async def work(bench: Bench) -> None:
        for name in ("pethPsePortDetectionStatus", "extremePethPortMeasuredPower", "pethPsePortAdminEnable"):
            bench.set(name, {})
        bench.set("snAgentPoePortConsumed", {(7,): 5000, (8,): 0})
        observation = await bench.poll()
        assert observation.ports() == ()
        assert observation.outcome is Outcome.PARTIAL
        assert observation.reason == "snAgentPoePortConsumed: none of its 2 rows can be put to a port."

    on_bench(work)


def test_own_source_is_the_row_that_says_something() -> None:
    async def work(bench: Bench) -> None:
        bench.set("lldpV2Xdot3LocPowerSource", {(1,): 0, (2,): 0, (9,): 4})
        assert (await bench.poll()).text(None, Quantity.UNIT_OWN_SOURCE) == "PoE feed only"

    on_bench(work)


def test_the_reason_stays_short_when_everything_is_missing() -> None:
    async def work(bench: Bench) -> None:
        bench.engine.twist = fail_on("pethPsePortDetectionStatus")
        observation = await bench.poll()
        assert observation.outcome is Outcome.PARTIAL
        assert len(observation.reason) < 300
        assert observation.reason.count("gave no further answer") == 1

    on_bench(work)


# side by side


def test_one_hung_agent_costs_nineteen_others_nothing() -> None:
    """Twenty units polled at once through one engine; one says nothing at all, and its answers cost only itself."""

    def hung(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
        return

    async def work() -> list[UnitObservation]:
        async with opened({"a": Community(COMMUNITY)}) as engine, asyncio.TaskGroup() as group:
            ready: list[ScriptedAgent] = []
            done = asyncio.Event()

            async def serve(number: int) -> None:
                async with scripted_agent(hung if number == 7 else honest) as agent:
                    ready.append(agent)
                    await done.wait()

            for number in range(20):
                group.create_task(serve(number))
            while len(ready) < 20:
                await asyncio.sleep(0.01)
            readers = [reader(agent.address, engine) for agent in ready]
            try:
                return list(await asyncio.gather(*(poll(one, 5) for one in readers)))
            finally:
                done.set()

    observations = run(work)
    outcomes = [observation.outcome for observation in observations]
    assert outcomes.count(Outcome.SILENT) == 1
    assert outcomes.count(Outcome.ANSWERED) == 19
    for observation in observations:
        if observation.outcome is Outcome.ANSWERED:
            assert len(observation.ports()) == 8
            assert observation.number("1", Quantity.PORT_DRAW) == 2.6
            assert observation.number(None, Quantity.UNIT_DRAW) == 11
