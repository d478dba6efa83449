"""One port and its cable: volts at both ends, watts at both ends, and why a load cannot be powered."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from portdraw.electrical.cable import (
    OperatingPoint,
    PortLimits,
    Refusal,
    loop_ohm,
    operating_point,
    point_from_port,
    refusal,
)
from portdraw.electrical.class_table import DUAL_CLASSES, SINGLE_CLASSES
from portdraw.electrical.conductor_table import UNDECLARED_AMBIENT_C, UNDECLARED_RISE_K
from portdraw.electrical.type_table import PSE_TYPES, PseType
from portdraw.plan.class_grant import SignatureClasses, granted_of
from portdraw.plan.load_case import declared_w, signature_class
from portdraw.plan.site import Cable, Port, Site, Unit
from portdraw.plan.site_itself import SiteItself

PortId = tuple[str, str]  # (unit, printed port number)
_COLDEST_C = -40.0  # common practice: the coldest that outdoor cable is rated for
UNDECLARED_CLASS = 0  # the smallest grant that an unknown device or feed may end with
MOST_KEPT = 4096  # links: all feeds of a site of thousands of units, and a device's while its cases are worked out


@dataclass(frozen=True)
class PortPower:
    """Watts and volts of one port. `pd_w`, `pd_v` at the device, `pse_w` at the PSE output.

    All but `pd_w` are None where the load has no operating point. `reason` says why the load cannot be
    powered, or why nothing can be computed; the figures beside it then are what it would need. `refusal` is the
    kind of reason, where the standard's limits are the reason.
    """

    pd_w: float | None
    pse_w: float | None
    loss_w: float | None
    pd_v: float | None
    reason: str | None = None
    assumed: tuple[str, ...] = ()
    refusal: Refusal | None = None


@dataclass(frozen=True)
class PortLink:
    """A port's voltage and the run to what hangs on it.

    `pairset_ohm` has one entry for a load that takes its watts as one, two for a dual-signature device whose
    pairsets carry `shares` of the load each.
    """

    name: str
    source_v: float
    pairset_ohm: tuple[float, ...]
    shares: tuple[float, ...]
    limits: PortLimits
    assumed: tuple[str, ...]

    def at_voltage(self, source_v: float) -> PortLink:
        """The same run from another voltage at the port [V]."""
        return replace(self, source_v=source_v)

    def carry(self, pd_w: float) -> PortPower:
        """What a device of `pd_w` [W at its input] asks of the port."""
        points = [
            operating_point(pd_w * share, self.source_v, ohm)
            for share, ohm in zip(self.shares, self.pairset_ohm, strict=True)
        ]
        return self._power(pd_w, points)

    def from_port(self, pse_w: float) -> PortPower:
        """What reaches the device when the port gives `pse_w` [W at the PSE output]."""
        points = [
            point_from_port(pse_w * share, self.source_v, ohm)
            for share, ohm in zip(self.shares, self.pairset_ohm, strict=True)
        ]
        return self._power(None, points)

    def _power(self, pd_w: float | None, points: list[OperatingPoint | None]) -> PortPower:
        solved = [point for point in points if point is not None]
        if len(solved) < len(points):
            why = f"{self.name}: {Refusal.NO_OPERATING_POINT.value}"
            return PortPower(pd_w, None, None, None, why, self.assumed, Refusal.NO_OPERATING_POINT)
        one_signature = len(solved) == 1
        whole = OperatingPoint(
            source_v=self.source_v,
            loop_ohm=self.pairset_ohm[0] if one_signature else self.pairset_ohm[0] / 2,
            pd_w=sum(point.pd_w for point in solved),
            pd_v=min(point.pd_v for point in solved),
            # two pairsets of their own: each carries its own current, which the limit holds one by one
            current_a=max(point.current_a for point in solved),
            loss_w=sum(point.loss_w for point in solved),
            pse_w=sum(point.pse_w for point in solved),
        )
        limits = self.limits if one_signature else replace(self.limits, pairs=2)
        refused = refusal(whole, limits)
        return PortPower(
            whole.pd_w if pd_w is None else pd_w,
            whole.pse_w,
            whole.loss_w,
            whole.pd_v,
            None if refused is None else _sentence(self.name, refused, whole, limits),
            self.assumed,
            refused,
        )


def port_link(site: Site, unit: str, port_key: str, *, kinder: bool = False) -> PortLink:
    """Build the link of a port of the plan from what the site file declares.

    What is not declared is taken to the worse side and named in `assumed`: conductors as copper-clad, 45 C with
    15 K of rise, no cable as the standard's longest channel, no voltage as the least that the port's type may have.
    `kinder` takes it to the other side, so that the truth lies between: cold copper, no run at all, the highest
    voltage, no class to hold to.
    """
    if kinder:
        return _kinder_link(site, unit, port_key)
    return _link(SiteItself(site), unit, port_key)


@lru_cache(maxsize=MOST_KEPT)
def _link(of: SiteItself, unit: str, port_key: str) -> PortLink:
    site = of.site
    owner = site.units[unit]
    port = owner.ports[port_key]
    name = f"{unit} port {port_key}"
    assumed: list[str] = []
    pse_type = _pse_type(owner)
    source_v = owner.pse.voltage_v if owner.pse is not None else None
    if source_v is None:
        source_v = pse_type.pse_min_v
        assumed.append(
            f"{unit}: voltage_v is not declared, {source_v:g} V counted (IEEE 802.3, Type {pse_type.number})"
        )
    if owner.pse is not None and "class_max" not in owner.pse.model_fields_set:
        assumed.append(f"{unit}: class_max is not declared, {owner.pse.class_max} counted")
    found = signature_class(site, port)
    if found is None:
        assumed.append(f"{name}: class is not declared, class {UNDECLARED_CLASS} counted")
        found = UNDECLARED_CLASS
    pairs = _pairs(port, found)
    two_pair_ohm = _two_pair_ohm(name, port.cable, pse_type, assumed)
    granted = granted_class(owner, found)
    limits = PortLimits(
        pd_min_v=declared_w(site, port, "min_v") or _class_min_v(found),
        pairset_max_a=pse_type.pairset_max_a,
        pairs=pairs,
        class_pse_w=class_pse_w(granted),
    )
    if isinstance(found, tuple):
        watts = [DUAL_CLASSES[one].pd_w for one in found]
        shares = tuple(one / sum(watts) for one in watts)
        return PortLink(name, source_v, (two_pair_ohm, two_pair_ohm), shares, limits, tuple(assumed))
    run_ohm = two_pair_ohm if pairs == 2 else two_pair_ohm / 2
    return PortLink(name, source_v, (run_ohm,), (1.0,), limits, tuple(assumed))


def _kinder_link(site: Site, unit: str, port_key: str) -> PortLink:
    worse = port_link(site, unit, port_key)
    owner = site.units[unit]
    port = owner.ports[port_key]
    found = signature_class(site, port)
    declared_v = owner.pse.voltage_v if owner.pse is not None else None
    source_v = PSE_TYPES[4].pse_max_v if declared_v is None else declared_v
    limits = worse.limits
    pairs = limits.pairs
    if found is None:
        pairs = 4 if port.cable is None or port.cable.pairs is None else port.cable.pairs
        min_v = declared_w(site, port, "min_v")
        lowest_v = min(row.pd_min_v for row in SINGLE_CLASSES.values())
        most_a = max(row.pairset_max_a for row in PSE_TYPES.values())
        limits = PortLimits(lowest_v if min_v is None else min_v, most_a, pairs, None)
    cable = port.cable
    two_pair_ohm = 0.0
    if cable is not None:
        conductor_c = (_COLDEST_C if cable.ambient_c is None else cable.ambient_c) + (cable.rise_k or 0.0)
        two_pair_ohm = loop_ohm(
            cable.type,
            cable.length_m,
            2,
            conductor_c,
            connectors_ohm=cable.connectors_ohm,
            series_ohm=cable.series_ohm,
            copper=cable.conductor != "copper-clad",
        )
    run_ohm = two_pair_ohm if pairs == 2 else two_pair_ohm / 2
    ohms = (run_ohm,) if len(worse.pairset_ohm) == 1 else (two_pair_ohm, two_pair_ohm)
    return replace(worse, source_v=source_v, pairset_ohm=ohms, limits=limits)


def granted_class(owner: Unit, wanted: SignatureClasses) -> SignatureClasses:
    """The class that a unit's port can grant to a device that asks for `wanted`: never above `class_max`.

    Steps as IEEE 802.3 demotes: 8 or 7 to 6, 6 and 5 to 4, 4 to 3 (clause 145, from memory).
    """
    most = owner.pse.class_max if owner.pse is not None else 4
    granted = granted_of(wanted, most)
    if granted is not None:
        return granted
    # refused, as the plan's checks say: its watts count all the same, the worse side for every limit above it
    return wanted if isinstance(wanted, tuple) else min(wanted, 3)


def class_pse_w(device_class: SignatureClasses) -> float:
    """Watts at the PSE output that a class allows: clause 33 for classes 0 to 4, clause 145 from 5 and for pairs.

    Clause 145 has 6.7 and 14 W for classes 2 and 3; the larger figures are those that hold for ports of any type.
    """
    if isinstance(device_class, tuple):
        return sum(DUAL_CLASSES[one].pse_w for one in device_class)
    row = SINGLE_CLASSES[device_class]
    watts = row.pse_w_clause_33 if row.pse_w_clause_33 is not None else row.pse_w_clause_145
    assert watts is not None, "every class has watts in one of the clauses"
    return watts


def _class_min_v(device_class: SignatureClasses) -> float:
    if isinstance(device_class, tuple):
        return max(DUAL_CLASSES[one].pd_min_v for one in device_class)
    return SINGLE_CLASSES[device_class].pd_min_v


def _pse_type(owner: Unit) -> PseType:
    most = owner.pse.class_max if owner.pse is not None else 4
    return next(row for row in PSE_TYPES.values() if most <= row.class_max)


def _pairs(port: Port, device_class: SignatureClasses) -> int:
    if port.cable is not None and port.cable.pairs is not None:
        return port.cable.pairs
    if isinstance(device_class, tuple):
        return 4
    return SINGLE_CLASSES[device_class].pairs


def _two_pair_ohm(name: str, cable: Cable | None, pse_type: PseType, assumed: list[str]) -> float:
    if cable is None:
        assumed.append(f"{name}: cable is not declared, the longest channel of {pse_type.pairset_ohm:g} ohm counted")
        return pse_type.pairset_ohm
    if cable.conductor == "unknown":
        assumed.append(f"{name}: conductor is not declared, copper-clad counted")
    ambient_c, rise_k = cable.ambient_c, cable.rise_k
    if ambient_c is None:
        ambient_c = UNDECLARED_AMBIENT_C
        assumed.append(f"{name}: ambient_c is not declared, {ambient_c:g} C counted")
    if rise_k is None:
        rise_k = UNDECLARED_RISE_K
        assumed.append(f"{name}: rise_k is not declared, {rise_k:g} K counted")
    return loop_ohm(
        cable.type,
        cable.length_m,
        2,
        ambient_c + rise_k,
        connectors_ohm=cable.connectors_ohm,
        series_ohm=cable.series_ohm,
        copper=cable.conductor == "copper",
    )


def _sentence(name: str, refused: Refusal, point: OperatingPoint, limits: PortLimits) -> str:
    if refused is Refusal.VOLTAGE:
        return f"{name}: {point.pd_v:.1f} V at the device, below its minimum of {limits.pd_min_v:g} V"
    if refused is Refusal.PAIRSET_CURRENT:
        return (
            f"{name}: {point.current_a:.2f} A is more than its pairs may carry ({limits.pairset_max_a:g} A a pairset)"
        )
    return f"{name}: {point.pse_w:.1f} W at the port, above its class of {limits.class_pse_w or 0.0:g} W"
