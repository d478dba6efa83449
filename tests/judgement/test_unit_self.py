"""Another box at the same address: noticed by its serial number or object id, over a restart of ours too."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.judgement.scene import EVERY_S, NIGHT_S, answer, answers, changed, ferry_terminal, record

from portdraw.judgement.alarm import AlarmKind
from portdraw.judgement.compare import assess
from portdraw.judgement.condition import Condition
from portdraw.judgement.leg_store import dump_legs, is_news, restore_legs
from portdraw.judgement.memory import Memory
from portdraw.judgement.rules import site_conditions
from portdraw.judgement.unit_self import SHOWN_FOR_S, UnitSelf, remember_self
from portdraw.observation.record import Quantity, Record
from portdraw.plan.tree import Tree

SITE = ferry_terminal()
TREE = Tree(SITE)


def known_after(*serials: str | None) -> UnitSelf | None:
    known: UnitSelf | None = None
    for at, serial in enumerate(serials):
        told = () if serial is None else (record(None, Quantity.UNIT_SERIAL, serial, NIGHT_S),)
        known = remember_self(known, answer("berth-1", NIGHT_S, *told), NIGHT_S + at)
    return known


@pytest.mark.parametrize(
    ("serials", "said"),
    [
        ((None,), None),
        (("A1",), ""),
        (("A1", "A1", None, "A1"), ""),
        (("A1", "B2"), "serial number A1 before, B2 now"),
        (("A1", None, "B2", None), "serial number A1 before, B2 now"),
        ((None, "A1"), ""),
        (("A1, C3", "A1"), ""),  # a stack that lost a member
        (("A1", "A1, C3"), ""),
        (("A1, C3", "A1, D4"), "serial number A1, C3 before, A1, D4 now"),
    ],
)
def test_what_makes_another_box(serials: tuple[str | None, ...], said: str | None) -> None:
    known = known_after(*serials)
    assert (None if known is None else known.said) == said


def cycle(memory: Memory, time_s: float, *more: Record) -> tuple[list[Condition], Memory]:
    polls = changed(answers(SITE, time_s), "berth-1", *more)
    seen, memory = assess(SITE, TREE, polls, time_s, EVERY_S, emulated=True, memory=memory)
    found = site_conditions(SITE, TREE, seen, memory, EVERY_S)
    return [one for one in found if one.kind is AlarmKind.UNIT_REPLACED], memory


def test_the_notice_comes_over_a_restart_and_goes_after_a_day() -> None:
    none, first = cycle(Memory(), NIGHT_S, record(None, Quantity.UNIT_SERIAL, "A1", NIGHT_S))
    assert none == []
    assert is_news(Memory(), first)
    restored = restore_legs(Memory(), dump_legs(first))
    assert restored.selves == first.selves
    later_s = NIGHT_S + 600
    (notice,), memory = cycle(restored, later_s, record(None, Quantity.UNIT_SERIAL, "B2", later_s))
    assert notice.sentence(later_s, later_s, SITE.site.timezone) == (
        "berth-1 (gantry, berth 1) has answered as another switch since 22:16: serial number A1 before, B2 now."
    )
    gone, _ = cycle(memory, later_s + SHOWN_FOR_S + 1)
    assert gone == []


def test_another_object_id_is_another_box_and_an_old_dump_is_read() -> None:
    _, first = cycle(Memory(), NIGHT_S, record(None, Quantity.SYSTEM_OBJECT_ID, "1.3.6.1.4.1.32473.1", NIGHT_S))
    later = record(None, Quantity.SYSTEM_OBJECT_ID, "1.3.6.1.4.1.32473.2", NIGHT_S + 30)
    assert len(cycle(first, NIGHT_S + 30, later)[0]) == 1
    dumped = dump_legs(first)
    del dumped["selves"]
    assert restore_legs(Memory(), dumped) == replace(restore_legs(Memory(), dump_legs(first)), selves={})
