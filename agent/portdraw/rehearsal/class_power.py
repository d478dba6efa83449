"""Power classes as this rehearsal's own physics needs them; written out here and not shared with the checked side.

Sources: IEEE 802.3 clause 33 (classes 0-4) and clause 145 (classes 5-8), as published in open overviews of 802.3bt.
"""

from __future__ import annotations

# class: watts at the PD input, most on average
PD_W: dict[int, float] = {
    0: 12.95, 1: 3.84, 2: 6.49, 3: 12.95, 4: 25.5, 5: 40.0, 6: 51.0, 7: 62.0, 8: 71.3,
}  # fmt: skip
# class: watts that the PSE sets aside at its output
PSE_W: dict[int, float] = {
    0: 15.4, 1: 4.0, 2: 7.0, 3: 15.4, 4: 30.0, 5: 45.0, 6: 60.0, 7: 75.0, 8: 90.0,
}  # fmt: skip


def single(device_class: int | tuple[int, int] | None) -> int:
    """Return one class for any signature; a dual-signature device counts as the class that holds its sum.

    Without a declared class it is 0, as a PSE takes it (IEEE 802.3 clause 33).
    """
    if device_class is None:
        return 0
    if isinstance(device_class, int):
        return device_class
    watts = sum(PD_W[one] for one in device_class)
    return next((one for one in range(3, 9) if PD_W[one] >= watts), 8)
