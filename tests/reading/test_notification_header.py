"""What is read of a notification before the library sees it: octets put together by the tests' own encoder."""

from __future__ import annotations

import random

import pytest
from tests.reading.ber import GET, INTEGER, OCTETS, OID, SEQUENCE, binding, integer, message, oid, tlv
from tests.reading.mutation import mutated

from portdraw.reading.notification_header import MOST_OCTETS, Header, header_of

TRAP_V1, INFORM, TRAP = 0xA4, 0xA6, 0xA7  # RFC 1157, RFC 3416
BINDINGS = [binding((1, 3, 6, 1, 6, 3, 1, 1, 4, 1, 0), oid((1, 3, 6, 1, 2, 1, 105, 0, 1)))]
ENGINE = bytes.fromhex("80001f8804706f7274")


def version_3(flags: int, engine: bytes = ENGINE, model: int = 3, user: bytes = b"watch") -> bytes:
    """Return an SNMPv3 message (RFC 3412, section 6; RFC 3414, section 2.4) whose content is not looked at."""
    globals_ = integer(1) + integer(65_507) + tlv(OCTETS, bytes([flags])) + integer(model)
    inside = tlv(OCTETS, engine) + integer(3) + integer(70_000) + tlv(OCTETS, user) + tlv(OCTETS, b"") * 2
    body = integer(3) + tlv(SEQUENCE, globals_) + tlv(OCTETS, tlv(SEQUENCE, inside)) + tlv(OCTETS, b"sealed")
    return tlv(SEQUENCE, body)


def version_1() -> bytes:
    body = oid((1, 3, 6, 1, 2, 1, 105)) + tlv(0x40, bytes(4)) + integer(6) + integer(1) + integer(9, 0x43)
    return tlv(SEQUENCE, integer(0) + tlv(OCTETS, b"watch") + tlv(TRAP_V1, body + tlv(SEQUENCE, b"")))


@pytest.mark.parametrize(
    ("datagram", "header"),
    [
        (version_1(), Header(1, b"watch")),
        (message(b"watch", TRAP, 7, 0, 0, BINDINGS), Header(2, b"watch")),
        (message(b"", INFORM, 7, 0, 0, BINDINGS), Header(2, b"")),
        (version_3(0), Header(3, engine_id=ENGINE, user=b"watch", level=1)),
        (version_3(1), Header(3, engine_id=ENGINE, user=b"watch", level=2)),
        (version_3(7), Header(3, engine_id=ENGINE, user=b"watch", level=3)),  # 4: reportable, of an inform
        (version_3(4, engine=b"", user=b""), Header(3)),
    ],
)
def test_the_header_is_read(datagram: bytes, header: Header) -> None:
    assert header_of(datagram) == header


@pytest.mark.parametrize(
    "datagram",
    [
        b"",
        b"\x30",
        b"hello",
        message(b"watch", GET, 7, 0, 0, BINDINGS),  # a question
        message(b"watch", TRAP_V1, 7, 0, 0, BINDINGS),  # a v1 trap in a v2c message
        message(b"watch", TRAP, 7, 0, 0, BINDINGS) + b"\x00",
        message(b"watch", TRAP, 7, 0, 0, BINDINGS)[:-1],
        version_3(2),  # privacy without authentication: RFC 3412, section 7.2, 5d
        version_3(3, model=2),
        tlv(SEQUENCE, integer(2) + tlv(OCTETS, b"watch")),
        tlv(SEQUENCE, tlv(INTEGER, b"") + tlv(OCTETS, b"watch")),
        tlv(SEQUENCE, integer(1) + tlv(OID, b"watch")),
        tlv(SEQUENCE, integer(1) + tlv(OCTETS, b"watch") + tlv(TRAP, bytes(MOST_OCTETS))),
    ],
)
def test_anything_else_is_none(datagram: bytes) -> None:
    assert header_of(datagram) is None


def test_no_octets_make_it_raise() -> None:
    dice = random.Random(20_260_302)
    whole = [version_1(), version_3(3), message(b"watch", INFORM, 7, 0, 0, BINDINGS)]
    read = 0
    for _ in range(5000):
        read += header_of(mutated(dice.choice(whole), dice)) is not None
    assert 0 < read < 5000


def test_it_shows_no_community() -> None:
    assert "watch" not in repr(header_of(version_1()))
