"""Power classes as this rehearsal's own physics needs them; written out here and not shared with the checked side.

Sources: IEEE 802.3 clause 33 (classes 0-4) and clause 145 (classes 5-8), as published in open overviews of 802.3bt;
per pairset of a dual signature from memory of clause 145.
"""

from __future__ import annotations

Signature = int | tuple[int, int]
"""A class of 0 to 8, or a class for each pairset of a dual-signature device."""

# class: watts at the PD input, most on average
PD_W: dict[int, float] = {
    0: 12.95, 1: 3.84, 2: 6.49, 3: 12.95, 4: 25.5, 5: 40.0, 6: 51.0, 7: 62.0, 8: 71.3,
}  # fmt: skip
# class: watts that the PSE sets aside at its output
PSE_W: dict[int, float] = {
    0: 15.4, 1: 4.0, 2: 7.0, 3: 15.4, 4: 30.0, 5: 45.0, 6: 60.0, 7: 75.0, 8: 90.0,
}  # fmt: skip
PAIRSET_PD_W: dict[int, float] = {1: 3.84, 2: 6.49, 3: 13.0, 4: 25.5, 5: 35.6}
PAIRSET_PSE_W: dict[int, float] = {1: 4.0, 2: 6.7, 3: 14.0, 4: 30.0, 5: 45.0}
# What a PSE offers instead where it can't give the class: never 7 or 5 (IEEE 802.3 clause 145, from memory).
DEMOTION: dict[int, tuple[int, ...]] = {8: (6, 4, 3), 7: (6, 4, 3), 6: (4, 3), 5: (4, 3), 4: (3,)}
# Highest class of a port, and the current [A] at which it trips: per pairset, for the types 1 to 4. A published PSE
# manual has 0.35, 0.60, 0.60 and 0.96 A; 0.66 A is class 6 at its worst with 55 % on the heavier pairset.
TRIP_A: tuple[tuple[int, float], ...] = ((3, 0.35), (4, 0.60), (6, 0.66), (8, 0.96))
HEAVIER_SHARE = 0.55  # of a four-pair load's current, on its heavier pairset; common practice


def at_pd_w(signature: Signature) -> float:
    """Return the watts at the PD input that a class allows."""
    return PD_W[signature] if isinstance(signature, int) else sum(PAIRSET_PD_W[one] for one in signature)


def at_pse_w(signature: Signature) -> float:
    """Return the watts at the PSE output that a class sets aside."""
    return PSE_W[signature] if isinstance(signature, int) else sum(PAIRSET_PSE_W[one] for one in signature)


def four_pairs(signature: Signature) -> bool:
    """Say whether the class is powered on all four pairs."""
    return not isinstance(signature, int) or signature >= 5


def least_v(signature: Signature) -> float:
    """Return the volts below which a device of this class shuts down, where it does not say so itself."""
    highest = signature if isinstance(signature, int) else max(signature)
    if not isinstance(signature, int) and highest == 5:
        return 41.1  # a dual-signature class 5 is Type 4
    return 37.0 if highest <= 3 else 42.5 if highest <= 6 else 41.1


def maintain_a(signature: Signature) -> float:
    """Return the current [A] below which the PSE takes the device for unplugged (IEEE 802.3, maintain signature)."""
    return 0.016 if four_pairs(signature) else 0.010


def trip_a(class_max: int) -> float:
    """Return the current [A] per pairset at which a port of this highest class trips."""
    return next(amperes for highest, amperes in TRIP_A if class_max <= highest)


def offers(asked: Signature, class_max: int) -> tuple[Signature, ...]:
    """Return the classes that a port can grant to one that asks, the best first; none where all are refused.

    A dual signature is granted up to the port's class on each pairset, or refused.
    """
    if not isinstance(asked, int):
        return ((min(asked[0], class_max), min(asked[1], class_max)),)
    needs = asked or 3  # class 0 may take as much as class 3
    return tuple(
        step for step in (asked, *DEMOTION.get(asked, ())) if (needs if step == asked else step) <= class_max
    )
