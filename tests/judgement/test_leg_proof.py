"""Proof of a leg: watts that it carried alone without a break, and what ends it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from portdraw.judgement.assessment import Availability, Carrying, Leg
from portdraw.judgement.leg_proof import (
    SHORTEST_PROOF_S,
    Proof,
    ProofMemory,
    carries_alone,
    changed_conditions,
    proven,
    remember_carrying,
)

T0_S = 1_772_460_360.0  # 2026-03-02 14:06:00 UTC
GAP_S = 90.0
VALID_DAYS = 180
WITH = {"feeder port": "core port 1", "class": "8", "cable": "cat6a 84 m", "firmware": "1.2"}
FEED = Leg("PoE feed", "core port 1", Availability.BELIEVED, Carrying.NONE)
DAY_S = 86_400.0


def run(watts: Sequence[float | None], step_s: float = 30.0, conditions: dict[str, str] | None = None) -> ProofMemory:
    memory = ProofMemory()
    for number, one in enumerate(watts):
        memory = remember_carrying(memory, one, conditions or WITH, T0_S + number * step_s, GAP_S, VALID_DAYS)
    return memory


def test_proof_needs_five_minutes_without_a_break() -> None:
    assert run([61.0] * 10).proof is None
    proof = run([61.0] * 11).proof
    assert proof is not None
    assert (proof.watts, proof.lasted_s) == (61.0, SHORTEST_PROOF_S)
    assert run([61.0] * 8 + [None] + [61.0] * 8).proof is None
    assert run([61.0] * 11, step_s=100.0).proof is None  # readings too far apart to know what was between


def test_a_change_during_a_run_begins_it_anew() -> None:
    memory = run([61.0] * 8)
    for number in range(8, 16):
        changed = {**WITH, "cable": "another"}
        memory = remember_carrying(memory, 61.0, changed, T0_S + number * 30, GAP_S, VALID_DAYS)
    assert memory.proof is None


def test_proof_has_the_watts_that_were_there_all_the_time() -> None:
    proof = run([61.0] * 11 + [40.0] * 11).proof
    assert proof is not None
    assert proof.watts == 61.0
    rising = run([40.0] * 11 + [61.0] * 11).proof
    assert rising is not None
    assert rising.watts == 61.0
    dip = run([61.0] * 6 + [40.0] + [61.0] * 6).proof
    assert dip is not None
    assert dip.watts == 40.0


def test_proof_is_told_with_watts_minutes_and_day() -> None:
    proof = run([61.0] * 25 + [None]).proof
    assert proof is not None
    assert proof.words("UTC") == "proven to 61.0 W for 12 min on 2026-03-02"


def shown(memory: ProofMemory, need_w: float | None, days: float = 0.0, leg: Leg = FEED) -> Leg:
    return proven(leg, memory, need_w, T0_S + 720 + days * DAY_S, 180, "UTC")


def test_a_case_that_needs_more_is_believed_only() -> None:
    memory = run([61.0] * 25 + [None])
    assert shown(memory, 55.0).availability is Availability.PROVEN
    more = shown(memory, 72.0)
    assert more.availability is Availability.BELIEVED
    assert more.evidence_for[-1] == (
        "proven to 61.0 W for 12 min on 2026-03-02; the 72.0 W that it would carry now is believed only"
    )
    assert shown(memory, None).availability is Availability.BELIEVED


def test_a_proof_grows_old() -> None:
    memory = run([61.0] * 25 + [None])
    assert shown(memory, 55.0, days=179).availability is Availability.PROVEN
    assert shown(memory, 55.0, days=181).availability is Availability.BELIEVED


@pytest.mark.parametrize("availability", [Availability.UNKNOWN, Availability.LOST])
def test_a_proof_of_another_day_makes_nothing_of_a_leg_that_is_not_seen(availability: Availability) -> None:
    leg = shown(run([61.0] * 25 + [None]), 55.0, leg=replace(FEED, availability=availability))
    assert leg.availability is availability
    assert leg.proof_w is None


@pytest.mark.parametrize("name", list(WITH))
def test_a_change_of_any_condition_ends_the_proof(name: str) -> None:
    memory = run([61.0] * 25 + [None])
    changed = {**WITH, name: "another"}
    after = remember_carrying(memory, None, changed, T0_S + 800, GAP_S, VALID_DAYS)
    assert after.proof is not None
    assert after.proof.ended_by == name
    leg = shown(after, 55.0)
    assert leg.availability is Availability.BELIEVED
    assert leg.evidence_against[-1] == f"proven to 61.0 W for 12 min on 2026-03-02, with another {name}"
    back = remember_carrying(after, None, WITH, T0_S + 900, GAP_S, VALID_DAYS)
    assert back.proof is not None
    assert back.proof.ended_by == name  # what was taken apart in between is not proven by being as before


def test_a_new_run_proves_it_anew() -> None:
    memory = run([61.0] * 25 + [None])
    changed = {**WITH, "cable": "another"}
    for number in range(12):
        memory = remember_carrying(memory, 50.0, changed, T0_S + 750 + number * 30, GAP_S, VALID_DAYS)
    assert memory.proof is not None
    assert (memory.proof.watts, memory.proof.ended_by) == (50.0, "")


def test_fewer_watts_take_over_when_the_proof_has_grown_old() -> None:
    memory, later_s = run([61.0] * 25 + [None]), T0_S + 181 * DAY_S
    for number in range(12):
        memory = remember_carrying(memory, 40.0, WITH, later_s + number * 30, GAP_S, VALID_DAYS)
    assert memory.proof is not None
    assert memory.proof.watts == 40.0


def test_what_is_not_told_on_one_side_is_no_change() -> None:
    assert changed_conditions({"firmware": ""}, {"firmware": "1.2"}) == ""
    assert changed_conditions({"firmware": "1.2"}, {"firmware": ""}) == ""


def test_a_leg_proves_nothing_while_another_has_a_part_in_it() -> None:
    carries = replace(FEED, carrying=Carrying.ALL)
    ac = Leg("local AC", "pier-7", Availability.LOST, Carrying.NONE)
    assert carries_alone(carries, (ac,))
    assert not carries_alone(carries, (replace(ac, carrying=Carrying.PART),))
    assert not carries_alone(replace(carries, availability=Availability.UNKNOWN), (ac,))


def test_a_proof_that_lasts_is_no_news_each_minute() -> None:
    seen: list[Proof | None] = []
    memory = ProofMemory()
    for number in range(400):
        memory = remember_carrying(memory, 61.0, WITH, T0_S + number * 30, GAP_S, VALID_DAYS)
        if memory.proof not in seen:
            seen.append(memory.proof)
    assert len(seen) < 20
