"""Whether a port can grant the class that hangs on it, and whether the class allows the watts declared for it."""

from __future__ import annotations

from collections.abc import Iterator

from portdraw.plan.class_grant import class_watts_at_pd, granted_of
from portdraw.plan.finding import Finding, FindingSeverity
from portdraw.plan.load_case import declared_w, signature_class
from portdraw.plan.ports import sort_key
from portdraw.plan.site import Port, Site, Unit

_FIELDS = ("typical_w", "night_w", "frost_night_w", "startup_w", "max_w")


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
        f"({class_watts_at_pd(granted):g} W at the PD input): {most}."
    )


def _above(site: Site, port: Port, allowed: int | tuple[int, int], *, cut: bool) -> str | None:
    """Say which watts of a device are more than its class allows, all of them in one sentence."""
    if port.device is None:
        return None
    limit_w = class_watts_at_pd(allowed)
    watts = {field: declared_w(site, port, field) for field in _FIELDS}
    over = [f"{field} {found:g} W" for field, found in watts.items() if found is not None and found > limit_w]
    if not over:
        return None
    figures = over[0] if len(over) == 1 else f"{', '.join(over[:-1])} and {over[-1]}"
    grant = ", which is all the port grants" if cut else ""
    verb = "is" if len(over) == 1 else "are"
    return f"{figures} {verb} above the {limit_w:g} W that class {_said(allowed)} allows{grant}."


def _said(device_class: int | tuple[int, int]) -> str:
    return "+".join(map(str, device_class)) if isinstance(device_class, tuple) else str(device_class)
