"""Rates, patience and places: judged by the time given, no sleeping."""

from __future__ import annotations

import pytest

from portdraw.reporting.http.door import Door, Guest
from portdraw.reporting.http.patience import (
    ANSWER_S,
    BODY_S,
    HEAD_S,
    MOST_UNSENT_OCTETS,
    STALL_S,
    Moment,
    Phase,
    Progress,
    follow,
    overdue,
)
from portdraw.reporting.http.rate import MOST_CLIENTS, Bucket, RateLimit, client_key, is_loopback, take

LONG_S = 10 * ANSWER_S


@pytest.mark.parametrize(
    ("left", "after_s", "expected_left", "wait_s"),
    [
        (10.0, 0.0, 9.0, 0.0),
        (1.0, 0.0, 0.0, 0.0),
        (0.0, 0.0, 0.0, 0.5),
        (0.5, 0.0, 0.5, 0.25),
        (0.0, 0.5, 0.0, 0.0),
        (0.0, 100.0, 9.0, 0.0),  # never more than the burst
        (0.0, -100.0, 0.0, 0.5),  # a clock that goes back fills nothing
    ],
)
def test_a_bucket_of_ten_that_fills_by_two_a_second(
    left: float, after_s: float, expected_left: float, wait_s: float
) -> None:
    bucket, waits_s = take(Bucket(left, 1000.0), 1000.0 + after_s, per_s=2.0, burst=10.0)
    assert [bucket.left, waits_s] == pytest.approx([expected_left, wait_s])


def test_one_client_takes_nothing_from_another_and_memory_is_bounded() -> None:
    rate = RateLimit(per_s=1.0, burst=2.0)
    assert [rate.wait_s("a", 0.0) for _ in range(3)] == [0.0, 0.0, 1.0]
    assert rate.wait_s("b", 0.0) == 0.0
    assert rate.wait_s("a", 1.0) == 0.0
    for number in range(2 * MOST_CLIENTS):
        rate.wait_s(str(number), 2.0)
    assert len(rate._buckets) == MOST_CLIENTS


def test_what_counts_as_one_client() -> None:
    """RFC 4291, section 2.5.4: a /64 is one network; section 2.5.5.2: mapped addresses are IPv4 ones."""
    assert client_key("2001:db8::1") == client_key("2001:db8::ffff") != client_key("2001:db8:0:1::1")
    assert client_key("::ffff:192.0.2.1") == client_key("192.0.2.1") != client_key("192.0.2.2")
    assert client_key("fe80::1%eth0") == client_key("fe80::2")
    assert client_key("what") == "what"
    assert [is_loopback(a) for a in ("127.0.0.1", "127.9.9.9", "::1", "::ffff:127.0.0.1")] == [True] * 4
    assert [is_loopback(a) for a in ("10.0.0.1", "::", "", "localhost")] == [False] * 4


@pytest.mark.parametrize(
    ("phase", "longest_s"), [(Phase.WAITING, HEAD_S), (Phase.BODY, BODY_S), (Phase.ANSWERING, ANSWER_S)]
)
def test_a_phase_may_take_so_long_and_each_request_anew(phase: Phase, longest_s: float) -> None:
    begun = follow(None, Moment(phase, 1, 0), 0.0)
    still = follow(begun, Moment(phase, 1, 0), longest_s)
    assert overdue(still, longest_s) == ""
    assert overdue(still, longest_s + 1).startswith(f"{phase.value} for more than")
    assert overdue(follow(still, Moment(phase, 2, 0), longest_s + 1), longest_s + 1) == ""


def test_a_stream_may_last_but_not_be_left_untaken() -> None:
    progress = follow(None, Moment(Phase.STREAMING, 1, 0), 0.0)
    for second in range(0, int(LONG_S), 10):  # grows and shrinks: it is taken
        progress = follow(progress, Moment(Phase.STREAMING, 1, 500 + 10 * (second % 20)), float(second))
        assert overdue(progress, float(second)) == ""
    now_s = LONG_S
    for second in range(int(STALL_S) + 20):  # only ever grows
        now_s = LONG_S + second
        progress = follow(progress, Moment(Phase.STREAMING, 1, 1000 + second), now_s)
    assert overdue(progress, now_s) == f"nothing taken for more than {STALL_S:g} s"


class Visitor:
    """A guest that is at what it is told to be at."""

    def __init__(self, guest: Guest | None, phase: Phase = Phase.WAITING, unsent: int = 0) -> None:
        assert guest is not None
        self.was_cut = False
        guest.look = lambda: Moment(phase, 1, unsent)
        guest.cut = self._cut

    def _cut(self) -> None:
        self.was_cut = True


def test_the_oldest_that_has_asked_nothing_makes_room() -> None:
    door = Door(most=3, most_of_one=3)
    busy = Visitor(door.admit("192.0.2.1", 0.0), Phase.ANSWERING)
    old, newer = (Visitor(door.admit(f"192.0.2.{n}", float(n))) for n in (2, 3))
    assert door.admit("192.0.2.4", 4.0) is not None
    assert (busy.was_cut, old.was_cut, newer.was_cut) == (False, True, False)
    assert len(door) == 3


def test_who_is_answered_keeps_the_place() -> None:
    door = Door(most=2, most_of_one=2)
    visitors = [Visitor(door.admit(f"192.0.2.{n}", 0.0), Phase.ANSWERING) for n in (1, 2)]
    assert door.admit("192.0.2.3", 1.0) is None
    assert not any(visitor.was_cut for visitor in visitors)


def test_one_address_crowds_out_itself_alone() -> None:
    door = Door(most=10, most_of_one=2)
    honest = Visitor(door.admit("192.0.2.9", 0.0))
    crowd = [Visitor(door.admit("192.0.2.1", 1.0 + n)) for n in range(8)]
    assert not honest.was_cut
    assert [visitor.was_cut for visitor in crowd] == [True] * 6 + [False] * 2
    assert len(door) == 3


def test_clients_on_this_machine_share_the_whole_house() -> None:
    door = Door(most=10, most_of_one=2)
    crowd = [Visitor(door.admit("127.0.0.1", float(n))) for n in range(10)]
    assert not any(visitor.was_cut for visitor in crowd)


def test_what_waits_to_be_taken_is_bounded_over_all() -> None:
    door = Door(most=10, most_of_one=10)
    half = MOST_UNSENT_OCTETS // 2
    large = [Visitor(door.admit("192.0.2.1", 0.0), Phase.ANSWERING, half + n) for n in range(3)]
    small = Visitor(door.admit("192.0.2.2", 0.0), Phase.ANSWERING, 1000)
    assert door.sweep(1.0) == ["too much waits to be taken"] * 2
    assert [visitor.was_cut for visitor in (*large, small)] == [False, True, True, False]


def test_a_place_is_free_once_its_guest_has_left() -> None:
    door = Door(most=1, most_of_one=1)
    guest = door.admit("192.0.2.1", 0.0)
    assert guest is not None
    door.leave(guest)
    door.leave(guest)
    assert len(door) == 0
    assert Progress(Moment(Phase.GREETING, 0, 0), 0.0) == guest.progress
