"""Whether a port can grant the class that hangs on it, and whether the class allows the watts declared for it."""

from __future__ import annotations

from collections.abc import Iterator

from portdraw.electrical.class_table import DUAL_CLASSES, SINGLE_CLASSES
from portdraw.plan.finding import Finding, FindingSeverity
from portdraw.plan.load_case import declared_w, signature_class
from portdraw.plan.ports import sort_key
from portdraw.plan.site import Port, Site, Unit

_FIELDS = ("typical_w", "night_w", "frost_night_w", "startup_w", "max_w")
_STEPS = (8, 6, 4, 3)  # classes that a port may demote to (IEEE 802.3-2022, clause 145; from memory)
_NEVER_DEMOTED = 3  # class 3 and below, and class 0 with the same watts, are granted or refused


def check_classes(site: Site, name: str, unit: Unit) -> Iterator[Finding]:
    """Yield a warning for each port of a unit whose class is cut or refused, or does not allow the declared watts."""
    if unit.pse is None:
        return
    for key in sorted(unit.ports, key=sort_key):
        port = unit.ports[key]
        asked = signature_class(site, port)
        if asked is None or port.hangs is None or port.off:
            continue
        where = f"{name} port {key}"
        granted = granted_of(asked, unit.pse.class_max)
        if granted != asked:
            yield Finding(FindingSeverity.WARNING, where, _cut(unit, port, asked, granted))
        sentence = _above(site, port, asked if granted is None else granted, cut=granted not in (asked, None))
        if sentence:
            yield Finding(FindingSeverity.WARNING, where, sentence)


def granted_of(asked: int | tuple[int, int], class_max: int) -> int | tuple[int, int] | None:
    """Return the class that a port of `class_max` grants; None where it is refused, as nothing lower is offered."""
    if isinstance(asked, tuple):
        return (min(asked[0], class_max), min(asked[1], class_max))
    if (asked or _NEVER_DEMOTED) <= class_max:
        return asked
    return next((step for step in _STEPS if step < asked and step <= class_max), None)


def _cut(unit: Unit, port: Port, asked: int | tuple[int, int], granted: int | tuple[int, int] | None) -> str:
    assert unit.pse is not None, "only a unit that gives PoE can cut a class"
    declared = "class_max" in unit.pse.model_fields_set
    most = (
        f"class_max is {unit.pse.class_max}"
        if declared
        else f"class_max is not declared, {unit.pse.class_max} counted"
    )
    what = f"the feed of {port.feeds_unit}" if port.feeds is not None else f"{port.device}"
    if granted is None:
        return f"{what} asks for class {_said(asked)}, but {most}: the port refuses it."
    return (
        f"{what} asks for class {_said(asked)}, but is granted class {_said(granted)} "
        f"({_pd_w(granted):g} W at the PD input): {most}."
    )


def _above(site: Site, port: Port, allowed: int | tuple[int, int], *, cut: bool) -> str | None:
    """Say which watts of a device are more than its class allows, all of them in one sentence."""
    if port.device is None:
        return None
    limit_w = _pd_w(allowed)
    watts = {field: declared_w(site, port, field) for field in _FIELDS}
    over = [f"{field} {found:g} W" for field, found in watts.items() if found is not None and found > limit_w]
    if not over:
        return None
    figures = over[0] if len(over) == 1 else f"{', '.join(over[:-1])} and {over[-1]}"
    grant = ", which is all the port grants" if cut else ""
    verb = "is" if len(over) == 1 else "are"
    return f"{figures} {verb} above the {limit_w:g} W that class {_said(allowed)} allows{grant}."


def _pd_w(device_class: int | tuple[int, int]) -> float:
    if isinstance(device_class, tuple):
        return sum(DUAL_CLASSES[one].pd_w for one in device_class)
    return SINGLE_CLASSES[device_class].pd_w


def _said(device_class: int | tuple[int, int]) -> str:
    return "+".join(map(str, device_class)) if isinstance(device_class, tuple) else str(device_class)
