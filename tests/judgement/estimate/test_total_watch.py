"""What the watch of a total finds: only steps of one port, between totals that stand still."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from portdraw.judgement.estimate.port_prior import planned_prior
from portdraw.judgement.estimate.total_watch import Finding, Level, OddStep, Sample, Step, TotalWatch, watch

PRIORS = [planned_prior(10.0, 12.0, 30.0, startup_w=15.0, startup_s=60.0)] * 3
ON = (True, True, True)
Poll = tuple[tuple[bool | None, ...], float]


def findings(
    polls: Sequence[Poll | None], turning: Sequence[int] = (), every_s: float = 30.0, grain_w: float = 1.0
) -> list[Finding]:
    """All that is found in polls 30 s apart; None is a lost poll, `turning` are those near dusk."""
    watched, found = TotalWatch(), []
    for number, poll in enumerate(polls):
        if poll is not None:
            sample = Sample(1000.0 + number * every_s, poll[1], poll[0], False, number in turning, every_s=every_s)
            watched, one = watch(watched, sample, PRIORS, grain_w)
            found += [] if one is None else [one]
    return found


def steps(found: list[Finding]) -> list[tuple[int, float]]:
    """Port and watts of the steps."""
    return [(one.port, one.watts) for one in found if isinstance(one, Step)]


def off(*ports: int) -> tuple[bool, ...]:
    """The states with some ports off."""
    return tuple(port not in ports for port in range(3))


BEFORE: list[Poll | None] = [(ON, 31.0)] * 20


def test_a_port_that_goes_off_is_a_step_of_its_watts() -> None:
    assert steps(findings([*BEFORE, *[(off(1), 21.0)] * 20])) == [(1, 10.0)]


def test_start_up_is_left_out_when_a_port_comes_on() -> None:
    # 60 s planned, one and a half times that and a poll's delay: 125 s, five polls at 36 W are not looked at
    starting: list[Poll | None] = [(ON, 36.0)] * 5
    polls: list[Poll | None] = [*[(off(1), 21.0)] * 20, *starting, *[(ON, 31.0)] * 20]
    assert steps(findings(polls)) == [(1, 10.0)]


def test_two_ports_at_once_teach_nothing() -> None:
    assert steps(findings([*BEFORE, *[(off(0, 1), 11.0)] * 20])) == []


def test_states_that_are_read_before_the_total_spoil_nothing() -> None:
    # the port's state still says on while the total has fallen already
    assert steps(findings([*BEFORE, (ON, 21.0), *[(off(1), 21.0)] * 20])) == [(1, 10.0)]


@pytest.mark.parametrize("lost", [4, 40])
def test_nothing_is_learned_across_a_silence(lost: int) -> None:
    assert steps(findings([*BEFORE, *[None] * lost, *[(off(1), 21.0)] * 20])) == []


def test_a_lost_poll_or_two_do_not_matter() -> None:
    assert steps(findings([*BEFORE, None, None, *[(off(1), 21.0)] * 20])) == [(1, 10.0)]


def test_nothing_is_learned_round_dusk() -> None:
    assert steps(findings([*BEFORE, *[(off(1), 21.0)] * 20], turning=range(15, 40))) == []


def test_a_state_that_gets_unknown_is_no_switching() -> None:
    assert steps(findings([*BEFORE, *[((True, None, True), 21.0)] * 20])) == []


def test_a_step_too_soon_after_another_is_not_learned() -> None:
    polls: list[Poll | None] = [*BEFORE, *[(off(1), 21.0)] * 3, *[(off(0, 1), 11.0)] * 20]
    assert steps(findings(polls)) == []


def test_a_step_that_no_state_explains_is_odd() -> None:
    found = findings([*BEFORE, *[(ON, 43.0)] * 20])
    assert [one.watts for one in found if isinstance(one, OddStep)] == [12.0]


def test_a_total_that_wavers_by_one_grain_is_not_odd() -> None:
    polls: list[Poll | None] = [(ON, 31.0 + number % 2) for number in range(60)]
    assert not [one for one in findings(polls) if isinstance(one, OddStep)]


def test_levels_come_now_and_then() -> None:
    found = findings([(ON, 31.0)] * 800)  # 6 h 40 min
    assert [(one.on, one.mean.watts) for one in found if isinstance(one, Level)] == [((0, 1, 2), 31.0)] * 3
