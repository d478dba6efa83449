"""What a class allows at the PD input, and which class a port grants to what asks for one. The one place for both."""

from __future__ import annotations

from portdraw.electrical.class_table import DUAL_CLASSES, SINGLE_CLASSES

SignatureClasses = int | tuple[int, int]

_STEPS = (6, 4, 3)  # classes that a port may demote to (IEEE 802.3-2022, clause 145; from memory)
_NEVER_DEMOTED = 3  # class 3 and below, and class 0 with the same watts, are granted or refused


def class_watts_at_pd(device_class: SignatureClasses) -> float:
    """Return the watts at the PD input that a class allows; the sum of both pairsets for dual signature."""
    if isinstance(device_class, tuple):
        return sum(DUAL_CLASSES[one].pd_w for one in device_class)
    return SINGLE_CLASSES[device_class].pd_w


def granted_of(asked: SignatureClasses, class_max: int) -> SignatureClasses | None:
    """Return the class that a port of `class_max` grants; None where it is refused, as nothing lower is offered."""
    if isinstance(asked, tuple):
        return (min(asked[0], class_max), min(asked[1], class_max))
    if (asked or _NEVER_DEMOTED) <= class_max:
        return asked
    return next((step for step in _STEPS if step < asked and step <= class_max), None)
