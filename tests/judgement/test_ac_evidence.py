"""Signs of local AC over time: what is outdated, what is not believed alone, and what neighbours add."""

from __future__ import annotations

from dataclasses import replace

import pytest

from portdraw.judgement.ac_evidence import Neighbours, Says, SignMemory, Witness
from portdraw.judgement.assessment import Leg
from portdraw.judgement.leg_facts import FeedFacts, LegSigns
from portdraw.judgement.legs import CONTRADICTION, judge_legs
from portdraw.observation.record import PortState, PowerSource

PSE, BOTH = PowerSource.PSE, PowerSource.BOTH
STANDBY_W, FULL_W = 1.3, 45.0
NOBODY = Neighbours()
TWO_LOST = Neighbours(2, "berth-2 and berth-3 on the same circuit lost it too")
ONE_LOST = Neighbours(1, "berth-2 on the same circuit lost it too")
BASE = LegSigns(
    ac_source="quay-3",
    feed_source="core port 2",
    heard=True,
    feeder_heard=True,
    prefers="ac",
    spare_feed="held",
    port_state=PortState.DELIVERING,
    standby_w=1.3,
    idle_w=6.6,
    full_w=46.2,
)


def at(time_s: float, word: PowerSource | None, port_w: float | None, own_s: float, port_s: float) -> LegSigns:
    """Signs at a time, with the times at which the unit and its feeder's port were read."""
    return replace(
        BASE, own_word=word, port_w=port_w, time_s=time_s, own_read_s=own_s, port_read_s=port_s, alive_s=own_s
    )


def told(signs: list[LegSigns], neighbours: Neighbours = NOBODY) -> list[str]:
    """Availability of local AC after each of several cycles, the last one with neighbours."""
    memory, found = SignMemory(), []
    for number, one in enumerate(signs, start=1):
        judged = judge_legs(one, memory, neighbours if number == len(signs) else NOBODY)
        memory = judged.memory
        found.append(judged.legs[0].availability.value)
    return found


def test_a_word_from_before_the_port_changed_is_outdated() -> None:
    well, gone = at(100, BOTH, STANDBY_W, 75, 80), at(130, BOTH, FULL_W, 75, 110)
    assert told([well, gone]) == ["believed", "lost"]
    assert told([well, replace(gone, own_read_s=112)]) == ["believed", "unknown"]  # said after that: a contradiction


def test_a_port_that_is_about_to_be_read_again_is_waited_for_an_overdue_one_is_not() -> None:
    well, gone = at(100, BOTH, STANDBY_W, 95, 80), at(130, PSE, STANDBY_W, 125, 110)
    assert told([well, gone]) == ["believed", "unknown"]
    assert told([well, gone, at(160, PSE, STANDBY_W, 155, 110)]) == ["believed", "unknown", "lost"]


def test_what_was_contradicted_is_not_believed_alone_until_it_moved_with_the_other() -> None:
    """A unit that always says both: once its port has shown otherwise, its word alone is nothing."""
    lies = [at(t, BOTH, FULL_W, t - 5, t - 10) for t in (100, 130, 160, 190)]
    silent_feeder = replace(at(220, BOTH, None, 215, 0), feeder_heard=False, port_state=None, port_read_s=None)
    assert told([*lies, silent_feeder])[-1] == "unknown"
    back = at(210, BOTH, STANDBY_W, 205, 200)
    assert told([*lies, back, silent_feeder])[-2:] == ["believed", "unknown"]
    learned = [at(240, PSE, FULL_W, 235, 230), at(270, BOTH, STANDBY_W, 265, 260)]
    last = replace(silent_feeder, time_s=300, own_read_s=295)
    assert told([*lies, back, *learned, last])[-1] == "believed"
    assert told([silent_feeder]) == ["believed"]  # nothing was ever said against it


def test_two_neighbours_decide_for_the_port_and_never_for_a_word() -> None:
    lie = at(100, BOTH, FULL_W, 95, 90)
    assert told([lie]) == ["unknown"]
    assert told([lie], ONE_LOST) == ["unknown"]
    assert told([lie], TWO_LOST) == ["lost"]
    assert told([at(100, PSE, STANDBY_W, 95, 90)], TWO_LOST) == ["unknown"]


def test_a_neighbour_is_the_second_sign() -> None:
    def sure(leg: Leg) -> bool:
        return leg.sure

    alone = at(100, None, FULL_W, 95, 90)
    assert not sure(judge_legs(alone, SignMemory()).legs[0])
    assert sure(judge_legs(alone, SignMemory(), ONE_LOST).legs[0])


@pytest.mark.parametrize(
    ("signs", "ac"),
    [
        (replace(BASE, ac_supply=False, port_w=FULL_W), "lost"),
        (replace(BASE, ac_supply=True, port_w=STANDBY_W), "believed"),
        (replace(BASE, ac_supply=True, port_w=FULL_W), "unknown"),
        (replace(BASE, ac_supply=False, own_word=BOTH), "unknown"),
        (replace(BASE, own_word=BOTH, budget_fell=59.6, port_w=FULL_W), "lost"),  # its budget gives the lie away
        (replace(BASE, own_word=BOTH, budget_fell=59.6), "unknown"),
        # a unit that prefers its feed says that it runs on it: that is no loss
        (replace(BASE, prefers="feed", own_word=PSE, port_w=FULL_W), "unknown"),
    ],
)
def test_supply_object_and_budget(signs: LegSigns, ac: str) -> None:
    leg = judge_legs(signs, SignMemory()).legs[0]
    assert leg.availability.value == ac


def test_a_contradiction_is_named_as_the_reason() -> None:
    leg = judge_legs(at(100, BOTH, FULL_W, 95, 90), SignMemory()).legs[0]
    assert CONTRADICTION in leg.evidence_against


def test_what_answered_before_its_port_went_off_may_be_dark() -> None:
    off = replace(at(100, None, None, 80, 90), port_state=PortState.SEARCHING)
    memory = judge_legs(at(70, None, STANDBY_W, 60, 65), SignMemory()).memory
    dark = judge_legs(off, memory)
    assert dark.legs[0].availability.value == "unknown"
    lives = judge_legs(replace(off, time_s=130, alive_s=110, own_read_s=110, port_read_s=120), dark.memory)
    assert lives.legs[0].availability.value == "believed"


def test_a_word_that_the_feeder_keeps_of_a_dark_unit_counts_for_nothing() -> None:
    off = replace(at(100, None, None, 80, 90), port_state=PortState.SEARCHING, heard=False, alive_s=None)
    for word in (PSE, BOTH):
        leg = judge_legs(replace(off, feeder_word=word, heard_word_read_s=90), SignMemory()).legs[0]
        assert leg.availability.value == "unknown"


def test_a_spare_feed_that_was_seen_on_standby_is_held_whatever_the_file_leaves_out() -> None:
    undeclared = replace(BASE, spare_feed="unknown", own_word=BOTH)
    off = replace(undeclared, port_state=PortState.SEARCHING)
    assert judge_legs(off, SignMemory()).legs[1].availability.value == "unknown"
    memory = judge_legs(replace(undeclared, port_w=STANDBY_W), SignMemory()).memory
    assert judge_legs(off, memory).legs[1].availability.value == "lost"


def test_a_feeder_that_refuses_a_hidden_spare_is_no_spare() -> None:
    off = replace(BASE, spare_feed="hidden", own_word=BOTH, port_state=PortState.SEARCHING, time_s=1000.0)
    refused = FeedFacts("core port 2", heard=True, state=PortState.SEARCHING, refused_s=900.0)
    feed = judge_legs(replace(off, feeds=(refused,)), SignMemory()).legs[1]
    assert (feed.availability.value, feed.evidence_for[-1]) == ("lost", "core port 2 has refused it power")
    long_ago = replace(refused, refused_s=100.0)
    assert judge_legs(replace(off, feeds=(long_ago,)), SignMemory()).legs[1].availability.value == "unknown"


def test_a_clock_that_was_set_back_makes_no_sign_younger_than_now() -> None:
    memory = judge_legs(at(90_000, PSE, FULL_W, 89_990, 89_995), SignMemory()).memory
    memory = judge_legs(at(100, BOTH, STANDBY_W, 90, 95), memory).memory
    assert all(said.since_s is not None and said.since_s <= 100 for said in memory.said.values())
    assert memory.said[Witness.PORT].says is Says.THERE


def feed(name: str, port: str, watts: float, state: PortState = PortState.DELIVERING) -> FeedFacts:
    return FeedFacts(f"core port {port}", name, True, state, watts, 1.3, 6.6, 46.2)


# of two feeds: the one that delivers most is "PoE feed", the other is named by its input
@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        (feed("in-1", "1", 1.3), feed("in-2", "2", 1.3), ["believed/all", "believed/none", "believed/none"]),
        (feed("in-1", "1", 45.0), feed("in-2", "2", 1.3), ["lost/none", "believed/all", "believed/none"]),
        (
            feed("in-1", "1", 1.3),
            feed("in-2", "2", 0.0, PortState.SEARCHING),
            ["believed/all", "believed/none", "lost/none"],
        ),
        (feed("in-1", "1", 23.0), feed("in-2", "2", 22.5), ["lost/none", "believed/all", "believed/part"]),
    ],
)
def test_each_of_two_feeds_is_a_leg_of_its_own(first: FeedFacts, second: FeedFacts, expected: list[str]) -> None:
    delivering = [one for one in (first, second) if one.state is PortState.DELIVERING]
    whole_w = sum(one.watts or 0.0 for one in delivering)
    signs = replace(
        BASE, feed_source=first.source, feeds=(first, second), port_w=whole_w, standby_w=1.3 * len(delivering)
    )
    legs = judge_legs(signs, SignMemory()).legs
    assert [leg.name for leg in legs] == ["local AC", "PoE feed", "PoE feed in-2"]
    assert [f"{leg.availability.value}/{leg.carrying.value}" for leg in legs] == expected
