"""What is known of legs outlives a restart, and a damaged store is refused with one sentence."""

from __future__ import annotations

import json

import pytest
from tests.judgement.scene import EVERY_S, NIGHT_S, answers, ferry_terminal

from portdraw.judgement.assessment import Availability
from portdraw.judgement.compare import assess
from portdraw.judgement.leg_store import dump_legs, is_news, restore_legs
from portdraw.judgement.memory import Memory
from portdraw.judgement.plan_sheet import plan_sheet
from portdraw.plan.tree import Tree

SITE = ferry_terminal()
TREE = Tree(SITE)
SHEET = plan_sheet(SITE, TREE)
OUT = frozenset({"pier-7"})


def after_an_outage() -> tuple[Memory, float]:
    """The memory after a good cycle and 6 minutes without pier-7, and its time."""
    memory, time_s = Memory(sheet=SHEET), NIGHT_S
    for cycle in range(14):
        time_s = NIGHT_S + cycle * EVERY_S
        found = answers(SITE, time_s, OUT if cycle else frozenset())
        _, memory = assess(SITE, TREE, found, time_s, EVERY_S, False, memory)
    return memory, time_s


def test_a_restart_keeps_since_when_ac_is_lost_and_what_was_proven() -> None:
    memory, time_s = after_an_outage()
    dumped = json.loads(json.dumps(dump_legs(memory)))
    restored = restore_legs(Memory(sheet=SHEET), dumped)
    assert restored.legs == memory.legs
    assert restored.signs == memory.signs
    _, blind = assess(SITE, TREE, {}, time_s + 60, EVERY_S, False, restored)
    seen, _ = assess(SITE, TREE, answers(SITE, time_s + 90, OUT), time_s + 90, EVERY_S, False, blind)
    pier = seen.unit("north-pier")
    assert pier is not None
    ac, feed = pier.legs
    assert (ac.availability, ac.since_s) == (Availability.LOST, NIGHT_S + EVERY_S)
    # 63.6 W at the feeder: the night's load by the power flow (tests/judgement/test_rules.py)
    assert feed.availability is Availability.PROVEN
    assert feed.proof_w == pytest.approx(63.6, abs=0.1)
    assert feed.evidence_for[-1] == "proven to 63.6 W for 5 min on 2026-03-02"


def test_nothing_is_stored_while_nothing_changes() -> None:
    memory, time_s = after_an_outage()
    found = answers(SITE, time_s + 30, OUT)
    _, later = assess(SITE, TREE, found, time_s + 30, EVERY_S, False, memory)
    _, last = assess(SITE, TREE, answers(SITE, time_s + 40, OUT), time_s + 40, EVERY_S, False, later)
    assert not is_news(later, last)
    _, back = assess(SITE, TREE, answers(SITE, time_s + 70), time_s + 70, EVERY_S, False, last)
    assert is_news(last, back)


@pytest.mark.parametrize(
    "dumped",
    [
        None,
        [],
        {"format": 2},
        {"format": 1},
        {"format": 1, "legs": [{}], "signs": [], "proofs": []},
        {"format": 1, "legs": [], "signs": [{"unit": "a"}], "proofs": []},
        {"format": 1, "legs": [], "signs": [], "proofs": [{"unit": "a", "leg": "local AC", "watts": "61"}]},
        {"format": 1, "legs": 3, "signs": [], "proofs": []},
    ],
)
def test_what_is_no_dump_is_refused_with_one_sentence(dumped: object) -> None:
    with pytest.raises(ValueError, match=r"^the stored legs can't be used: [^.\n]+$"):
        restore_legs(Memory(), dumped)
