"""Three thousand mutated datagrams, seeded, through the real engine: its own errors only, and no false record.

SNMPv3 puts every octet under a digest: a value is the true one or there is none. SNMP v2c has no digest: an answer
that is changed and still well-formed can't be told from a true one by anybody. What can be held there is held below:
another request id is no answer, what is told is what was sent, other objects than those asked for are left out,
another syntax and impossible values are refused with the reason.
"""

from __future__ import annotations

import asyncio
import gc
import random
from collections import Counter
from collections.abc import AsyncIterator, Iterator, Sequence
from contextlib import asynccontextmanager, suppress

import pytest
from tests.reading import ber
from tests.reading.ber import Request
from tests.reading.leftovers import library_leftovers
from tests.reading.meddler import Meddler
from tests.reading.mutation import change_a_number, mutated
from tests.reading.polling import OVERRUN_S, opened, poll, reader, run
from tests.reading.real_agent import RealAgent, real_agent, user
from tests.reading.scripted_agent import COMMUNITY, PORT_TABLE, UPTIME, WATTS, ScriptedAgent, Sender, scripted_agent
from tests.requirements import need_recordings

from portdraw.observation.record import PortState, Quantity
from portdraw.observation.unit_observation import UnitObservation
from portdraw.reading.access import Community
from portdraw.reading.columns import Column, Reader
from portdraw.reading.engine import Answer, Engine, ReadError, Target, parse_address
from portdraw.reading.varbind import Oid, Varbind, parse_oid

V2C = Community(COMMUNITY)
V3 = user("sha256", "aes128")
LANES = 25  # side by side, each with a seed and an agent of its own
TURNS = 60  # datagrams a lane
TIMEOUT_S = 0.15
ASKED: tuple[Oid, ...] = ((*PORT_TABLE, 6, 1, 1), (*PORT_TABLE, 6, 1, 3), (*WATTS, 1, 1))


async def ended_in_time(engine: Engine, target: Target, oids: Sequence[Oid], bulk: bool) -> Answer | None:
    """Ask once; None where the engine refused. Any exception but its own fails the test, and so does an overrun."""
    loop = asyncio.get_running_loop()
    began = loop.time()
    try:
        ask = engine.get_bulk(target, oids, 4, TIMEOUT_S) if bulk else engine.get(target, oids, TIMEOUT_S)
        return await ask
    except ReadError:
        return None
    finally:
        assert loop.time() - began < TIMEOUT_S + OVERRUN_S


def as_sent(varbind: Varbind) -> tuple[Oid, object]:
    return varbind.oid, varbind.value


def read_plainly(name: Oid, tag: int, body: bytes) -> tuple[Oid, object]:
    """Return a binding as this test's own reader understands it."""
    if tag in (0x05, 0x80, 0x81, 0x82):
        return name, None
    if tag == ber.OID:
        return name, ber.arcs(body)
    if tag in (0x04, 0x40, 0x44):
        return name, body
    return name, int.from_bytes(body, "big", signed=True)


def test_fifteen_hundred_v2c_answers() -> None:
    """What is told is what was sent under our request id; nothing but the engine's own error; nothing stays."""

    async def lane(engine: Engine, seed: int, seen: Counter[str]) -> None:
        dice = random.Random(seed)
        sent: list[tuple[int, bytes]] = []

        def behave(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
            data = mutated(agent.answer(question), dice)
            sent.append((question.request_id, data))
            agent.send(data, sender)

        async with scripted_agent(behave) as agent:
            target = parse_address(agent.address, "a")
            for turn in range(TURNS):
                sent.clear()
                while not sent:  # on a slow machine the time may be over before the question is out
                    answer = await ended_in_time(engine, target, ASKED, bulk=turn % 2 == 1)
                seen["sent"] += len(sent)
                if answer is None:
                    continue
                seen["taken"] += 1
                request_id, data = sent[-1]
                try:
                    response = ber.parse_response(data)
                except (ValueError, IndexError):
                    seen["too odd for the plain reader"] += 1
                    continue
                assert response.request_id == request_id
                assert answer.error_status == response.status
                assert [as_sent(one) for one in answer.varbinds] == [read_plainly(*one) for one in response.bindings]

    async def work() -> tuple[Counter[str], int, int, int]:
        seen: Counter[str] = Counter()
        async with opened({"a": V2C}) as engine:
            await asyncio.gather(*(lane(engine, seed, seen) for seed in range(10)))
            gc.collect()
            objects, tasks = len(gc.get_objects()), len(asyncio.all_tasks())
            await asyncio.gather(*(lane(engine, seed, seen) for seed in range(10, LANES)))
            gc.collect()
            grown = len(gc.get_objects()) - objects
            return seen, library_leftovers(engine), len(asyncio.all_tasks()) - tasks, grown

    seen, left, tasks, grown = run(work)
    assert seen["sent"] >= LANES * TURNS
    assert seen["taken"] > 100  # changed values in well-formed answers: nobody can tell
    assert seen["too odd for the plain reader"] < 20
    assert (left, tasks) == (0, 0)
    assert grown < (LANES - 10) * TURNS  # not one object for each datagram


@pytest.fixture(scope="module")
def agent() -> Iterator[RealAgent]:
    with real_agent(need_recordings() / "eight-port-measured.snmprec", [V3]) as running:
        yield running


@asynccontextmanager
async def meddled(agent: RealAgent, chance: float, seed: int) -> AsyncIterator[Meddler]:
    """Put somebody between us and the agent who changes that share of the answers."""

    def change(data: bytes, dice: random.Random) -> bytes:
        return mutated(data, dice) if dice.random() < chance else data

    transport, meddler = await asyncio.get_running_loop().create_datagram_endpoint(
        lambda: Meddler(agent.port, change, seed), local_addr=("127.0.0.1", 0)
    )
    try:
        yield meddler
    finally:
        transport.close()


def port_of(meddler: Meddler) -> int:
    return int(meddler.transport.get_extra_info("sockname")[1])


def test_fifteen_hundred_v3_answers(agent: RealAgent) -> None:
    """RFC 3414, 6.3.2: every octet is under the digest. The true value, or none."""
    oids = [parse_oid("1.3.6.1.4.1.1916.1.27.2.1.1.6.1.1003"), parse_oid("1.3.6.1.2.1.105.1.1.1.6.1.1003")]

    async def lane(engine: Engine, seed: int, seen: Counter[str]) -> None:
        async with meddled(agent, 0.7, seed) as meddler:
            target = parse_address(f"127.0.0.1:{port_of(meddler)}", "a")
            while meddler.changed < TURNS:
                answer = await ended_in_time(engine, target, oids, bulk=False)
                if answer is not None:
                    assert [as_sent(one) for one in answer.varbinds] == [(oids[0], 3600), (oids[1], 3)]
                    seen["true"] += 1
            seen["changed"] += meddler.changed

    async def work() -> tuple[Counter[str], int, int]:
        seen: Counter[str] = Counter()
        async with opened({"a": V3}) as engine:
            await engine.get(parse_address(agent.address, "a"), oids, 5)  # opens the sockets and the library's timer
            tasks = len(asyncio.all_tasks())
            await asyncio.gather(*(lane(engine, seed, seen) for seed in range(LANES)))
            after = await engine.get(parse_address(agent.address, "a"), oids, 30)
            assert [as_sent(one) for one in after.varbinds] == [(oids[0], 3600), (oids[1], 3)]
            return seen, library_leftovers(engine), len(asyncio.all_tasks()) - tasks

    seen, left, tasks = run(work)
    assert seen["changed"] >= LANES * TURNS
    assert seen["true"] > 0  # hundreds, where the machine has time to answer
    assert (left, tasks) == (0, 0)


def facts(observation: UnitObservation) -> set[tuple[str | None, Quantity, object]]:
    """Return what was told, but for the time that goes on."""
    told = (record for record in observation.records if record.value is not None)
    return {(one.port, one.quantity, one.value) for one in told if one.quantity is not Quantity.UPTIME}


def test_polls_over_v3_have_no_false_record(agent: RealAgent) -> None:
    """A third of the answers is changed: a poll tells less than the truth or all of it, never anything else."""

    async def work() -> tuple[UnitObservation, list[UnitObservation], int]:
        async with opened({"a": V3}) as engine:
            truth = await poll(reader(agent.address, engine), 10)
            found: list[UnitObservation] = []
            changed = 0

            async def lane(seed: int) -> int:
                async with meddled(agent, 0.35, 1000 + seed) as meddler:
                    one = reader(f"127.0.0.1:{port_of(meddler)}", engine)
                    found.extend([await poll(one, 4, slow=turn < 2) for turn in range(3)])
                    return meddler.changed

            changed = sum(await asyncio.gather(*(lane(seed) for seed in range(8))))
            return truth, found, changed

    truth, found, changed = run(work)
    assert len(facts(truth)) > 40
    assert changed > 50
    for observation in found:
        assert facts(observation) <= facts(truth), observation.reason
    assert sum(1 for observation in found if facts(observation)) > 5


def test_what_can_be_held_over_v2c_is_held() -> None:
    """Columns: only rows below what was asked. Records: only words that are states, classes and watts that can be."""
    dice = random.Random(20_261_125)
    columns = [(*PORT_TABLE, 6), (*PORT_TABLE, 10), WATTS]

    def behave(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
        milliwatts = dice.choice((2600, 99_901, 2_000_000_000))  # two of three are more than any port can give
        agent.rows[(*WATTS, 1, 1)] = ber.integer(milliwatts, ber.GAUGE32)
        data, chance = agent.answer(question), dice.random()
        if chance < 0.3:
            data = change_a_number(data, dice)
        elif chance < 0.5:
            data = mutated(data, dice)
        agent.send(data, sender)

    async def work() -> tuple[list[dict[Oid, Column]], list[UnitObservation]]:
        walks: list[dict[Oid, Column]] = []

        async def lane(engine: Engine) -> list[UnitObservation]:
            async with scripted_agent(behave) as agent:
                one = Reader(engine, parse_address(agent.address, "a"), asyncio.get_running_loop().time() + 3)
                with suppress(ReadError):
                    walks.append(await one.columns(columns))
                unit = reader(agent.address, engine)
                return [await poll(unit, 3, slow=turn == 0) for turn in range(3)]

        async with opened({"a": V2C}) as engine:
            lanes = await asyncio.gather(*(lane(engine) for _ in range(15)))
        return walks, [observation for lane in lanes for observation in lane]

    walks, observations = run(work)
    assert len(walks) > 5
    for walk in walks:
        for oid, column in walk.items():
            assert all(varbind.oid == oid + index for index, varbind in column.rows.items())
    refused = Counter[str]()
    for observation in observations:
        budget_w = observation.number(None, Quantity.UNIT_BUDGET)
        for record in observation.records:
            assert (record.value is None) == (record.missing is not None)
            refused[record.missing or ""] += 1
            number = record.number()
            match record.quantity:
                case Quantity.PORT_STATE:
                    assert record.value is None or record.value in set(PortState)
                case Quantity.PORT_CLASS:
                    assert number is None or 0 <= number <= 8
                case Quantity.PORT_DRAW:
                    assert number is None or 0 <= number <= 99.9
                case Quantity.UNIT_DRAW:
                    assert number is None or 0 <= number <= 1.1 * (budget_w or float("inf"))
    assert any("is refused: no port can give more" in why for why in refused), refused
    assert any("a value that the module does not define" in why for why in refused), refused


def test_another_request_id_is_no_answer() -> None:
    """Each of a hundred numbers but the right one, in an answer that is otherwise true."""
    dice = random.Random(5)

    def behave(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
        other = question.request_id ^ (1 << dice.randrange(31))
        bindings = agent.bindings(question)
        agent.send(ber.message(question.community, ber.RESPONSE, other, 0, 0, bindings), sender)

    async def work() -> list[Answer | None]:
        async def lane(engine: Engine) -> list[Answer | None]:
            async with scripted_agent(behave) as agent:
                target = parse_address(agent.address, "a")
                return [await ended_in_time(engine, target, [UPTIME], bulk=False) for _ in range(5)]

        async with opened({"a": V2C}) as engine:
            return [end for ends in await asyncio.gather(*(lane(engine) for _ in range(20))) for end in ends]

    assert run(work) == [None] * 100
