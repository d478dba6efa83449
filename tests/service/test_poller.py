"""The poller, in virtual time: when units are read, and what a bad one costs the others."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Awaitable, Callable, Sequence
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.service.virtual_time import VirtualClock, run_virtual

from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.service.poller import (
    GRACE_WALL_S,
    HINT_AGAIN_WALL_S,
    HINT_SETTLES_WALL_S,
    Pollable,
    Poller,
    next_due_s,
    phase_s,
)

EVERY_S = 30.0
DEADLINE_S = 8.0
Behave = Callable[[int], Awaitable[None]]


class FakeUnit:
    """A unit that notes when it is read; `behave` gets the number of the read, from 0."""

    def __init__(self, name: str, clock: VirtualClock, takes_s: float = 0.5, behave: Behave | None = None) -> None:
        self.name = name
        self.outcome = Outcome.ANSWERED
        self.read_at_s: list[float] = []
        self.slow: list[bool] = []
        self.now_reading = 0
        self._clock, self._takes_s, self._behave = clock, takes_s, behave

    async def poll(self, deadline_s: float, slow: bool) -> UnitObservation:
        """Take some time, then answer."""
        assert deadline_s == DEADLINE_S
        began_s = self._clock.now_s()
        self.read_at_s.append(began_s)
        self.slow.append(slow)
        self.now_reading += 1
        assert self.now_reading == 1, "read twice at a time"
        try:
            if self._behave is not None:
                await self._behave(len(self.read_at_s) - 1)
            await asyncio.sleep(self._takes_s)
        finally:
            self.now_reading -= 1
        return UnitObservation(self.name, began_s, self._clock.now_s(), self.outcome, "", ())


def poller(
    units: Sequence[Pollable],
    clock: VirtualClock,
    seen: list[UnitObservation] | None = None,
    in_flight: int = 16,
    slow_every_s: float = 300.0,
) -> Poller:
    taken = [] if seen is None else seen
    return Poller(
        list(units),
        clock,  # type: ignore[arg-type]
        EVERY_S,
        slow_every_s,
        DEADLINE_S,
        in_flight,
        taken.append,
    )


def watch(
    units: Callable[[VirtualClock], Sequence[FakeUnit]], for_s: float, in_flight: int = 16, scale: float = 1.0
) -> tuple[Sequence[FakeUnit], list[UnitObservation], list[str]]:
    """Run a poller for some virtual seconds; return the units, what they brought, and what was cut off."""

    async def work() -> tuple[Sequence[FakeUnit], list[UnitObservation], list[str]]:
        clock = VirtualClock(1_000_000.0, scale)
        made = units(clock)
        seen: list[UnitObservation] = []
        one = poller(made, clock, seen, in_flight)
        one.start()
        await asyncio.sleep(for_s)
        return made, seen, await one.stop(1.0)

    return run_virtual(work)


async def hang(_: int) -> None:
    await asyncio.sleep(1e6)


def test_phases_are_spread_and_the_same_after_every_restart() -> None:
    phases = [phase_s(f"unit-{number}", EVERY_S) for number in range(1000)]
    assert all(0 <= phase < EVERY_S for phase in phases)
    assert phases == [phase_s(f"unit-{number}", EVERY_S) for number in range(1000)]
    tenths = [sum(1 for phase in phases if int(phase / 3) == part) for part in range(10)]
    assert min(tenths) > 50  # 100 each were even
    # the CRC-32 of "core" stands in the last eight octets of what gzip makes of it (RFC 1952, section 2.3.1)
    assert phase_s("core", 30.0) == pytest.approx(0x6B8D854F / 2**32 * 30)


@given(
    now_s=st.floats(0, 4e9),
    name=st.text(max_size=20),
    every_s=st.floats(1, 3600),
)
def test_the_next_turn_is_the_first_on_the_unit_s_own_grid(now_s: float, name: str, every_s: float) -> None:
    phase = phase_s(name, every_s)
    due_s = next_due_s(now_s, phase, every_s)
    slack_s = 1e-6 + 1e-15 * now_s * every_s
    assert now_s - slack_s <= due_s <= now_s + every_s + slack_s
    turns = (due_s - phase) / every_s
    assert abs(turns - round(turns)) * every_s <= slack_s * 10


def test_turns_come_at_absolute_times_however_long_a_read_takes() -> None:
    (unit,), seen, _ = watch(lambda clock: [FakeUnit("core", clock, takes_s=3.3)], 305)
    phase = phase_s("core", EVERY_S)
    for at_s in unit.read_at_s[1:]:
        turns = (at_s - phase) / EVERY_S
        assert abs(turns - round(turns)) < 1e-6
    gaps = {round(b - a, 6) for a, b in pairwise(unit.read_at_s[1:])}
    assert gaps == {EVERY_S}
    assert 10 <= len(seen) <= 12


def test_the_first_round_comes_at_once() -> None:
    units, _, _ = watch(lambda clock: [FakeUnit(f"unit-{n}", clock) for n in range(100)], 10)
    firsts = [unit.read_at_s[0] - 1_000_000 for unit in units]
    assert max(firsts) <= 2 + 100 / 16 * 0.5
    assert len({round(first, 3) for first in firsts}) > 50


def test_a_faster_clock_means_faster_turns() -> None:
    (unit,), _, _ = watch(lambda clock: [FakeUnit("core", clock, takes_s=0.1)], 20, scale=15)
    gaps = {round(b - a, 4) for a, b in pairwise(unit.read_at_s[1:])}
    assert gaps == {EVERY_S}
    assert 10 <= len(unit.read_at_s) <= 12


def test_turns_that_were_missed_are_skipped_never_stacked() -> None:
    async def work() -> None:
        clock = VirtualClock(1_000_000.0)

        async def long_once(number: int) -> None:
            await asyncio.sleep(9.0 if number == 1 else 0)

        unit = FakeUnit("core", clock, 0.1, long_once)
        slow = Poller([unit], clock, 2.0, 300.0, DEADLINE_S, 4, lambda _: None)  # type: ignore[arg-type]
        slow.start()
        await asyncio.sleep(30)
        await slow.stop(1)
        gaps = [round(b - a, 3) for a, b in pairwise(unit.read_at_s[1:])]
        assert gaps[0] == 12  # the read took 9.1 s: the four turns within it are gone, and one more as it was slow
        assert set(gaps[1:]) == {2}

    run_virtual(work)


def test_no_more_are_read_at_a_time_than_allowed() -> None:
    most = 0
    now = 0

    async def count(_: int) -> None:
        nonlocal most, now
        now += 1
        most = max(most, now)
        await asyncio.sleep(1)
        now -= 1

    units, seen, _ = watch(
        lambda clock: [FakeUnit(f"unit-{n}", clock, 0.1, count) for n in range(20)], 29, in_flight=3
    )
    assert most == 3
    assert {one.unit for one in seen} == {unit.name for unit in units}


def test_one_hung_unit_costs_nobody_else_anything() -> None:
    def with_or_without(hung: bool) -> dict[str, list[float]]:
        def make(clock: VirtualClock) -> list[FakeUnit]:
            good = [FakeUnit(f"unit-{n}", clock) for n in range(8)]
            return [*good, FakeUnit("hung", clock, 0.0, hang if hung else None)]

        units, _, _ = watch(make, 300)
        return {unit.name: unit.read_at_s for unit in units if unit.name != "hung"}

    assert with_or_without(hung=True) == with_or_without(hung=False)


def test_a_reader_that_does_not_keep_its_deadline_is_cut_off_and_said_to_be() -> None:
    (unit,), seen, _ = watch(lambda clock: [FakeUnit("hung", clock, 0.0, hang)], 100)
    assert len(unit.read_at_s) == 4
    assert {one.outcome for one in seen} == {Outcome.SILENT}
    assert all(one.ended_s - one.began_s == pytest.approx(DEADLINE_S + GRACE_WALL_S) for one in seen)
    assert "the read was cut off" in seen[0].reason


def test_a_reader_that_raises_ends_nothing(caplog: pytest.LogCaptureFixture) -> None:
    async def fail(number: int) -> None:
        if number != 1:
            raise ZeroDivisionError("a fault of ours")

    units, seen, _ = watch(lambda clock: [FakeUnit("bad", clock, 0.1, fail), FakeUnit("good", clock, 0.1)], 100)
    bad = [one for one in seen if one.unit == "bad"]
    assert [one.outcome for one in bad[:4]] == [Outcome.GARBLED, Outcome.ANSWERED, Outcome.GARBLED, Outcome.GARBLED]
    assert bad[0].reason == "reading failed inside the agent (ZeroDivisionError); the log says where"
    assert "a fault of ours" in caplog.text
    assert len(units[1].read_at_s) >= 4


def test_slow_columns_are_asked_at_their_own_pace_and_again_where_that_brought_nothing() -> None:
    def make(clock: VirtualClock) -> list[FakeUnit]:
        silent = FakeUnit("silent", clock, 0.1)
        silent.outcome = Outcome.SILENT
        return [FakeUnit("core", clock, 0.1), silent]

    (core, silent), _, _ = watch(make, 640)
    slow_at_s = [at_s for at_s, slow in zip(core.read_at_s, core.slow, strict=True) if slow]
    assert len(slow_at_s) in (3, 4)
    first, *later = (b - a for a, b in pairwise(slow_at_s))
    assert first < 300 + EVERY_S + 1
    assert all(300 <= gap < 300 + EVERY_S + 1 for gap in later)
    assert all(silent.slow)


def test_slow_columns_of_many_units_are_spread_over_their_interval() -> None:
    units, _, _ = watch(lambda clock: [FakeUnit(f"unit-{number}", clock, 0.1) for number in range(60)], 940)
    turns = [0] * 10
    for unit in units:
        for at_s, slow in zip(unit.read_at_s, unit.slow, strict=True):
            since_start_s = at_s - unit.read_at_s[0]
            if slow and EVERY_S < since_start_s < 300 + EVERY_S:
                turns[int((since_start_s - EVERY_S) // 30)] += 1
    # 60 units in 10 turns: 6 each on average; all in one turn was what made every tenth interval heavy
    assert max(turns) <= 18
    assert sum(turns) >= 50


def test_a_clock_that_is_set_does_not_stop_the_turns() -> None:
    async def work() -> None:
        clock = VirtualClock(1_000_000.0)
        unit = FakeUnit("core", clock, 0.1)
        one = poller([unit], clock)
        one.start()
        for shift_s in (0.0, -86_400.0, 86_400.0 * 400, 0.0):
            clock.shift_s = shift_s
            before = len(unit.read_at_s)
            await asyncio.sleep(95)
            assert len(unit.read_at_s) - before >= 3
        await one.stop(1)

    run_virtual(work)


def test_overdue_units_are_named_those_that_never_were_read_too() -> None:
    async def work() -> None:
        clock = VirtualClock(1_000_000.0)
        one = poller([FakeUnit("a", clock, 0.0, hang), FakeUnit("b", clock)], clock, in_flight=1)
        one.start()
        assert set(one.due_s) == {"a", "b"}  # before anything runs: other threads ask at any time
        assert one.overdue(clock.now_s()) == ()
        assert one.overdue(clock.now_s() + EVERY_S + 1) == ("a", "b")
        await one.stop(1)

    run_virtual(work)


def test_stopping_names_what_was_cut_off() -> None:
    _, seen, cut_off = watch(
        lambda clock: [FakeUnit("slip", clock, 0.0, hang), FakeUnit("berth", clock, 0.0, hang), FakeUnit("a", clock)],
        5,
    )
    assert cut_off == ["berth", "slip"]
    assert [one.unit for one in seen] == ["a"]


def test_stopping_does_not_wait_for_what_will_not_end() -> None:
    """In wall time: a reader that swallows its cancellation must not hold up the end."""

    async def work() -> float:
        clock = VirtualClock()
        free = asyncio.Event()

        async def stubborn(_: int) -> None:
            while not free.is_set():
                with contextlib.suppress(asyncio.CancelledError):
                    await free.wait()

        one = poller([FakeUnit("stubborn", clock, 0.0, stubborn)], clock)
        one.start()
        await asyncio.sleep(2.1)
        began = time.monotonic()
        assert await one.stop(0.2) == ["stubborn"]
        took_s = time.monotonic() - began
        free.set()
        await asyncio.sleep(0.05)
        return took_s

    assert asyncio.run(work()) < 5  # generous: 0.2 s were asked for


def test_reading_once_reads_every_unit_once() -> None:
    async def work() -> None:
        clock = VirtualClock()
        units = [FakeUnit(f"unit-{n}", clock) for n in range(40)]
        seen: list[UnitObservation] = []
        await poller(units, clock, seen, in_flight=4).poll_all_once()
        assert sorted(one.unit for one in seen) == sorted(unit.name for unit in units)
        assert all(unit.slow == [True] for unit in units)

    run_virtual(work)


# --- hints


def hinted(
    hints: Sequence[tuple[float, bool]], for_s: float, takes_s: float = 0.5
) -> tuple[FakeUnit, FakeUnit, list[float]]:
    """Hint at the first of two units at these times (slow or not); return both and when extra readings ended."""

    async def work() -> tuple[FakeUnit, FakeUnit, list[float]]:
        clock = VirtualClock()
        units = FakeUnit("pier", clock, takes_s), FakeUnit("quay", clock, takes_s)
        extra: list[float] = []
        one = Poller(
            list(units),
            clock,  # type: ignore[arg-type]
            600.0,
            6000.0,
            DEADLINE_S,
            16,
            lambda _: None,
            lambda observation: extra.append(observation.began_s),
        )
        one.start()
        for at_s, slow in hints:
            await asyncio.sleep(at_s - clock.now_s())
            one.hint("pier", slow)
        one.hint("no such unit")
        await asyncio.sleep(for_s - clock.now_s())
        await one.stop(1.0)
        return *units, extra

    return run_virtual(work)


def test_the_turns_of_these_units_stand_clear_of_what_follows() -> None:
    assert all(phase_s(name, 600.0) > 100 for name in ("pier", "quay"))


def test_a_hint_makes_its_unit_read_soon_and_nobody_else() -> None:
    pier, quay, extra = hinted([(10.0, False)], 60.0)
    assert pier.read_at_s[1:] == [pytest.approx(10.0 + HINT_SETTLES_WALL_S)]
    assert extra == pier.read_at_s[1:]
    assert pier.slow == [True, False]
    assert len(quay.read_at_s) == 1


def test_hints_that_follow_each_other_fold() -> None:
    pier, _, _ = hinted([(10.0 + n * 0.1, False) for n in range(100)], 40.0)
    extra = pier.read_at_s[1:]
    assert extra[0] == pytest.approx(10.0 + HINT_SETTLES_WALL_S)
    assert all(b - a >= HINT_AGAIN_WALL_S - 1e-6 for a, b in pairwise(extra))
    assert len(extra) <= 2 + 10.0 / HINT_AGAIN_WALL_S
    assert extra[-1] >= 19.9  # the last hint is not lost


def test_a_hint_during_a_reading_brings_another_one() -> None:
    pier, _, _ = hinted([(10.0, False), (11.0, False)], 60.0, takes_s=5.0)
    assert pier.read_at_s[1:] == [
        pytest.approx(10.0 + HINT_SETTLES_WALL_S),
        pytest.approx(15.0 + 2 * HINT_SETTLES_WALL_S),
    ]


def test_long_readings_on_hints_come_less_often_and_none_is_lost() -> None:
    """The first round is a long one; the hint for another waits its time, and rides with the next reading then."""
    pier, _, _ = hinted([(5.0, True), (30.0, False)], 60.0)
    assert pier.slow[1:] == [False, True]
    pier, _, _ = hinted([(20.0, True), (25.0, True), (50.0, False)], 90.0)
    assert pier.slow[1:] == [True, False, True]
