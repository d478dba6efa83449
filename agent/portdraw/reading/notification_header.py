"""The outer part of a notification, looked at before any library sees it: who says they sent it, and how secured.

Only what is needed to refuse early is read here (ITU-T X.690; RFC 1901, RFC 3412 section 6, RFC 3414 section 2.4);
whether a message is genuine stays the library's to judge.
"""

from __future__ import annotations

from dataclasses import dataclass, field

MOST_OCTETS = 16_384  # a notification fits into a few Ethernet frames; no source
_INTEGER, _OCTETS, _SEQUENCE = 0x02, 0x04, 0x30
_TRAP_V1, _INFORM, _TRAP = 0xA4, 0xA6, 0xA7  # RFC 1157, RFC 3416
_PDUS = {0: (_TRAP_V1,), 1: (_INFORM, _TRAP)}
_MOST_LENGTH_OCTETS = 4
_USM = 3  # securityModel of RFC 3414


@dataclass(frozen=True, slots=True)
class Header:
    """Version 1, 2 (2c) or 3, and what the sender claims. `level`: 1 neither, 2 authentication, 3 privacy too."""

    version: int
    community: bytes = field(default=b"", repr=False)
    engine_id: bytes = b""
    user: bytes = b""
    level: int = 1


def header_of(datagram: bytes) -> Header | None:
    """Return the header of a trap or inform, None where it is anything else."""
    if len(datagram) > MOST_OCTETS:
        return None
    try:
        tag, body, end = _element(datagram, 0)
        if tag != _SEQUENCE or end != len(datagram):
            return None
        version, at = _number(body, 0)
        if version in _PDUS:
            community, at = _content(body, at, _OCTETS)
            return Header(version + 1, community) if body[at] in _PDUS[version] else None
        return _version_3(body, at) if version == 3 else None
    except (ValueError, IndexError):
        return None


def _version_3(body: bytes, at: int) -> Header | None:
    globals_, at = _content(body, at, _SEQUENCE)
    place = 0
    for _ in range(2):  # msgID, msgMaxSize
        _, place = _number(globals_, place)
    flags, place = _content(globals_, place, _OCTETS)
    model, _ = _number(globals_, place)
    if len(flags) != 1 or model != _USM:
        return None
    wrapped, _ = _content(body, at, _OCTETS)
    parameters, _ = _content(wrapped, 0, _SEQUENCE)
    engine_id, place = _content(parameters, 0, _OCTETS)
    for _ in range(2):  # boots, time
        _, place = _number(parameters, place)
    user, _ = _content(parameters, place, _OCTETS)
    authenticated, private = flags[0] & 1, flags[0] & 2
    if private and not authenticated:
        return None  # RFC 3412, section 7.2, 5d
    return Header(3, engine_id=engine_id, user=user, level=1 + (1 if authenticated else 0) + (1 if private else 0))


def _element(data: bytes, at: int) -> tuple[int, bytes, int]:
    """Return tag, content and end of the element at a place. Raises ValueError, IndexError."""
    tag, size = data[at], data[at + 1]
    at += 2
    if size & 0x80:
        count = size & 0x7F
        if not 0 < count <= _MOST_LENGTH_OCTETS:
            raise ValueError("length")
        size, at = int.from_bytes(data[at : at + count], "big"), at + count
    end = at + size
    if end > len(data):
        raise ValueError("cut off")
    return tag, data[at:end], end


def _content(data: bytes, at: int, wanted: int) -> tuple[bytes, int]:
    tag, body, end = _element(data, at)
    if tag != wanted:
        raise ValueError("tag")
    return body, end


def _number(data: bytes, at: int) -> tuple[int, int]:
    body, end = _content(data, at, _INTEGER)
    if not 0 < len(body) <= 5:
        raise ValueError("number")
    return int.from_bytes(body, "big", signed=True), end
