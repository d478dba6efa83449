"""Small repeatable noise: a number from a seed, a name and a count, the same in every process and in any order."""

from __future__ import annotations

from zlib import crc32

_MASK = 0xFFFFFFFFFFFFFFFF


def key(seed: int, name: str) -> int:
    """Return the number that stands for a name under a seed."""
    return (crc32(name.encode()) << 32 | (seed & 0xFFFFFFFF)) & _MASK


def uniform(name_key: int, count: int) -> float:
    """Return a number in [0, 1). The mixing steps are those of SplitMix64, a published public-domain generator."""
    mixed = (name_key + count * 0x9E3779B97F4A7C15) & _MASK
    mixed = ((mixed ^ (mixed >> 30)) * 0xBF58476D1CE4E5B9) & _MASK
    mixed = ((mixed ^ (mixed >> 27)) * 0x94D049BB133111EB) & _MASK
    return (mixed ^ (mixed >> 31)) / 2.0**64


def spread(seed: int, name: str, count: int) -> float:
    """Return a number in [-1, 1), by seed, name and count."""
    return 2 * uniform(key(seed, name), count) - 1


def around_zero(name_key: int, count: int) -> float:
    """Return a number in (-1, 1) that is near 0 more often than not: the mean of two."""
    return uniform(name_key, 2 * count) + uniform(name_key, 2 * count + 1) - 1
