"""Conditions of ports: above plan or class, device missing or unplanned, power denied. Watts at the PSE output."""

from __future__ import annotations

from portdraw.judgement.alarm import AlarmKind, Severity
from portdraw.judgement.alarm_rule import ALARM_RULES
from portdraw.judgement.assessment import PortAssessment, SiteAssessment, UnitAssessment
from portdraw.judgement.condition import Condition, Presence, unjudged
from portdraw.judgement.memory import STALE_AFTER_POLLS, Memory
from portdraw.judgement.wording import limit_text, place_text, port_text, watts_text
from portdraw.observation.record import Basis, PortState
from portdraw.plan.site import Port, Site

# Common practice: readings and declared watts both err by some percent, small ones by a step of the meter.
ABOVE_PLAN_PERCENT = 5.0
ABOVE_PLAN_W = 0.5
DENIED_SHOWN_S = 120.0  # common practice: how long after the last refusal a port still counts as refused

_CRITICALITY = {"critical": 1, "high": 2, "low": 3}
_SEVERITY = {1: Severity.URGENT, 2: Severity.WARNING, 3: Severity.NOTICE}
_DRAWN = (Basis.MEASURED, Basis.LEARNED)


def port_conditions(
    assessment: SiteAssessment, unit: UnitAssessment, site: Site, memory: Memory, every_s: float
) -> list[Condition]:
    """Return the conditions of all ports of a unit; `every_s` is the poll interval [s]."""
    shown_s = max(DENIED_SHOWN_S, STALE_AFTER_POLLS * every_s)
    found: list[Condition] = []
    for port in unit.ports:
        spec = site.units[unit.unit].ports.get(port.port)
        where = _Where(unit, port)
        refused = _denied(port, memory, where, assessment.time_s - shown_s)
        found += _above_plan(port, where)
        found += _above_class(port, where)
        found += _missing(unit, port, spec, refused=bool(refused))
        found += _unplanned(port, where)
        found += refused
    return found


def plan_tolerance_w(planned_max_w: float) -> float:
    """Return how far above plan [W] a draw may be: the greater of 5 % and 0.5 W. Common practice."""
    return max(ABOVE_PLAN_W, planned_max_w * ABOVE_PLAN_PERCENT / 100)


def criticality(port: Port) -> int:
    """Return 1 (highest) to 3: the device's own, else by the port's priority."""
    return port.criticality if port.criticality is not None else _CRITICALITY[port.priority]


class _Where:
    """Where a port is, put into words only where they are said: most ports have nothing to tell."""

    __slots__ = ("_port", "_unit")

    def __init__(self, unit: UnitAssessment, port: PortAssessment) -> None:
        self._unit, self._port = unit, port

    def __str__(self) -> str:
        unit, port = self._unit, self._port
        return f"{place_text(unit.unit, unit.place)} {port_text(port.port, port.label, port.hangs)}"


def _above_plan(port: PortAssessment, where: _Where) -> list[Condition]:
    kind = AlarmKind.PORT_ABOVE_PLAN
    if not port.planned or port.planned_max_w is None:
        return []
    if port.draw_w is None or port.basis not in _DRAWN:
        return [unjudged(kind, port.unit, port.port)]
    allowed_w = port.planned_max_w + plan_tolerance_w(port.planned_max_w)
    presence = _presence(_surely_w(port), allowed_w, kind)
    if presence is None:
        return []
    tail = (
        f": {watts_text(port.draw_w)} now, {watts_text(port.draw_w - port.planned_max_w)} above the largest "
        f"planned {watts_text(port.planned_max_w)}."
    )
    head = f"{where} has drawn more than its plan"
    return [_condition(kind, port, head, tail, presence, port.draw_w, port.planned_max_w)]


def _above_class(port: PortAssessment, where: _Where) -> list[Condition]:
    kind = AlarmKind.PORT_ABOVE_CLASS
    if port.class_limit_w is None:
        return []
    if port.draw_w is None or port.basis not in _DRAWN:
        return [unjudged(kind, port.unit, port.port)]
    presence = _presence(_surely_w(port), port.class_limit_w, kind)
    if presence is None:
        return []
    said = "its class" if port.device_class is None else f"its class {port.device_class}"
    tail = f": {watts_text(port.draw_w)} now, {said} allows {limit_text(port.class_limit_w)} at the port."
    head = f"{where} has drawn more than its class allows"
    return [_condition(kind, port, head, tail, presence, port.draw_w, port.class_limit_w)]


def _missing(unit: UnitAssessment, port: PortAssessment, spec: Port | None, *, refused: bool) -> list[Condition]:
    """A feed that delivers nothing is judged as a leg, not here."""
    kind = AlarmKind.DEVICE_MISSING
    if spec is None or spec.device is None or spec.off:
        return []
    if port.state is None or port.state is PortState.TEST:
        return [unjudged(kind, port.unit, port.port)]
    if port.state is PortState.DELIVERING:
        return []
    rank = criticality(spec)
    label = f", {port.label}" if port.label else ""
    head = f"{spec.device} ({place_text(unit.unit, unit.place)}, port {port.port}{label}) has had no power"
    because = "the switch refuses it" if refused else f"the port is {port.state.value}"
    # what is refused is told as refused: this alarm then begins nothing, and stays if it is up
    presence = Presence.DEAD_BAND if refused else Presence.PRESENT
    return [
        Condition(
            kind,
            port.unit,
            port.port,
            head=head,
            tail=f": {because}.",
            presence=presence,
            severity=_SEVERITY[rank],
            why_severity=f"criticality {rank} by the site file",
            consequence=f"What {spec.device} does is not being done.",
        )
    ]


def _unplanned(port: PortAssessment, where: _Where) -> list[Condition]:
    kind = AlarmKind.DEVICE_UNPLANNED
    if port.planned:
        return []
    if port.state is None:
        return [unjudged(kind, port.unit, port.port)]
    if port.state is not PortState.DELIVERING:
        return []
    drawn = "its watts are not told" if port.draw_w is None else f"it takes {watts_text(port.draw_w)}"
    named = f' It calls itself "{_tame(port.neighbour)}".' if port.neighbour else ""
    head = f"{where} feeds a device that is not in the site file,"
    return [_condition(kind, port, head, f": {drawn}.{named}", Presence.PRESENT, port.draw_w, None)]


def _denied(port: PortAssessment, memory: Memory, where: _Where, oldest_s: float) -> list[Condition]:
    kind = AlarmKind.POWER_DENIED
    known = memory.denied.get((port.unit, port.port))
    if known is None or known.rose_s is None or port.state is PortState.DELIVERING:
        return []
    if known.rose_s < oldest_s:
        return []
    times = "once" if known.rose_by == 1 else f"{known.rose_by} times"
    return [
        Condition(
            kind,
            port.unit,
            port.port,
            head=f"{where} has been refused power by its switch",
            tail=f": {times} at the last rise, {known.count} in all as the switch counts.",
            value=float(known.count),
            measure="count",
        )
    ]


def _condition(
    kind: AlarmKind,
    port: PortAssessment,
    head: str,
    tail: str,
    presence: Presence,
    value: float | None,
    limit: float | None,
) -> Condition:
    measure = "" if value is None else "W"
    return Condition(
        kind, port.unit, port.port, head, tail, presence=presence, value=value, limit=limit, measure=measure
    )


def _surely_w(port: PortAssessment) -> float:
    """Return the least [W] that a port surely draws: a learned draw less its uncertainty."""
    return (port.draw_w or 0.0) - (port.uncertainty_w or 0.0)


def _presence(draw_w: float, limit_w: float, kind: AlarmKind) -> Presence | None:
    if draw_w > limit_w:
        return Presence.PRESENT
    return Presence.DEAD_BAND if draw_w > ALARM_RULES[kind].clear_below_w(limit_w) else None


def _tame(text: str) -> str:
    """Return what a device calls itself, without control characters and cut: nobody vouches for it."""
    return "".join(char for char in text if char.isprintable())[:40]
