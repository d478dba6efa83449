"""The bindings of a response, read straight from its octets (ITU-T X.690, RFC 3416); the rest is left to the library.

Three quarters of a poll went into the library's general decoding of bindings. Here they are taken out of a response,
which is handed on with an empty list: whether it is genuine, for whom and in time stays the library's to judge.
Whatever is not exactly as the standards say is not touched at all, and the library decides as it always did.
"""

from __future__ import annotations

from portdraw.reading.varbind import LARGEST_ARC, MOST_ARCS, Kind, Oid, Value, Varbind

_INTEGER, _OCTETS, _OID, _SEQUENCE, _RESPONSE = 0x02, 0x04, 0x06, 0x30, 0xA2
_UNSIGNED = {0x41: Kind.COUNTER32, 0x42: Kind.GAUGE32, 0x43: Kind.TIMETICKS}
_COUNTER64, _IP_ADDRESS, _OPAQUE = 0x46, 0x40, 0x44
_ABSENT = {0x05: Kind.NULL, 0x80: Kind.NO_SUCH_OBJECT, 0x81: Kind.NO_SUCH_INSTANCE, 0x82: Kind.END_OF_MIB_VIEW}
_STRINGS = {_OCTETS: Kind.OCTETS, _OPAQUE: Kind.OPAQUE}
_VERSION_2C = b"\x01"

Taken = tuple[bytes, tuple[Varbind, ...]]


class _OddError(Exception):
    """Not exactly as the standards say."""


def take_from_message(message: bytes) -> Taken | None:
    """Return an SNMP v2c response without its bindings, and the bindings; None where it is anything else."""
    try:
        whole = _only(message, _SEQUENCE)
        version, rest = _first(whole, _INTEGER)
        community, pdu = _first(whole, _OCTETS, rest)
        if version != _VERSION_2C:
            return None
        bare, bindings = _without_bindings(whole[pdu:])
    except (_OddError, IndexError):
        return None
    body = _tlv(_INTEGER, version) + _tlv(_OCTETS, community) + bare
    return _tlv(_SEQUENCE, body), bindings


def take_from_scoped(scoped: bytes) -> Taken | None:
    """Return a decrypted scoped PDU (RFC 3412, section 6) without its bindings, and the bindings; None as above.

    Octets after it are padding of the cipher.
    """
    try:
        whole, _ = _first(scoped, _SEQUENCE)
        engine_id, rest = _first(whole, _OCTETS)
        name, pdu = _first(whole, _OCTETS, rest)
        bare, bindings = _without_bindings(whole[pdu:])
    except (_OddError, IndexError):
        return None
    return _tlv(_SEQUENCE, _tlv(_OCTETS, engine_id) + _tlv(_OCTETS, name) + bare), bindings


def _without_bindings(pdu: bytes) -> Taken:
    body = _only(pdu, _RESPONSE)
    at = 0
    for _ in range(3):  # request-id, error-status, error-index
        number, at = _first(body, _INTEGER, at)
        if not 0 < len(number) <= 4:
            raise _OddError
    bindings = _bindings(_only(body[at:], _SEQUENCE))
    return _tlv(_RESPONSE, body[:at] + b"\x30\x00"), bindings


def _bindings(data: bytes) -> tuple[Varbind, ...]:
    found: list[Varbind] = []
    at, size = 0, len(data)
    while at < size:
        one, at = _first(data, _SEQUENCE, at)
        name, value_at = _first(one, _OID)
        tag = one[value_at]
        body, end = _first(one, tag, value_at)
        if end != len(one):
            raise _OddError
        kind, value = _value(tag, body)
        found.append(Varbind(_oid(name), kind, value))
    return tuple(found)


def _value(tag: int, body: bytes) -> tuple[Kind, Value]:
    size = len(body)
    if tag == _INTEGER:
        if not 0 < size <= 4:
            raise _OddError
        return Kind.INTEGER, int.from_bytes(body, "big", signed=True)
    if tag in _UNSIGNED or tag == _COUNTER64:
        most = 8 if tag == _COUNTER64 else 4
        if not size or body[0] & 0x80 or size > most + (body[0] == 0):
            raise _OddError
        return _UNSIGNED.get(tag, Kind.COUNTER64), int.from_bytes(body, "big")
    if tag in _STRINGS:
        return _STRINGS[tag], body
    if tag == _OID:
        return Kind.OID, _oid(body)
    if tag in _ABSENT and not size:
        return _ABSENT[tag], None
    if tag == _IP_ADDRESS and size == 4:
        return Kind.IP_ADDRESS, body
    raise _OddError


def _oid(body: bytes) -> Oid:
    arcs: list[int] = []
    arc = 0
    begins = True
    for octet in body:
        if octet < 0x80:
            arcs.append(arc << 7 | octet)
            arc, begins = 0, True
        elif begins and octet == 0x80:
            raise _OddError  # an arc never begins with an empty group: X.690, 8.19.2
        else:
            arc, begins = arc << 7 | octet & 0x7F, False
    if not begins or not arcs or len(arcs) >= MOST_ARCS or max(arcs) > LARGEST_ARC:
        raise _OddError
    first = min(arcs[0] // 40, 2)
    return (first, arcs[0] - 40 * first, *arcs[1:])


def _only(data: bytes, tag: int) -> bytes:
    """Return the body of the one element that fills `data`."""
    body, end = _first(data, tag)
    if end != len(data):
        raise _OddError
    return body


def _first(data: bytes, tag: int, at: int = 0) -> tuple[bytes, int]:
    """Return the body of the element at `at`, which must have this tag, and where the next one begins."""
    if data[at] != tag or tag & 0x1F == 0x1F:
        raise _OddError
    size, start = data[at + 1], at + 2
    if size & 0x80:
        count = size & 0x7F
        if not 0 < count <= 3 or start + count > len(data):
            raise _OddError
        size, start = int.from_bytes(data[start : start + count], "big"), start + count
    end = start + size
    if end > len(data):
        raise _OddError
    return data[start:end], end


def _tlv(tag: int, body: bytes) -> bytes:
    size = len(body)
    if size < 0x80:
        return bytes((tag, size)) + body
    length = size.to_bytes((size.bit_length() + 7) // 8, "big")
    return bytes((tag, 0x80 | len(length))) + length + body
