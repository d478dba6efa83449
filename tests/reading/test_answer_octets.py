"""Bindings read from octets, beside the SNMP library's own decoding of the same octets."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyasn1.codec.ber import decoder
from pyasn1.error import PyAsn1Error
from pysnmp.proto.api import v2c
from tests.reading import ber
from tests.reading.mutation import mutated
from tests.reading.recording import recorded_rows
from tests.requirements import need_recordings

from portdraw.reading.answer_octets import Taken, take_from_message, take_from_scoped
from portdraw.reading.pysnmp_engine import plain_varbind
from portdraw.reading.varbind import Kind, Oid, Varbind

TAGS = {
    Kind.INTEGER: 0x02,
    Kind.OCTETS: 0x04,
    Kind.OID: 0x06,
    Kind.IP_ADDRESS: 0x40,
    Kind.COUNTER32: 0x41,
    Kind.GAUGE32: 0x42,
    Kind.TIMETICKS: 0x43,
    Kind.OPAQUE: 0x44,
    Kind.COUNTER64: 0x46,
    Kind.NULL: 0x05,
    Kind.NO_SUCH_OBJECT: 0x80,
    Kind.NO_SUCH_INSTANCE: 0x81,
    Kind.END_OF_MIB_VIEW: 0x82,
}
NAME: Oid = (1, 3, 6, 1, 2, 1, 105, 1)


def value_of(varbind: Varbind) -> bytes:
    tag = TAGS[varbind.kind]
    if isinstance(varbind.value, int):
        return ber.integer(varbind.value, tag)
    if isinstance(varbind.value, tuple):
        return ber.oid(varbind.value)
    return ber.tlv(tag, varbind.value or b"")


def message(bindings: list[bytes], pdu: int = ber.RESPONSE) -> bytes:
    return ber.message(b"watch-only", pdu, 77, 0, 0, bindings)


def by_library(data: bytes) -> tuple[int, tuple[Varbind, ...]] | None:
    """Return request id and bindings as the library decodes them, None where it refuses."""
    try:
        whole, _ = decoder.decode(data, asn1Spec=v2c.Message())
        pdu = v2c.apiMessage.get_pdu(whole)
        bindings = tuple(plain_varbind(name, value) for name, value in v2c.apiPDU.get_varbinds(pdu))
        return int(v2c.apiPDU.get_request_id(pdu)), bindings
    except (PyAsn1Error, ValueError, KeyError, TypeError, IndexError):
        return None


def taken(data: bytes) -> Taken:
    found = take_from_message(data)
    assert found is not None
    return found


@pytest.mark.parametrize("name", ["eight-port-measured", "private-table-only-measured", "optical-watts-no-poe"])
def test_every_recorded_value_reads_as_the_library_reads_it(name: str) -> None:
    rows = list(recorded_rows(need_recordings() / f"{name}.snmprec").values())
    dice = random.Random(1)
    for chosen in (dice.sample(rows, min(60, len(rows))) for _ in range(10)):
        data = message([ber.binding(row.oid, value_of(row)) for row in chosen])
        bare, bindings = taken(data)
        assert bindings == tuple(chosen)
        assert by_library(data) == (77, bindings)
        assert by_library(bare) == (77, ())  # what is handed on says the same but for its bindings


def test_every_kind() -> None:
    values = [
        *(Varbind(NAME, Kind.INTEGER, value) for value in (1 - 2**31, -129, -128, -1, 0, 127, 128, 2**31 - 1)),
        *(
            Varbind(NAME, kind, value)
            for kind in (Kind.COUNTER32, Kind.GAUGE32, Kind.TIMETICKS)
            for value in (0, 2**32 - 1)
        ),
        *(Varbind(NAME, Kind.COUNTER64, value) for value in (0, 2**63, 2**64 - 1)),
        *(Varbind(NAME, Kind.OCTETS, value) for value in (b"", b"x" * 127, b"x" * 128, b"x" * 60_000)),
        Varbind(NAME, Kind.IP_ADDRESS, b"\x0a\x14\x00\x02"),
        Varbind(NAME, Kind.OPAQUE, b"\x9f\x78\x04\x41\xc8\x00\x00"),
        Varbind((2, 999, 3, 2**32 - 1), Kind.OID, (1, 0, 8802, 1)),
        *(
            Varbind(NAME, kind, None)
            for kind in (Kind.NULL, Kind.NO_SUCH_OBJECT, Kind.NO_SUCH_INSTANCE, Kind.END_OF_MIB_VIEW)
        ),
    ]
    data = message([ber.binding(one.oid, value_of(one)) for one in values])
    assert taken(data)[1] == tuple(values)
    assert by_library(data) == (77, tuple(values))


ODD = {
    "a question": message([], ber.GET),
    "a report": message([], ber.REPORT),
    "v1": b"\x30\x03\x02\x01\x00",
    "nothing": b"",
    "octets behind": message([]) + b"\x00",
    "a number of five octets": message([ber.binding(NAME, b"\x02\x05\x01\x00\x00\x00\x00")]),
    "a number of none": message([ber.binding(NAME, b"\x02\x00")]),
    "a gauge below zero": message([ber.binding(NAME, b"\x42\x01\xff")]),
    "a gauge beyond 32 bits": message([ber.binding(NAME, b"\x42\x05\x01\x00\x00\x00\x00")]),
    "an address of three octets": message([ber.binding(NAME, b"\x40\x03\x0a\x14\x00")]),
    "an unknown type": message([ber.binding(NAME, b"\x45\x01\x00")]),
    "a value behind the value": message([ber.tlv(0x30, ber.oid(NAME) + b"\x05\x00\x05\x00")]),
    "an arc that begins with nothing": message([ber.tlv(0x30, b"\x06\x03\x2b\x80\x01\x05\x00")]),
    "an arc that does not end": message([ber.tlv(0x30, b"\x06\x02\x2b\x86\x05\x00")]),
    "an arc beyond 32 bits": message([ber.tlv(0x30, b"\x06\x06\x2b\x90\x80\x80\x80\x00\x05\x00")]),
    "no arcs": message([ber.tlv(0x30, b"\x06\x00\x05\x00")]),
    "an indefinite length": b"\x30\x80" + message([])[2:] + b"\x00\x00",
    "a length beyond the end": b"\x30\x84\xff\xff\xff\xff" + message([])[2:],
}


@pytest.mark.parametrize("case", ODD)
def test_what_is_odd_is_left_to_the_library(case: str) -> None:
    assert take_from_message(ODD[case]) is None


def test_a_thousand_mutated_answers_are_never_read_otherwise_than_by_the_library() -> None:
    """Seeded. What is taken is what the library finds; what it refuses, it refuses without bindings too."""
    rows = [Varbind((*NAME, 1, 6, 1, port), Kind.INTEGER, port % 6 + 1) for port in range(1, 9)]
    rows += [Varbind((*NAME, 1, 15, 1, port), Kind.GAUGE32, 1000 * port) for port in range(1, 9)]
    data = message([ber.binding(row.oid, value_of(row)) for row in rows])
    dice = random.Random(3)
    both = 0
    for _ in range(1000):
        wrong = mutated(data, dice)
        if len(wrong) > 5000:
            continue  # the library's own decoding takes too long for a test
        found = take_from_message(wrong)
        if found is not None:
            library = by_library(wrong)
            assert by_library(found[0]) == (None if library is None else (library[0], ())), wrong.hex()
            if library is not None:
                assert found[1] == library[1]
                both += 1
    assert both > 50


@given(st.binary(max_size=200))
def test_any_octets_are_taken_or_left(data: bytes) -> None:
    """No exception for any octets."""
    for take in (take_from_message, take_from_scoped):
        found = take(data)
        assert found is None or isinstance(found[1], tuple)


def test_a_scoped_pdu_with_padding() -> None:
    """RFC 3412, section 6: context engine id, context name, PDU; a block cipher leaves padding behind."""
    pdu = ber.message(b"", ber.RESPONSE, 5, 0, 0, [ber.binding(NAME, ber.integer(3))])
    pdu = pdu[pdu.index(b"\xa2") :]
    scoped = ber.tlv(0x30, ber.tlv(4, b"engine") + ber.tlv(4, b"") + pdu)
    found = take_from_scoped(scoped + b"\x00" * 7)
    assert found is not None
    bare, bindings = found
    assert bindings == (Varbind(NAME, Kind.INTEGER, 3),)
    assert b"engine" in bare
    assert bare.endswith(b"\x30\x00")
    assert take_from_scoped(pdu) is None
