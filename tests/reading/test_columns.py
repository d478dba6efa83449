"""Tables and scalars against agents that answer wrongly, in memory: what is kept, what is said, how often it asks."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping, Sequence

import pytest
from tests.reading.map_engine import MapEngine, Twist, numbers

from portdraw.reading.columns import MOST_STEPS_BACK, MOST_VARBINDS_PER_REQUEST, Column, Reader
from portdraw.reading.engine import Answer, ErrorStatus, Failure, ReadError, Target
from portdraw.reading.varbind import Kind, Oid, Varbind, oid_text

TARGET = Target("192.0.2.1", 161, "a")
STATE: Oid = (1, 3, 6, 1, 2, 1, 105, 1, 1, 1, 6)
CLASS: Oid = (1, 3, 6, 1, 2, 1, 105, 1, 1, 1, 10)
WATTS: Oid = (1, 3, 111, 2, 802, 3, 1, 8, 1, 1, 1, 15)
PORTS = 48
ROWS = {
    **numbers(STATE, {(1, port): 3 for port in range(1, PORTS + 1)}),
    **numbers(CLASS, {(1, port): 4 for port in range(1, PORTS + 1)}),
    **numbers(WATTS, {(1, port): 1000 + port for port in range(1, PORTS + 1)}),
}


def walk(engine: MapEngine, columns: Sequence[Oid]) -> dict[Oid, Column]:
    async def work() -> dict[Oid, Column]:
        return await Reader(engine, TARGET, asyncio.get_running_loop().time() + 10).columns(columns)

    return asyncio.run(work())


def scalars(engine: MapEngine, oids: Sequence[Oid]) -> tuple[dict[Oid, Varbind], dict[Oid, str]]:
    async def work() -> tuple[dict[Oid, Varbind], dict[Oid, str]]:
        reader = Reader(engine, TARGET, asyncio.get_running_loop().time() + 10)
        return await reader.scalars(oids), reader.why_missing

    return asyncio.run(work())


def values(column: Column) -> dict[Oid, int]:
    return {index: v.value for index, v in column.rows.items() if isinstance(v.value, int)}


def whole(column: Column, rows: Mapping[Oid, Varbind] = ROWS) -> bool:
    size = len(column.oid)
    expected = {oid[size:]: varbind for oid, varbind in rows.items() if oid[:size] == column.oid}
    return column.why_cut is None and column.rows == expected


def test_columns_side_by_side_take_few_requests() -> None:
    engine = MapEngine(ROWS)
    found = walk(engine, [STATE, CLASS, WATTS])
    assert all(whole(column) for column in found.values())
    assert len(engine.asked) <= 1 + 3 * PORTS // MOST_VARBINDS_PER_REQUEST + 1


@pytest.mark.parametrize("most", [1, 2, 7, 64])
def test_short_answer_is_not_the_end(most: int) -> None:
    """An agent may answer with fewer bindings than asked for, in the middle of a row (RFC 3416, 4.2.3)."""
    found = walk(MapEngine(ROWS, most=most), [STATE, CLASS, WATTS])
    assert all(whole(column) for column in found.values())


def test_columns_of_different_length_and_an_absent_one() -> None:
    rows = {oid: varbind for oid, varbind in ROWS.items() if oid[:-2] != CLASS or oid[-1] % 5 == 0}
    absent = (1, 3, 6, 1, 2, 1, 105, 1, 1, 1, 15)
    found = walk(MapEngine(rows), [STATE, CLASS, absent, WATTS])
    assert all(whole(column, rows) for column in found.values())
    assert found[absent].rows == {}


def too_big_above(most: int) -> Twist:
    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        if len(oids) * (repetitions or 1) > most:
            return Answer((), ErrorStatus.TOO_BIG)
        return engine.honest(oids, repetitions)

    return twist


@pytest.mark.parametrize("most", [1, 2, 5, 40])
def test_too_big_until_few_bindings(most: int) -> None:
    engine = MapEngine(ROWS, too_big_above(most))
    found = walk(engine, [STATE, CLASS, WATTS])
    assert all(whole(column) for column in found.values())
    assert len(engine.asked) < 12 + 3 * (PORTS + 1) / max(1, most / 5)


def test_too_big_for_ever_is_said() -> None:
    found = walk(MapEngine(ROWS, too_big_above(0)), [STATE, WATTS])
    assert [column.rows for column in found.values()] == [{}, {}]
    for column in found.values():
        assert column.why_cut is not None
        assert column.why_cut.startswith("the agent says that even a small answer is too big")


def generic_error_at(culprit: Oid, with_index: bool) -> Twist:
    """A request that would reach `culprit` fails as a whole, with or without the index of the name to blame."""

    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        answer = engine.honest(oids, repetitions)
        at = next((place for place, varbind in enumerate(answer.varbinds) if varbind.oid == culprit), None)
        if at is None:
            return answer
        return Answer((), ErrorStatus.GEN_ERR, at % len(oids) + 1 if with_index else 0)

    return twist


@pytest.mark.parametrize("with_index", [True, False], ids=["index", "no index"])
@pytest.mark.parametrize("port", [1, 30])
def test_error_on_one_column_costs_only_its_later_rows(with_index: bool, port: int) -> None:
    engine = MapEngine(ROWS, generic_error_at((*CLASS, 1, port), with_index))
    found = walk(engine, [STATE, CLASS, WATTS])
    assert whole(found[WATTS])
    assert len(found[STATE].rows) == PORTS
    assert whole(found[STATE]) == (port > 1)  # where the next object fails, its predecessor's end can't be seen
    assert list(values(found[CLASS])) == [(1, before) for before in range(1, port)]
    last = (*CLASS, 1, port - 1) if port > 1 else CLASS
    assert found[CLASS].why_cut == f"the agent answers with error-status 5 after {oid_text(last)}"
    # the whole columns are not read row by row, and where the agent names the culprit the others stay side by side
    assert len(engine.asked) < (45 if with_index else 60)
    if with_index:
        pairs = [{oid[: len(STATE)] for oid in oids if oid[: len(WATTS)] != WATTS} for oids, _ in engine.asked]
        assert {STATE} in [pair for pair, (oids, _) in zip(pairs, engine.asked, strict=True) if len(oids) == 2]


def test_garbled_answer_for_one_column_costs_only_that_column() -> None:
    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        if any(oid[: len(CLASS)] == CLASS for oid in oids):
            raise ReadError(Failure.GARBLED, "a value that can't be decoded")
        return engine.honest(oids, repetitions)

    found = walk(MapEngine(ROWS, twist), [STATE, CLASS, WATTS])
    assert whole(found[STATE])
    assert whole(found[WATTS])
    assert found[CLASS].why_cut == f"a value that can't be decoded after {oid_text(CLASS)}"


def test_large_answers_that_never_arrive_are_asked_for_in_smaller_ones() -> None:
    """A path that loses fragments loses large answers only; after two of them no larger one is asked for."""
    lost: list[int] = []

    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        if len(oids) * (repetitions or 1) > 24:
            lost.append(len(engine.asked))
            raise ReadError(Failure.SILENT, "no answer")
        return engine.honest(oids, repetitions)

    found = walk(MapEngine(ROWS, twist), [STATE, CLASS, WATTS])
    assert all(whole(column) for column in found.values())
    assert len(lost) == 2


def test_every_other_answer_lost_is_read_whole() -> None:
    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        if len(engine.asked) % 2:
            raise ReadError(Failure.SILENT, "no answer")
        return engine.honest(oids, repetitions)

    engine = MapEngine(ROWS, twist)
    assert all(whole(column) for column in walk(engine, [STATE, CLASS, WATTS]).values())
    assert len(engine.asked) <= 80


def test_one_lost_answer_does_not_make_the_rest_slow() -> None:
    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        if len(engine.asked) == 1:
            raise ReadError(Failure.SILENT, "no answer")
        return engine.honest(oids, repetitions)

    engine = MapEngine(ROWS, twist)
    assert all(whole(column) for column in walk(engine, [STATE, CLASS, WATTS]).values())
    assert len(engine.asked) <= 6


def test_two_lost_answers_far_apart_do_not_make_the_rest_slow() -> None:
    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        if len(engine.asked) in (1, 4):
            raise ReadError(Failure.SILENT, "no answer")
        return engine.honest(oids, repetitions)

    engine = MapEngine({**ROWS, **numbers(WATTS, {(1, port): 7 for port in range(1, 400)})}, twist)
    assert walk(engine, [WATTS])[WATTS].why_cut is None
    assert len(engine.asked) <= 9


def test_silence_in_the_middle_keeps_what_came() -> None:
    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        if len(engine.asked) > 1:
            raise ReadError(Failure.SILENT, "no answer")
        return engine.honest(oids, repetitions)

    found = walk(MapEngine(ROWS, twist), [STATE, CLASS, WATTS])
    for column in found.values():
        assert len(column.rows) == MOST_VARBINDS_PER_REQUEST // 3
        assert column.why_cut is not None
        assert column.why_cut.startswith("192.0.2.1:161 gave no further answer within")


@pytest.mark.parametrize("failure", [Failure.SILENT, Failure.GARBLED, Failure.UNKNOWN_USER])
def test_nothing_at_all_raises(failure: Failure) -> None:
    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        raise ReadError(failure, "why")

    with pytest.raises(ReadError) as caught:
        scalars(MapEngine(ROWS, twist), [STATE])
    assert caught.value.failure is failure


def backwards(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
    honest = engine.honest(oids, repetitions)
    kept = [v if v.oid[-1] != 20 else Varbind((*v.oid[:-1], 3), v.kind, v.value) for v in honest.varbinds]
    return Answer(tuple(kept))


def repeated(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
    if all(oid[-1] >= 10 and len(oid) > len(STATE) for oid in oids if oid[: len(STATE)] == STATE):
        return Answer(tuple(engine.rows[oid] for oid in oids if oid in engine.rows))
    return engine.honest(oids, min(repetitions or 1, 10))


@pytest.mark.parametrize(("twist", "kept"), [(backwards, 19), (repeated, 10)])
def test_steps_backwards_and_on_the_spot_end_the_column(twist: Twist, kept: int) -> None:
    engine = MapEngine(ROWS, twist)
    column = walk(engine, [STATE])[STATE]
    assert len(column.rows) == kept
    assert column.why_cut == f"the agent stepped backwards after {oid_text((*STATE, 1, kept))}"
    assert len(engine.asked) <= kept


@pytest.mark.parametrize("first", range(1, 9))
def test_a_table_out_of_order_is_read_whole(first: int) -> None:
    """Eight rows that the agent tells from any of them on, backwards to the first and from there to the end."""
    order = [*range(first, 0, -1), *range(first + 1, 9)]

    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        seen = oids[0][-1] if len(oids[0]) > len(STATE) else None
        left = order[order.index(seen) + 1 :] if seen is not None else order
        rows = [Varbind((*STATE, 1, row), Kind.INTEGER, 3) for row in left]
        return Answer(tuple([*rows, Varbind((*STATE[:-1], STATE[-1] + 1, 1), Kind.INTEGER, 1)][:3]))

    column = walk(MapEngine({}, twist), [STATE])[STATE]
    assert column.why_cut is None
    assert sorted(index[-1] for index in column.rows) == list(range(1, 9))


def test_ever_lower_rows_end_at_the_bound() -> None:
    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        start = oids[0][-1] if len(oids[0]) > len(STATE) else 1_000_000
        return Answer(tuple(Varbind((*STATE, 1, start - step), Kind.INTEGER, 3) for step in range(1, 11)))

    column = walk(MapEngine({}, twist), [STATE])[STATE]
    assert len(column.rows) == MOST_STEPS_BACK + 1
    assert (column.why_cut or "").startswith("the agent stepped backwards after")


def test_ever_new_rows_end_at_the_bound() -> None:
    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        start = oids[0][-1] if len(oids[0]) > len(STATE) else 0
        rows = [Varbind((*STATE, 1, start + step), Kind.INTEGER, 3) for step in range(1, 5001)]
        return Answer(tuple(rows))

    column = walk(MapEngine({}, twist), [STATE])[STATE]
    assert column.why_cut == "more than 10000 rows"
    assert len(column.rows) == 10_000


def test_empty_answers_are_said_and_asked_again_for_less() -> None:
    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        return engine.honest(oids, repetitions) if len(oids) * (repetitions or 1) <= 4 else Answer(())

    assert all(whole(column) for column in walk(MapEngine(ROWS, twist), [STATE, CLASS, WATTS]).values())
    always = walk(MapEngine(ROWS, lambda *_: Answer(())), [STATE, CLASS])
    assert {column.why_cut for column in always.values()} == {
        f"the agent sent an empty answer after {oid_text(oid)}" for oid in (STATE, CLASS)
    }


@pytest.mark.parametrize("status", [1, 2, 3, 5, 6, 13, 16, 99])
def test_an_error_with_the_question_echoed_is_never_an_empty_table(status: int) -> None:
    """Only noSuchName is the end of the tables (RFC 1157); any other status must leave a reason, or a refusal."""

    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        return Answer(tuple(Varbind(oid, Kind.NULL, None) for oid in oids), status, 0)

    engine = MapEngine(ROWS, twist)
    if status in (ErrorStatus.NO_ACCESS, ErrorStatus.AUTHORIZATION_ERROR):
        with pytest.raises(ReadError) as caught:
            walk(engine, [STATE, CLASS])
        assert caught.value.failure is Failure.REFUSED
        return
    found = walk(engine, [STATE, CLASS])
    for column in found.values():
        assert column.rows == {}
        assert (column.why_cut is None) == (status == ErrorStatus.NO_SUCH_NAME)


def test_a_view_that_hides_one_column_leaves_the_others() -> None:
    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        hidden = [place for place, oid in enumerate(oids, 1) if oid[: len(CLASS)] == CLASS]
        if hidden:
            return Answer((), ErrorStatus.AUTHORIZATION_ERROR, hidden[0])
        return engine.honest(oids, repetitions)

    found = walk(MapEngine(ROWS, twist), [STATE, CLASS, WATTS])
    assert whole(found[STATE])
    assert whole(found[WATTS])
    assert found[CLASS].why_cut == f"the agent does not let this user see this object after {oid_text(CLASS)}"


def test_giant_index_numbers_do_not_break_the_sentence() -> None:
    """An arc above 32 bits is not SMIv2; the reader must survive an engine that lets it through."""
    giant = (*STATE, 1, 2**32 - 1)
    rows = {giant: Varbind(giant, Kind.INTEGER, 3)}

    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        return Answer((engine.rows[giant],))

    column = walk(MapEngine(rows, twist), [STATE])[STATE]
    assert column.why_cut == f"the agent stepped backwards after {oid_text(giant)}"


# scalars


SYSTEM: Oid = (1, 3, 6, 1, 2, 1, 1)
SCALARS = {oid: Varbind(oid, Kind.INTEGER, oid[-2]) for oid in ((*SYSTEM, arc, 0) for arc in range(1, 30))}
NOT_THERE = (1, 3, 6, 1, 2, 1, 1, 99, 0)


def test_missing_instances_are_absent_and_have_no_excuse() -> None:
    found, why = scalars(MapEngine(SCALARS), [*SCALARS, NOT_THERE])
    assert found == SCALARS
    assert why == {}


@pytest.mark.parametrize("status", [1, 2, 5, 6, 13, 16, 99])
def test_an_error_about_one_instance_does_not_take_the_batch(status: int) -> None:
    """SNMPv1 manners (noSuchName for the whole request) and others: every other instance is still read."""

    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        return Answer((), status, 1) if NOT_THERE in oids else engine.honest(oids, repetitions)

    found, why = scalars(MapEngine(SCALARS, twist), [*list(SCALARS)[:5], NOT_THERE, *list(SCALARS)[5:]])
    assert found == SCALARS
    assert list(why) == [NOT_THERE]


def test_answers_about_something_else_are_not_taken() -> None:
    other = Varbind((1, 3, 6, 1, 2, 1, 1, 77, 0), Kind.INTEGER, 7)
    found, why = scalars(MapEngine(SCALARS, lambda *_: Answer((other,))), list(SCALARS)[:4])
    assert found == {}
    assert set(why.values()) == {"the agent's answer does not speak of this object"}
    assert len(why) == 4


def test_answers_cut_short_are_completed() -> None:
    def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
        return Answer(engine.honest(oids, repetitions).varbinds[:2])

    assert scalars(MapEngine(SCALARS, twist), list(SCALARS)) == (SCALARS, {})
