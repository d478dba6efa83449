"""Whether a unit is heard: silence, garbage and refusal one after the other, and what alarms come of it."""

from __future__ import annotations

import random

import pytest
from tests.judgement.scene import EVERY_S, NIGHT_S, answers, ferry_terminal, silence

from portdraw.judgement.alarm import AlarmKind
from portdraw.judgement.alarm_book import AlarmBook
from portdraw.judgement.assessment import SiteAssessment
from portdraw.judgement.compare import assess
from portdraw.judgement.condition import Condition, Presence
from portdraw.judgement.memory import Memory
from portdraw.judgement.plan_sheet import plan_sheet
from portdraw.judgement.rules import site_conditions
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.tree import Tree

SITE = ferry_terminal()
TREE = Tree(SITE)
SHEET = plan_sheet(SITE, TREE)  # worked out once for all tests


def judge(
    found: dict[str, UnitObservation], time_s: float, memory: Memory
) -> tuple[list[Condition], SiteAssessment, Memory]:
    seen, memory = assess(SITE, TREE, found, time_s, EVERY_S, False, memory)
    return site_conditions(SITE, TREE, seen, memory, EVERY_S), seen, memory


def text(condition: Condition) -> str:
    began_s = NIGHT_S if condition.since_s is None else condition.since_s
    return condition.sentence(began_s, NIGHT_S, SITE.site.timezone)


def berth_conditions(outcomes: list[Outcome], reason: str = "") -> list[dict[str, Condition]]:
    """Return the conditions of berth-1 by kind after each of its polls, the last at NIGHT_S."""
    memory, said = Memory(sheet=SHEET), []
    for number, outcome in enumerate(outcomes, 1 - len(outcomes)):
        time_s = NIGHT_S + number * EVERY_S
        found = answers(SITE, time_s)
        if outcome is not Outcome.ANSWERED:
            found["berth-1"] = silence("berth-1", time_s, outcome, reason)
        conditions, _, memory = judge(found, time_s, memory)
        said.append({one.kind.value: one for one in conditions if one.unit == "berth-1" and one.port is None})
    return said


def test_credentials_refused_is_not_silence() -> None:
    said = berth_conditions([Outcome.ANSWERED, Outcome.REFUSED, Outcome.REFUSED], "unknown user")[-1]
    assert text(said["credentials-refused"]) == (
        "berth-1 (gantry, berth 1) has refused our credentials since 22:05. Unknown user."
    )
    assert said["reading-stale"].presence is Presence.DEAD_BAND  # it begins no second alarm


def test_one_refusal_is_no_condition_and_silence_neither_begins_nor_ends_it() -> None:
    a, r, s = Outcome.ANSWERED, Outcome.REFUSED, Outcome.SILENT
    said = berth_conditions([a, r, s, r, r, s, r, a, a, a])
    refused = [one["credentials-refused"].presence.name if "credentials-refused" in one else "" for one in said]
    stale = [one["reading-stale"].presence.name if "reading-stale" in one else "" for one in said]
    unknown, present, band = "UNKNOWN", "PRESENT", "DEAD_BAND"
    assert refused == ["", unknown, unknown, unknown, present, unknown, present, band, "", ""]
    # not heard, until it is known to refuse; then its alarm, where it is up, stays until it is read twice in a row
    assert stale == ["", present, present, present, band, band, band, band, "", ""]


def test_a_unit_that_refuses_and_then_says_nothing_for_long_is_not_heard() -> None:
    r, s = Outcome.REFUSED, Outcome.SILENT
    said = berth_conditions([Outcome.ANSWERED, r, r, s, s, s])
    assert [one["reading-stale"].presence.name for one in said[3:]] == ["DEAD_BAND", "DEAD_BAND", "PRESENT"]


def test_a_refusal_that_may_be_a_busy_unit_is_hedged_also_when_it_is_over() -> None:
    why = "the privacy secret or its algorithm is wrong, or the agent is too busy"
    said = berth_conditions([Outcome.ANSWERED, Outcome.REFUSED, Outcome.REFUSED, Outcome.ANSWERED], why)
    for one in said[-2:]:
        summary = one["credentials-refused"].summary(NIGHT_S, NIGHT_S, SITE.site.timezone)
        assert summary == "berth-1 (gantry, berth 1) has refused us, or is too busy to answer, since 22:06."


@pytest.mark.parametrize("seed", range(3))
def test_a_unit_that_is_silent_garbled_and_refusing_by_turns_has_no_flapping_alarms(seed: int) -> None:
    """An hour of polls of which two in five bring watts: few alarms, one after the other, and no ping-pong."""
    chance = random.Random(seed)
    outcomes = [Outcome.SILENT, Outcome.GARBLED, Outcome.REFUSED, Outcome.ANSWERED, Outcome.ANSWERED]
    book, memory, came_up, since = AlarmBook(), Memory(sheet=SHEET), [], []
    for number in range(120):
        time_s = NIGHT_S + number * EVERY_S
        found = answers(SITE, time_s)
        outcome = chance.choice(outcomes)
        if outcome is not Outcome.ANSWERED:
            found["berth-1"] = silence("berth-1", time_s, outcome, "x")
        conditions, _, memory = judge(found, time_s, memory)
        kinds = (AlarmKind.READING_STALE, AlarmKind.CREDENTIALS_REFUSED, AlarmKind.WATTS_UNTOLD)
        for change in book.update([one for one in conditions if one.kind in kinds], time_s):
            if change.came_up:
                came_up.append(change.alarm.kind)
                since.append((change.alarm.key, change.alarm.began_s))
    assert len(came_up) <= 6, came_up
    assert len(set(since)) == len(since)  # no two occurrences of one alarm began at the same time
