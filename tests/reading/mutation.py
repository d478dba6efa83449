"""Makes a wrong datagram of a right one, by chance and by seed: what links, bugs and ill will make of an answer."""

from __future__ import annotations

import random
from collections.abc import Callable

MOST_OCTETS = 60_000  # a UDP datagram over IPv4 carries 65,507


def places(data: bytes) -> list[int]:
    """Return where elements begin, as far as the octets read as nested BER."""
    found: list[int] = []
    todo = [(0, len(data))]
    while todo:
        at, end = todo.pop()
        while at + 2 <= end:
            found.append(at)
            size, start = data[at + 1], at + 2
            if size & 0x80:
                count = size & 0x7F
                size, start = int.from_bytes(data[start : start + count], "big"), start + count
            if size == 0 or start + size > end:
                break
            if data[at] & 0x20:
                todo.append((start, start + size))
            at = start + size
    return found


def flip_bits(data: bytes, dice: random.Random) -> bytes:
    """Change one to eight bits."""
    octets = bytearray(data)
    for _ in range(dice.randint(1, 8)):
        octets[dice.randrange(len(octets))] ^= 1 << dice.randrange(8)
    return bytes(octets)


def truncate(data: bytes, dice: random.Random) -> bytes:
    """Cut the end off."""
    return data[: dice.randrange(len(data))]


def lie_about_a_length(data: bytes, dice: random.Random) -> bytes:
    """Let an element claim another length: a little off, indefinite, or gigabytes."""
    octets = bytearray(data)
    at = dice.choice(places(data)) + 1
    lies = [
        bytes([(octets[at] + dice.choice((-2, -1, 1, 2))) & 0xFF]),
        b"\x80",
        b"\x84\xff\xff\xff\xff",
        b"\xff",
        b"\x00",
    ]
    octets[at : at + 1] = dice.choice(lies)
    return bytes(octets)


def swap_a_type(data: bytes, dice: random.Random) -> bytes:
    """Give an element another tag."""
    octets = bytearray(data)
    at = dice.choice(places(data))
    octets[at] = dice.choice(
        (0x02, 0x04, 0x05, 0x06, 0x30, 0x40, 0x41, 0x42, 0x43, 0x44, 0x46, 0x80, 0x82, 0xA2, 0xA8)
    )
    return bytes(octets)


def change_a_number(data: bytes, dice: random.Random) -> bytes:
    """Change the content of one short element, which leaves the whole well-formed."""
    octets = bytearray(data)
    short = [at for at in places(data) if 0 < octets[at + 1] <= 8 and not octets[at] & 0x20]
    at = dice.choice(short)
    octets[at + 2 + dice.randrange(octets[at + 1])] = dice.randrange(256)
    return bytes(octets)


def delete_a_span(data: bytes, dice: random.Random) -> bytes:
    """Leave out one to forty octets."""
    at = dice.randrange(len(data))
    return data[:at] + data[at + dice.randint(1, 40) :]


def repeat_a_span(data: bytes, dice: random.Random) -> bytes:
    """Send one to forty octets twice, or a thousand times."""
    at = dice.randrange(len(data))
    span = data[at : at + dice.randint(1, 40)]
    return (data[:at] + span * dice.choice((2, 2, 2, 1000)) + data[at:])[:MOST_OCTETS]


def junk(data: bytes, dice: random.Random) -> bytes:
    """Send noise of any length, none included."""
    return dice.randbytes(dice.choice((0, 1, 2, len(data), 1400)))


def nest(data: bytes, dice: random.Random) -> bytes:
    """Send thousands of sequences inside each other, by themselves or within the answer."""
    deep = b"\x30\x80" * dice.choice((10, 1000, 20_000))
    if dice.random() < 0.5:
        return deep
    at = dice.choice(places(data))
    return (data[:at] + deep + data[at:])[:MOST_OCTETS]


KINDS: tuple[Callable[[bytes, random.Random], bytes], ...] = (
    flip_bits,
    truncate,
    lie_about_a_length,
    swap_a_type,
    change_a_number,
    delete_a_span,
    repeat_a_span,
    junk,
    nest,
)


def mutated(data: bytes, dice: random.Random) -> bytes:
    """Return a datagram that differs from `data`."""
    for _ in range(20):
        out = dice.choice(KINDS)(data, dice)
        if out != data:
            return out
    return data[:-1]
