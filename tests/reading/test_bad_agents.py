"""Agents that misbehave on the wire: every poll ends in time, raises nothing, says what happened, keeps what came."""

from __future__ import annotations

import asyncio
import random
import socket
from dataclasses import replace
from functools import partial

import pytest
from tests.reading import ber
from tests.reading.ber import Request
from tests.reading.polling import opened, poll, reader, run
from tests.reading.scripted_agent import (
    COMMUNITY,
    GROUP_TABLE,
    PORT_TABLE,
    UPTIME,
    WATTS,
    Behaviour,
    ScriptedAgent,
    Sender,
    honest,
    scripted_agent,
    switch_rows,
)

from portdraw.observation.record import Basis, PortState, Quantity
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.reading import unit_reader
from portdraw.reading.access import Community
from portdraw.reading.columns import Reader
from portdraw.reading.engine import ReadError, parse_address
from portdraw.reading.varbind import parse_oid

DEADLINE_S = 1.2
ACCESS = {"a": Community(COMMUNITY)}
TRUE_DRAWS = {"1": 2.6, "2": 0.0, "3": 2.8, "4": 0.0, "5": 3.0, "6": 0.0, "7": 3.2, "8": 0.0}


def observe(behave: Behaviour, deadline_s: float = DEADLINE_S, ports: int = 8) -> UnitObservation:
    async def work() -> UnitObservation:
        async with opened(ACCESS) as engine, scripted_agent(behave, switch_rows(ports)) as agent:
            return await poll(reader(agent.address, engine), deadline_s)

    return run(work)


def draws(observation: UnitObservation) -> dict[str, float]:
    told = {port: observation.number(port, Quantity.PORT_DRAW) for port in observation.ports()}
    return {port: watts for port, watts in told.items() if watts is not None}


def assert_true_as_far_as_told(observation: UnitObservation) -> None:
    """No false record: whatever has a value has the true one, whatever has none has a reason."""
    for record in observation.records:
        assert (record.value is None) == (record.missing is not None)
    assert draws(observation).items() <= TRUE_DRAWS.items()
    for port in observation.ports():
        state = observation.text(port, Quantity.PORT_STATE)
        expected = PortState.DELIVERING if int(port) % 2 else PortState.SEARCHING
        assert state in (None, expected)


def assert_whole(observation: UnitObservation) -> None:
    assert observation.outcome is Outcome.ANSWERED, observation.reason
    assert observation.reason == ""
    assert_true_as_far_as_told(observation)
    assert draws(observation) == TRUE_DRAWS
    assert observation.number(None, Quantity.UNIT_DRAW) == 11
    basis = {observation.index[port, Quantity.PORT_DRAW].basis for port in TRUE_DRAWS}
    assert basis == {Basis.MEASURED}


def test_the_scripted_agent_itself_is_read_right() -> None:
    assert_whole(observe(honest))


# agents that answer, but oddly: everything is read all the same


def most(count: int) -> Behaviour:
    """Return GETBULK answers of at most `count` bindings: no multiple of the columns asked for."""
    return lambda agent, question, sender: agent.send(agent.answer(question, count), sender)


def too_big_above(count: int) -> Behaviour:
    """Return tooBig (RFC 3416, 4.2.3) for every answer above `count` bindings."""

    def behave(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
        fits = len(agent.bindings(question)) <= count
        agent.send(agent.answer(question) if fits else agent.refusal(question, 1), sender)

    return behave


def cut_off_above(octets: int) -> Behaviour:
    """Return datagrams that end in the middle wherever the answer is larger."""
    return lambda agent, question, sender: agent.send(agent.answer(question, 1000, 60_000)[:octets], sender)


def lost_above(octets: int) -> Behaviour:
    """Lose whole datagrams that are larger: a path that drops fragments."""

    def behave(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
        data = agent.answer(question, 1000, 60_000)
        if len(data) <= octets:
            agent.send(data, sender)

    return behave


def twice(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """Answer every question twice."""
    agent.send(agent.answer(question), sender)
    agent.send(agent.answer(question), sender)


def after_garbage(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """Send noise first, and the answer a little later."""
    agent.send(random.Random(question.request_id).randbytes(300), sender)
    agent.send(agent.answer(question), sender, after_s=0.05)


def huge(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """Fill every GETBULK answer up to 60,000 octets."""
    asked = replace(question, repetitions=2000) if question.pdu == ber.GETBULK else question
    agent.send(agent.answer(asked, 100_000, 60_000), sender)


ODD: dict[str, Behaviour] = {
    "seven bindings an answer": most(7),
    "one binding an answer": most(1),
    "tooBig above 20": too_big_above(20),
    "tooBig above 2": too_big_above(2),
    "answered twice": twice,
    "noise before the answer": after_garbage,
    "answers of 60 kB": huge,
}


@pytest.mark.parametrize("case", ODD)
def test_odd_agents_are_read_whole(case: str, monkeypatch: pytest.MonkeyPatch) -> None:
    # this agent makes its answers in our own process: a busy machine may take a second for the long ones
    monkeypatch.setattr(unit_reader, "Reader", partial(Reader, request_timeout_s=10.0))
    assert_whole(observe(ODD[case], 60))


@pytest.mark.parametrize("behave", [cut_off_above(700), lost_above(700)], ids=["cut off", "lost"])
def test_lossy_paths_are_read_whole_by_smaller_questions(behave: Behaviour) -> None:
    assert_whole(observe(behave, 12))


# agents that do not answer: silence and garbage are told apart


def silent(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """Say nothing."""


def too_late(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """Answer each question when it has long been given up."""
    agent.send(agent.answer(question), sender, after_s=1.6)


def noise(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """Answer with random octets."""
    agent.send(random.Random(agent.questions).randbytes(400), sender)


def wrong_request_id(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """Answer a question that was not asked."""
    other = replace(question, request_id=question.request_id ^ 0x55)
    agent.send(agent.answer(other), sender)


def truncated(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """End every datagram in the middle."""
    data = agent.answer(question)
    agent.send(data[: len(data) // 2], sender)


def one_octet(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """Answer with a single octet."""
    agent.send(b"0", sender)


def other_community(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """Answer in another community's name."""
    other = replace(question, community=b"someone-else")
    agent.send(agent.answer(other), sender)


def nested(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """Nest sequences as deep as a datagram allows."""
    agent.send(b"\x30\x80" * 30_000, sender)


def endless_number(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """Answer with an integer of 50,000 octets."""
    value = ber.tlv(ber.INTEGER, b"\x7f" * 50_000)
    agent.send(agent.response(question, [ber.binding(name, value) for name in question.names[:1]]), sender)


LATE = "answered, but too late or not what was asked"
UNUSABLE = "answered, but with nothing that can be used"
DUMB: dict[str, tuple[Behaviour, Outcome, str]] = {
    "silent": (silent, Outcome.SILENT, "gave no answer within"),
    "too late": (too_late, Outcome.GARBLED, LATE),
    "wrong request id": (wrong_request_id, Outcome.GARBLED, LATE),
    "other community": (other_community, Outcome.GARBLED, LATE),
    "noise": (noise, Outcome.GARBLED, UNUSABLE),
    "truncated": (truncated, Outcome.GARBLED, UNUSABLE),
    "one octet": (one_octet, Outcome.GARBLED, UNUSABLE),
    "nested": (nested, Outcome.GARBLED, UNUSABLE),
    "endless number": (endless_number, Outcome.GARBLED, UNUSABLE),
}


@pytest.mark.parametrize("case", DUMB)
def test_agents_that_tell_nothing_are_told_apart(case: str) -> None:
    behave, outcome, sentence = DUMB[case]
    observation = observe(behave, 3.0)  # the questions of a busy machine may be slow to go out
    assert observation.outcome is outcome, observation.reason
    assert observation.records == ()
    assert observation.reason.endswith(".")
    assert sentence in observation.reason


# agents that answer in part: what came stays, what is missing has a reason


def only(good: set[tuple[int, ...]], otherwise: Behaviour) -> Behaviour:
    """Answer honestly about some objects, otherwise about every question that touches another one."""

    def behave(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
        fine = all(any(name[: len(start)] == start for start in good) for name in question.names)
        (honest if fine else otherwise)(agent, question, sender)

    return behave


def failing(column: tuple[int, ...], status: int, with_index: bool = True) -> Behaviour:
    """Fail every question that touches a column."""

    def behave(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
        at = next((place for place, name in enumerate(question.names, 1) if name[: len(column)] == column), 0)
        refused = agent.refusal(question, status, at if with_index else 0)
        agent.send(refused if at else agent.answer(question), sender)

    return behave


@pytest.mark.parametrize("with_index", [True, False])
def test_generic_error_on_one_column_costs_only_that_column(with_index: bool) -> None:
    observation = observe(failing(WATTS, 5, with_index), 8)
    assert observation.outcome is Outcome.PARTIAL
    assert "extremePethPortMeasuredPower: the agent answers with error-status 5 after" in observation.reason
    assert_true_as_far_as_told(observation)
    assert draws(observation) == {}
    for port in TRUE_DRAWS:
        assert observation.text(port, Quantity.PORT_STATE) is not None
        record = observation.index[port, Quantity.PORT_DRAW]
        assert record.missing is not None
        assert "error-status 5" in record.missing
    assert observation.number(None, Quantity.UNIT_DRAW) == 11


def test_garbage_for_one_column_costs_only_that_column() -> None:
    """A value that breaks the rules of its type makes the whole datagram unusable."""

    def behave(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
        touched = any(name[: len(WATTS)] == WATTS for name in question.names)
        bad = ber.tlv(ber.GAUGE32, b"\x7f" * 9)
        unusable = agent.response(question, [ber.binding((*WATTS, 1, 1), bad)])
        agent.send(unusable if touched else agent.answer(question), sender)

    observation = observe(behave, 8)
    assert observation.outcome is Outcome.PARTIAL, observation.reason
    assert observation.reason.startswith("extremePethPortMeasuredPower: ")
    assert "no further answer" not in observation.reason  # unusable answers are given up long before a silence is
    assert observation.number(None, Quantity.UNIT_DRAW) == 11
    assert all(observation.text(port, Quantity.PORT_STATE) is not None for port in TRUE_DRAWS)
    assert_true_as_far_as_told(observation)


def test_agent_that_falls_silent_keeps_its_earlier_rows() -> None:
    """It answers about ports and groups and then no more."""
    good = {(1, 3, 6, 1, 2, 1, 1), PORT_TABLE, GROUP_TABLE}

    def behave(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
        if agent.questions <= 3:
            honest(agent, question, sender)

    assert len(good) == 3
    observation = observe(behave)
    assert observation.outcome is Outcome.PARTIAL
    assert "gave no further answer within" in observation.reason
    assert "It is off" not in observation.reason
    assert observation.number(None, Quantity.UPTIME) == 3600
    assert_true_as_far_as_told(observation)
    assert [observation.text(port, Quantity.PORT_STATE) for port in ("1", "2")] == ["delivering", "searching"]


def test_agent_that_answers_nothing_but_its_uptime() -> None:
    observation = observe(only({(1, 3, 6, 1, 2, 1, 1)}, silent))
    assert observation.outcome is Outcome.PARTIAL
    assert observation.number(None, Quantity.UPTIME) == 3600
    assert "gave no further answer within" in observation.reason
    assert len(observation.reason) < 400


def empty_list(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """Answer without a single binding."""
    agent.send(agent.response(question, []), sender)


def no_such_instance(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """Deny every object."""
    absent = ber.tlv(ber.NO_SUCH_INSTANCE, b"")
    agent.send(agent.response(question, [ber.binding(name, absent) for name in question.names]), sender)


def end_of_view(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """Have nothing below any name."""
    end = ber.tlv(ber.END_OF_MIB_VIEW, b"")
    agent.send(agent.response(question, [ber.binding(name, end) for name in question.names]), sender)


def test_empty_lists_are_said() -> None:
    observation = observe(empty_list, 8)
    assert observation.outcome is Outcome.PARTIAL
    assert "the agent sent an empty answer" in observation.reason
    assert observation.index[None, Quantity.UPTIME].missing == "the agent sent an empty answer"


@pytest.mark.parametrize("behave", [no_such_instance, end_of_view])
def test_an_agent_that_has_nothing_is_an_answer(behave: Behaviour) -> None:
    observation = observe(behave, 8)
    assert all(record.value is None for record in observation.records)
    assert observation.index[None, Quantity.UPTIME].missing == "the agent does not have this object"


def descending(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """Step backwards for ever, with a row never seen before each time."""
    if question.pdu != ber.GETBULK:
        honest(agent, question, sender)
        return
    out = []
    for _ in range(question.repetitions):
        out += [ber.binding((*name[:11], 1, 2**31 - agent.questions), ber.integer(3)) for name in question.names]
    agent.send(agent.response(question, out), sender)


def on_the_spot(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
    """Give the same row for ever."""
    if question.pdu != ber.GETBULK:
        honest(agent, question, sender)
        return
    agent.send(agent.response(question, [ber.binding(name, ber.integer(3)) for name in question.names]), sender)


@pytest.mark.parametrize("behave", [descending, on_the_spot])
def test_walks_that_never_end_end(behave: Behaviour) -> None:
    observation = observe(behave, 8)
    assert observation.outcome is Outcome.PARTIAL
    assert "the agent stepped backwards after" in observation.reason
    assert observation.requests < 60
    assert observation.number(None, Quantity.UPTIME) == 3600


def test_recorded_steps_backwards_are_read_whole() -> None:
    """The order in which a recorded agent answered about its neighbours: a row of 28 before a row of 22."""
    column = parse_oid("1.0.8802.1.1.2.1.4.1.1.9")
    order = [(*column, 28, 1, 1), (*column, 22, 8, 8)]

    def behave(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
        bindings = agent.bindings(question)
        for place, name in enumerate(question.names):
            if name[: len(column)] == column and question.pdu == ber.GETBULK:
                for step, following in enumerate([*order, (*column[:-1], 10, 28, 1, 1)]):
                    at = place + step * len(question.names)
                    if at < len(bindings):
                        bindings[at] = ber.binding(following, ber.tlv(ber.OCTETS, f"seen {step}".encode()))
        agent.send(agent.response(question, bindings), sender)

    observation = observe(behave, 8)
    assert (observation.outcome, observation.reason) == (Outcome.ANSWERED, "")
    assert observation.text("1", Quantity.PORT_NEIGHBOUR) == "seen 0"
    assert observation.text("8", Quantity.PORT_NEIGHBOUR) == "seen 1"
    assert draws(observation) == TRUE_DRAWS


def test_two_thousand_rows_are_read_in_order() -> None:
    tables = (UPTIME, (*PORT_TABLE, 6), WATTS)
    rows = {name: value for name, value in switch_rows(2000).items() if any(name[: len(t)] == t for t in tables)}

    async def work() -> UnitObservation:
        async with opened(ACCESS) as engine, scripted_agent(huge, rows) as agent:
            one = reader(agent.address, engine)
            return await poll(one, 20, slow=False)

    observation = run(work)
    assert observation.outcome is Outcome.ANSWERED, observation.reason
    assert len(observation.ports()) == 2000
    assert observation.text("1999", Quantity.PORT_STATE) == PortState.DELIVERING
    refused = observation.index["1999", Quantity.PORT_DRAW]  # 202.4 W
    assert refused.missing == "202.4 W is refused: no port can give more than 99.9 W"


# senders that were not asked


def test_answers_from_strangers_are_not_answers() -> None:
    """From many other ports of the same host come right answers with false watts; only the one asked is believed."""
    false = ber.integer(99_000, ber.GAUGE32)
    lie = {name: false if name[: len(WATTS)] == WATTS else value for name, value in switch_rows().items()}
    liar = ScriptedAgent(lie)

    def behave(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
        for _ in range(60):
            with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as stranger:
                stranger.bind(("127.0.0.1", 0))
                stranger.sendto(liar.answer(question), sender)
        agent.send(agent.answer(question), sender, after_s=0.02)

    assert_whole(observe(behave, 8))


def test_only_strangers_answer_is_silence() -> None:
    def behave(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as stranger:
            stranger.sendto(agent.answer(question), sender)

    observation = observe(behave)
    assert observation.outcome is Outcome.SILENT
    assert observation.records == ()


def test_another_unit_that_is_asked_too_can_not_answer_for_this_one() -> None:
    """Both are being asked at the same time, so datagrams of both are looked at; each may only speak for itself."""

    async def work() -> tuple[UnitObservation, UnitObservation]:
        async with opened(ACCESS) as engine, scripted_agent(silent) as victim:

            def rob(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
                for guess in range(question.request_id - 3, question.request_id + 4):
                    agent.send(agent.answer(replace(question, request_id=guess)), sender)

            async with scripted_agent(rob) as robber:
                readers = (reader(victim.address, engine), reader(robber.address, engine))
                first, second = await asyncio.gather(*(poll(one, DEADLINE_S) for one in readers))
                return first, second

    victim, _ = run(work)
    assert victim.outcome in (Outcome.SILENT, Outcome.GARBLED)
    assert victim.records == ()


# three hundred mutated answers


def mutated(data: bytes, dice: random.Random) -> bytes:
    """Return an answer with some octets changed, cut out, doubled or put in."""
    octets = bytearray(data)
    for _ in range(dice.randint(1, 6)):
        at = dice.randrange(len(octets))
        match dice.randrange(4):
            case 0:
                octets[at] = dice.randrange(256)
            case 1:
                del octets[at : at + dice.randint(1, 8)]
            case 2:
                octets[at:at] = dice.randbytes(dice.randint(1, 8))
            case _:
                octets[at] ^= 1 << dice.randrange(8)
        if not octets:
            break
    return bytes(octets)


def test_three_hundred_mutated_answers_raise_only_the_engine_s_own_error() -> None:
    """Seeded. What is still a well-formed answer may be taken; it then has the shape of one and nothing else."""
    oids = [UPTIME, (*PORT_TABLE, 6, 1, 1), (*WATTS, 1, 1)]
    dice = random.Random(20_260_302)

    def behave(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
        agent.send(mutated(agent.answer(question), dice), sender)

    async def work() -> tuple[int, int]:
        async with opened(ACCESS) as engine, scripted_agent(behave) as agent:
            target = parse_address(agent.address, "a")
            refused = taken = 0
            for batch in range(10):
                questions = [
                    engine.get_bulk(target, oids, 4, 0.4) if number % 2 else engine.get(target, oids, 0.4)
                    for number in range(30)
                ]
                for end in await asyncio.gather(*questions, return_exceptions=True):
                    if isinstance(end, ReadError):
                        assert str(end)
                        refused += 1
                    else:
                        assert not isinstance(end, BaseException), (batch, repr(end))
                        assert all(isinstance(varbind.oid, tuple) for varbind in end.varbinds)
                        taken += 1
            return refused, taken

    refused, taken = run(work)
    assert refused + taken == 300
    assert refused > 100


def test_polls_over_mutated_answers_end_in_time() -> None:
    """v2c has no digest: a changed value may pass for a true one. No poll may raise or overrun."""
    dice = random.Random(7)

    def behave(agent: ScriptedAgent, question: Request, sender: Sender) -> None:
        data = agent.answer(question)
        agent.send(mutated(data, dice) if dice.random() < 0.5 else data, sender)

    async def work() -> list[UnitObservation]:
        async with opened(ACCESS) as engine, scripted_agent(behave) as agent:
            return list(await asyncio.gather(*(poll(reader(agent.address, engine), 4) for _ in range(12))))

    for observation in run(work):
        for record in observation.records:
            assert (record.value is None) == (record.missing is not None)
        assert (observation.reason == "") == (observation.outcome is Outcome.ANSWERED)
