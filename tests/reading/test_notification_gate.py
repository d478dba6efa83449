"""Senders by address, and the bounds of a flood."""

from __future__ import annotations

import asyncio

import pytest

from portdraw.reading.engine import parse_address
from portdraw.reading.notification_gate import (
    ALL_A_SECOND,
    ALL_BURST,
    UNIT_A_SECOND,
    UNIT_BURST,
    Bucket,
    Fate,
    Gate,
    Senders,
    plain_host,
)


def senders(**addresses: str) -> Senders:
    return Senders({name: parse_address(address, "a") for name, address in addresses.items()})


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("10.20.0.31", "10.20.0.31"),
        ("::ffff:10.20.0.31", "10.20.0.31"),  # IPv4-mapped: RFC 4291, section 2.5.5.2
        ("2001:0db8::0001", "2001:db8::1"),
        ("fe80::1%eth0", "fe80::1"),
        ("pier.harbour.example", None),
        ("", None),
    ],
)
def test_one_spelling_of_an_address(text: str, plain: str | None) -> None:
    assert plain_host(text) == plain


def test_a_sender_is_the_units_of_its_address() -> None:
    known = senders(pier="10.20.0.31", quay="[2001:db8::1]", hall="127.0.0.1:4001", gate="127.0.0.1:4002")
    assert known.units_of("10.20.0.31", 50_000) == ("pier",)
    assert known.units_of("::ffff:10.20.0.31", 50_000) == ("pier",)
    assert known.units_of("2001:db8:0::1", 161) == ("quay",)
    assert known.units_of("10.20.0.32", 161) == ()
    # several behind one address: all of them, but the one whose own port it comes from alone
    assert known.units_of("127.0.0.1", 50_000) == ("hall", "gate")
    assert known.units_of("127.0.0.1", 4002) == ("gate",)


def test_names_are_looked_up_and_those_that_lead_nowhere_left_out() -> None:
    """localhost is this machine (RFC 6761, section 6.3); a name under .invalid leads nowhere (section 6.4)."""
    known = senders(here="localhost:4001", nowhere="switch.invalid")
    assert known.has_names
    assert known.units_of("127.0.0.1", 4001) == ()
    asyncio.run(known.refresh())
    assert known.units_of("127.0.0.1", 4001) or known.units_of("::1", 4001) == ("here",)
    assert not senders(pier="10.20.0.31").has_names


def test_a_bucket_gives_its_burst_and_then_its_rate() -> None:
    bucket = Bucket(3, 2)
    assert [bucket.take(10.0) for _ in range(5)] == [True, True, True, False, False]
    assert [bucket.take(10.0 + n / 4) for n in range(1, 9)] == [False, True] * 4  # two a second
    assert not bucket.take(5.0)  # a clock that steps back gives nothing
    assert [bucket.take(1000.0) for _ in range(4)] == [True, True, True, False]


def test_one_noisy_unit_does_not_silence_the_others() -> None:
    gate = Gate(senders(noisy="10.0.0.1", calm="10.0.0.2"))
    let = sum(bool(gate.admit("10.0.0.1", 1, at / 1000)) for at in range(10_000))
    assert let == pytest.approx(UNIT_BURST + 10 * UNIT_A_SECOND, abs=1)
    assert gate.admit("10.0.0.2", 1, 10.0) == ("calm",)
    assert gate.counts().fates[Fate.DROPPED] == 10_000 - let


def test_all_together_are_bounded_and_strangers_take_nothing() -> None:
    many = {f"u{n}": f"10.0.1.{n}" for n in range(200)}
    gate = Gate(senders(**many))
    for at in range(1000):
        assert gate.admit("10.9.9.9", 1, at / 1000) == ()
    let = sum(bool(gate.admit(f"10.0.1.{n % 200}", 1, 1 + n / 1000)) for n in range(2000))
    assert let == pytest.approx(ALL_BURST + 2 * ALL_A_SECOND, abs=2)
    assert gate.counts().fates[Fate.UNKNOWN] == 1000


def test_counts_are_by_fate_and_by_unit() -> None:
    gate = Gate(senders(pier="10.0.0.1"))
    gate.count(Fate.TAKEN, ("pier",))
    gate.count(Fate.TAKEN, ("pier", "quay"))
    gate.count(Fate.REFUSED)
    told = gate.counts()
    assert {fate: count for fate, count in told.fates.items() if count} == {Fate.TAKEN: 2, Fate.REFUSED: 1}
    assert set(told.fates) == set(Fate)
    assert told.units == {"pier": 2, "quay": 1}
