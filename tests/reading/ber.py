"""As much BER (ITU-T X.690) and SNMP v2c (RFC 1901, RFC 3416) as a scripted agent needs; code of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

GET, GETNEXT, RESPONSE, GETBULK, REPORT = 0xA0, 0xA1, 0xA2, 0xA5, 0xA8
INTEGER, OCTETS, NULL, OID, SEQUENCE = 0x02, 0x04, 0x05, 0x06, 0x30
COUNTER32, GAUGE32, TIMETICKS = 0x41, 0x42, 0x43
NO_SUCH_OBJECT, NO_SUCH_INSTANCE, END_OF_MIB_VIEW = 0x80, 0x81, 0x82

Arcs = tuple[int, ...]


def tlv(tag: int, body: bytes) -> bytes:
    """Return tag, length and body."""
    size = len(body)
    if size < 0x80:
        return bytes([tag, size]) + body
    length = size.to_bytes((size.bit_length() + 7) // 8, "big")
    return bytes([tag, 0x80 | len(length)]) + length + body


def integer(value: int, tag: int = INTEGER) -> bytes:
    """Return a two's complement integer in as few octets as it takes."""
    return tlv(tag, value.to_bytes(value.bit_length() // 8 + 1, "big", signed=True))


def oid(name: Arcs) -> bytes:
    """Return an object identifier."""
    body = bytearray()
    for arc in (name[0] * 40 + name[1], *name[2:]):
        groups = [arc & 0x7F]
        while arc := arc >> 7:
            groups.append(0x80 | arc & 0x7F)
        body += bytes(reversed(groups))
    return tlv(OID, bytes(body))


def binding(name: Arcs, value: bytes) -> bytes:
    """Return one variable binding; `value` is encoded already."""
    return tlv(SEQUENCE, oid(name) + value)


def message(community: bytes, pdu: int, request_id: int, second: int, third: int, bindings: Sequence[bytes]) -> bytes:
    """Return a v2c message; the two numbers are error-status and -index, or what GETBULK has in their place."""
    body = integer(request_id) + integer(second) + integer(third) + tlv(SEQUENCE, b"".join(bindings))
    return tlv(SEQUENCE, integer(1) + tlv(OCTETS, community) + tlv(pdu, body))


def request(community: bytes, pdu: int, request_id: int, names: Sequence[Arcs]) -> bytes:
    """Return a question."""
    return message(community, pdu, request_id, 0, 0, [binding(name, tlv(NULL, b"")) for name in names])


@dataclass(frozen=True)
class Request:
    """A question as it arrived."""

    community: bytes
    pdu: int
    request_id: int
    repetitions: int
    names: tuple[Arcs, ...]


def parse(data: bytes) -> Request:
    """Return a v2c question. Raises ValueError or IndexError on anything else."""
    _, whole, _ = _take(data)
    _, version, rest = _take(whole)
    if version != b"\x01":
        raise ValueError("not v2c")
    _, community, rest = _take(rest)
    pdu, body, _ = _take(rest)
    _, request_id, body = _take(body)
    _, _, body = _take(body)
    _, repetitions, body = _take(body)
    _, bindings, _ = _take(body)
    names = []
    while bindings:
        _, one, bindings = _take(bindings)
        _, name, _ = _take(one)
        names.append(arcs(name))
    return Request(
        community,
        pdu,
        int.from_bytes(request_id, "big", signed=True),
        int.from_bytes(repetitions, "big", signed=True),
        tuple(names),
    )


@dataclass(frozen=True)
class Response:
    """A response as it was sent: each binding is name, tag and body of the value."""

    request_id: int
    status: int
    bindings: tuple[tuple[Arcs, int, bytes], ...]


def parse_response(data: bytes) -> Response:
    """Return a v2c response. Raises ValueError or IndexError on what this plain reader does not understand."""
    _, whole, _ = _take(data)
    _, _, rest = _take(whole)
    _, _, rest = _take(rest)
    pdu, body, _ = _take(rest)
    if pdu != RESPONSE:
        raise ValueError("not a response")
    _, request_id, body = _take(body)
    _, status, body = _take(body)
    _, _, body = _take(body)
    _, rest, _ = _take(body)
    found = []
    while rest:
        _, one, rest = _take(rest)
        _, name, value = _take(one)
        tag, content, _ = _take(value)
        found.append((arcs(name), tag, content))
    number, said = (int.from_bytes(octets, "big", signed=True) for octets in (request_id, status))
    return Response(number, said, tuple(found))


def _take(data: bytes) -> tuple[int, bytes, bytes]:
    tag, size, start = data[0], data[1], 2
    if size & 0x80:
        start = 2 + (size & 0x7F)
        size = int.from_bytes(data[2:start], "big")
    if start + size > len(data):
        raise ValueError("cut short")
    return tag, data[start : start + size], data[start + size :]


def arcs(body: bytes) -> Arcs:
    """Return the arcs of an object identifier's content."""
    numbers, number = [], 0
    for octet in body:
        number = number << 7 | octet & 0x7F
        if not octet & 0x80:
            numbers.append(number)
            number = 0
    first = min(numbers[0] // 40, 2)
    return (first, numbers[0] - 40 * first, *numbers[1:])
