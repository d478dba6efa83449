"""Noise that repeats."""

from __future__ import annotations

from portdraw.rehearsal.noise import around_zero, key, uniform


def test_first_number_of_splitmix64() -> None:
    # The published generator with state 0 gives 0xE220A8397B1DCDAF first (reference code of SplitMix64).
    assert uniform(0, 1) == 0xE220A8397B1DCDAF / 2**64


def test_noise_is_centred_and_bounded() -> None:
    numbers = [around_zero(key(3, "core/1"), count) for count in range(5000)]
    assert max(numbers) < 1
    assert min(numbers) > -1
    # standard error of the mean of 5000 triangular numbers is 0.408 / sqrt(5000) = 0.0058; four of them
    assert abs(sum(numbers) / len(numbers)) < 0.024
