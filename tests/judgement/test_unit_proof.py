"""Which of a unit's sources has a wrong unit of measure, as a table; then refused, and the next one used.

Figures are made up by hand: a true draw, one side of it multiplied or divided by 10 or 1,000.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.judgement.scene import EVERY_S, NIGHT_S, answer, answers, changed, delivering, ferry_terminal, record

from portdraw.judgement.assessment import UnitAssessment
from portdraw.judgement.compare import assess
from portdraw.judgement.memory import Memory
from portdraw.judgement.unit_agreement import Agreement, compared
from portdraw.judgement.unit_proof import PORTS, TOTAL, Bounds, FeederSide, UnitProof, prove
from portdraw.observation.record import Basis, PortState, Quantity, Record
from portdraw.observation.unit_observation import UnitObservation
from portdraw.plan.tree import Tree

FREE = Bounds(1000.0)


def seen(ports: list[float], total_w: float | None, others: tuple[Record, ...] = ()) -> UnitObservation:
    """An answer with delivering ports 1, 2, ... and a total."""
    records = [one for key, watts in enumerate(ports, 1) for one in delivering(str(key), watts, NIGHT_S)]
    if total_w is not None:
        records.append(record(None, Quantity.UNIT_DRAW, total_w, NIGHT_S))
    return replace(answer("berth-1", NIGHT_S, *records), others=others)


def proven(
    ports: list[float],
    total_w: float | None,
    bounds: Bounds = FREE,
    feeder: FeederSide | None = None,
    others: tuple[Record, ...] = (),
    polls: int = 3,
) -> UnitProof:
    proof = UnitProof()
    for _ in range(polls):
        proof = prove(seen(ports, total_w, others), proof, bounds, feeder)
    return proof


def reserve(watts: list[float], source: str = "spare column") -> tuple[Record, ...]:
    return tuple(
        Record(str(key), Quantity.PORT_DRAW, value, "W", Basis.MEASURED, source, NIGHT_S)
        for key, value in enumerate(watts, 1)
    )


@pytest.mark.parametrize(
    ("one_w", "other_w", "agreement", "factor"),
    [
        (11.4, 11, Agreement.AGREE, 1),  # a total cut off to whole watts, as in a recorded agent
        (40.707, 41, Agreement.AGREE, 1),  # and one that rounds
        (2.5, 2, Agreement.TOO_LITTLE, 1),
        (0.5, 2.8, Agreement.APART, 1),
        (11.4, 114, Agreement.FACTOR, 10),
        (11.4, 1.14, Agreement.FACTOR, 10),
        (29.9, 2, Agreement.FACTOR, 10),  # 2.99 cut off
        (0.0114, 11, Agreement.FACTOR, 1000),
        (11.4, 11_400, Agreement.FACTOR, 1000),
        (11.4, 60, Agreement.APART, 1),
        (11.4, 1140, Agreement.APART, 1),
        (11.4, 0, Agreement.APART, 1),
    ],
)
def test_sums_that_should_be_equal(one_w: float, other_w: float, agreement: Agreement, factor: int) -> None:
    assert (compared(one_w, other_w).agreement, compared(one_w, other_w).factor) == (agreement, factor)
    assert compared(other_w, one_w) == compared(one_w, other_w)


def feeder(gives_w: float) -> FeederSide:
    """A feeder's port that gives what the unit gives and 8 W for the unit itself."""
    return FeederSide("core port 1", gives_w, lambda outputs_w: outputs_w + 8.0)


@pytest.mark.parametrize(
    ("ports", "total_w", "bounds", "at_feeder", "others", "side"),
    [
        ([0.0036, 0.0037, 0.0041], 11, FREE, None, (), PORTS),  # less than keeps a port on
        ([36, 37, 41], 11, Bounds(29.4), None, (), PORTS),  # classes 2, 2 and 3: 7 + 7 + 15.4 W
        ([3.6, 3.7, 4.1], 114, Bounds(29.4), None, (), TOTAL),
        ([3.6, 3.7, 4.1], 11_400, FREE, None, (), TOTAL),
        ([3.6, 3.7, 4.1], 114, FREE, feeder(19.4), (), TOTAL),
        ([36, 37, 41], 11, FREE, feeder(19.4), (), PORTS),
        ([36, 37, 41], 11, FREE, None, reserve([3.6, 3.7, 4.1]), PORTS),
        ([3.6, 3.7, 4.1], 114, FREE, None, reserve([3.6, 3.7, 4.1]), TOTAL),
        ([36, 37, 41], 11, FREE, None, (), ""),  # nothing decides
        ([3.6, 3.7, 4.1], 11, FREE, None, (), ""),
        ([3.6, 3.7, 4.1], 0, FREE, None, (), TOTAL),  # some agents leave it at 0
        ([0.0, 0.0, 0.0], 11, FREE, None, (), PORTS),
        ([3.6, 3.7, 4.1], 60, FREE, None, (), ""),
        ([3.6, 3.7, 4.1], None, FREE, None, (), ""),
    ],
)
def test_the_wrong_side(
    ports: list[float],
    total_w: float | None,
    bounds: Bounds,
    at_feeder: FeederSide | None,
    others: tuple[Record, ...],
    side: str,
) -> None:
    proof = proven(ports, total_w, bounds, at_feeder, others)
    assert proof.side == side
    assert proof.is_refused is bool(side)


def test_the_next_source_is_used() -> None:
    others = (*reserve([360, 370, 410], "worse column"), *reserve([3.6, 3.7, 4.1]))
    proof = proven([36, 37, 41], 11, others=others)
    assert proof.used is not None
    assert [proof.used.number(key, Quantity.PORT_DRAW) for key in "123"] == [3.6, 3.7, 4.1]
    assert {proof.used.index[key, Quantity.PORT_DRAW].source for key in "123"} == {"spare column"}
    assert proof.notes() == (
        "the watts of its ports by test: refused, as its ports sum up to 114.0 W and its own total is 11.0 W: "
        "about 10 times apart, and all else bears out the total",
    )


def test_without_a_next_source_watts_are_unknown_not_zero() -> None:
    proof = proven([36, 37, 41], 11, Bounds(29.4))
    assert proof.used is not None
    found = proof.used.index["1", Quantity.PORT_DRAW]
    assert (found.value, found.basis) == (None, None)
    assert found.missing == proof.note


def test_a_step_between_two_readings_refuses_nothing() -> None:
    proof = proven([1.0], 11, Bounds(5.0), polls=2)
    assert not proof.is_refused
    assert proof.used == seen([1.0], 11)
    assert prove(seen([11.0], 11), proof, FREE, None).polls == 0


def test_a_refusal_outlasts_a_time_without_load_and_ends_with_agreement() -> None:
    proof = proven([3.6, 3.7, 4.1], 11_400)
    idle = answer("berth-1", NIGHT_S, record("1", Quantity.PORT_STATE, PortState.SEARCHING, NIGHT_S))
    assert prove(idle, proof, FREE, None).is_refused
    assert prove(seen([0.0], 0), proof, FREE, None).is_refused
    assert not prove(seen([3.6, 3.7, 4.1], 11), proof, FREE, None).is_refused


def test_the_same_answer_counts_once() -> None:
    raw, proof = seen([3.6, 3.7, 4.1], 11_400), UnitProof()
    for _ in range(5):
        proof = prove(raw, proof, FREE, None)
    assert proof.polls == 1


def test_granted_watts_prove_nothing() -> None:
    raw = seen([], 11_400)
    granted = record("1", Quantity.PORT_DRAW, 12.0, NIGHT_S, basis=Basis.GRANTED)
    raw = replace(raw, records=(*raw.records, granted))
    assert prove(raw, UnitProof(), FREE, None).side == ""


def test_a_port_refused_as_impossible_has_the_watts_of_the_next_source() -> None:
    raw = seen([3.6, 3.7], None, reserve([3.5, 3.6, 4.0]))
    refused = record("3", Quantity.PORT_DRAW, None, NIGHT_S, missing="4100 W is refused")
    used = prove(replace(raw, records=(*raw.records, refused)), UnitProof(), FREE, None).used
    assert used is not None
    assert [used.number(key, Quantity.PORT_DRAW) for key in "123"] == [3.6, 3.7, 4.0]


@pytest.mark.parametrize(
    ("gives_w", "words"),
    [
        (19.4, ""),
        (24.0, ""),
        (1.94, "core port 1 gives it 1.9 W, its own readings explain 19.4 W: about 10 times apart, so one of them is "
               "in another unit of measure"),
        (60.0, "core port 1 gives it 60.0 W, its own readings explain 19.4 W"),
    ],
)  # fmt: skip
def test_the_feeder_s_port_while_the_feed_carries(gives_w: float, words: str) -> None:
    assert proven([3.6, 3.7, 4.1], 11, feeder=feeder(gives_w)).notes() == ((words,) if words else ())
    assert proven([3.6, 3.7, 4.1], 11, feeder=feeder(gives_w), polls=2).notes() == ()


def unit_after(cycles: int, total_w: float) -> UnitAssessment:
    """berth-1 after some cycles of the whole site, in which its total is not what its ports give."""
    site, memory = ferry_terminal(), Memory()
    tree = Tree(site)
    for turn in range(cycles):
        time_s = NIGHT_S + turn * EVERY_S
        polls = answers(site, time_s)
        total = record(None, Quantity.UNIT_DRAW, total_w, time_s)
        assessment, memory = assess(
            site, tree, changed(polls, "berth-1", total), time_s, EVERY_S, emulated=True, memory=memory
        )
    found = assessment.unit("berth-1")
    assert found is not None
    return found


def test_in_a_whole_cycle_the_ports_stand_and_the_total_is_refused() -> None:
    right_w = unit_after(1, 0.0).draw_w
    assert right_w is not None
    assert right_w > 5
    doubtful, found = unit_after(2, right_w * 1000), unit_after(3, right_w * 1000)
    assert not doubtful.draw_complete
    assert (found.draw_w, found.draw_complete, found.total_w) == (right_w, True, None)
    assert any("about 1000 times apart" in note for note in found.notes)
