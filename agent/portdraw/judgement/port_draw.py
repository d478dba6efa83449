"""One port: what it draws by the best reading there is, beside what the plan gives it. Watts at the PSE output."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from portdraw.judgement.assessment import PortAssessment
from portdraw.observation.record import Basis, PortState, Quantity, Record
from portdraw.observation.unit_observation import UnitObservation
from portdraw.plan.class_grant import SignatureClasses
from portdraw.plan.load_case import signature_class
from portdraw.plan.site import Port, Site
from portdraw.powerflow.port_link import class_pse_w, granted_class, port_link

TOTAL_ONLY = "this unit tells only its total"
HARDWARE_MOST_W = 99.9  # IEEE 802.3-2022, Table 145-16: no port delivers more
TWO_PAIR_MOST_W = 40.0  # a port of classes up to 4: 30 W at the port with room for inrush and error; common practice
READING_ERROR = 1.05  # readings err by some percent: common practice
ABOVE_SUPPLY = 1.1  # a port or a sum above the supply by more than this is a wrong unit; common practice
TWO_PAIR_CLASS_MAX = 4  # IEEE 802.3: classes 5 to 8 need four pairs

_NOT_DELIVERING = (PortState.DISABLED, PortState.SEARCHING, PortState.FAULT, PortState.OTHER_FAULT)


@dataclass(frozen=True)
class PortPlan:
    """What the plan gives a port [W at the PSE output]; None where it can't be worked out."""

    now_w: float | None
    max_w: float | None


@dataclass(frozen=True)
class PortFacts:
    """What the plan says of a port, whatever is read. `granted`: the declared class, as its unit can grant it."""

    port: Port | None
    label: str
    hangs: str
    kind: str
    feeds_unit: str | None
    granted: SignatureClasses | None

    @property
    def planned(self) -> bool:
        """Say whether the site file names something on the port."""
        return bool(self.hangs)


def port_facts(site: Site, unit: str, key: str) -> PortFacts:
    """Return what the plan says of a port; nothing of one that it does not know."""
    port = site.units[unit].ports.get(key)
    if port is None:
        return PortFacts(None, "", "", "", None, None)
    wanted = signature_class(site, port)
    granted = None if wanted is None else granted_class(site.units[unit], wanted)
    return PortFacts(port, port.label or "", port.hangs or "", port.type or "", port.feeds_unit, granted)


@dataclass(frozen=True, slots=True)
class PortEstimated:
    """A port's watts [W at the PSE output] where its unit tells only its total, give or take `off_w`."""

    draw_w: float
    off_w: float
    basis: Basis
    source: str
    read_s: float


@dataclass(frozen=True)
class _Watts:
    draw_w: float | None
    basis: Basis | None
    source: str
    read_s: float | None
    missing: str | None
    off_w: float | None = None


def assess_port(
    site: Site,
    unit: str,
    key: str,
    plan: PortPlan,
    observation: UnitObservation | None,
    oldest_s: float,
    facts: PortFacts | None = None,
    estimated: PortEstimated | None = None,
) -> PortAssessment:
    """Return one port, from a fresh answer of its unit (None: there is none).

    Records read before `oldest_s` [s since the epoch] are stale, and stale is unknown. `facts` saves asking the plan
    anew; `estimated` is what the unit's total tells of the port.
    """
    facts = facts or port_facts(site, unit, key)
    state = port_state(observation, key, oldest_s)
    watts = _best_watts(site, unit, key, facts.port, observation, state, oldest_s, estimated)
    device_class = _class_now(observation, key, state)
    count = None if observation is None else observation.number(key, Quantity.PORT_DENIED)
    return PortAssessment(
        unit=unit,
        port=key,
        label=facts.label,
        hangs=facts.hangs,
        kind=facts.kind,
        feeds_unit=facts.feeds_unit,
        planned=facts.planned,
        planned_now_w=plan.now_w,
        planned_max_w=plan.max_w,
        class_limit_w=_limit_now_w(site, unit, key, facts.granted, device_class, observation),
        device_class=device_class,
        state=state,
        draw_w=watts.draw_w,
        uncertainty_w=watts.off_w,
        basis=watts.basis,
        source=watts.source,
        read_s=watts.read_s,
        missing=watts.missing,
        denied_count=None if count is None else int(count),
        neighbour=None if observation is None else observation.text(key, Quantity.PORT_NEIGHBOUR),
    )


def port_state(observation: UnitObservation | None, key: str, oldest_s: float) -> PortState | None:
    """Return a port's state as its unit last told it, None where that is missing, stale or no state we know."""
    record = None if observation is None else observation.get(key, Quantity.PORT_STATE)
    if record is None or record.value is None or record.read_s < oldest_s:
        return None
    if isinstance(record.value, PortState):
        return record.value
    try:
        return PortState(str(record.value))
    except ValueError:
        return None


def class_limit_w(site: Site, unit: str, port: Port | None, device_class: int | None) -> float | None:
    """Return the watts [W at the PSE output] that the class on a port allows, None where no class is known.

    The class that the unit reports counts; its class 4 may mean "4 or above" (RFC 3621), the declared one then says
    which. Without a reported class the declared one counts, as far as the unit's ports can grant it.
    """
    wanted = None if port is None else signature_class(site, port)
    return _limit_w(None if wanted is None else granted_class(site.units[unit], wanted), device_class)


def _limit_now_w(
    site: Site,
    unit: str,
    key: str,
    declared: SignatureClasses | None,
    device_class: int | None,
    observation: UnitObservation | None,
) -> float | None:
    """Return the class limit [W]; a told class 4 is 4 or above: as declared, by the LLDP extension, by the port."""
    above = device_class == 4 and observation is not None
    if not above or observation is None or isinstance(declared, tuple) or (declared is not None and declared > 4):
        return _limit_w(declared, device_class)
    extended = observation.text(key, Quantity.PORT_CLASS_EXTENDED)
    if extended is not None:
        parts = [int(part) for part in extended.split("+") if part.isdecimal()]
        if len(parts) == 1:
            return _limit_w(None, max(parts[0], 4))
        if len(parts) == 2:
            return class_pse_w((parts[0], parts[1]))
    pse = site.units[unit].pse
    if declared is None and pse is not None and pse.class_max > TWO_PAIR_CLASS_MAX:
        return class_pse_w(pse.class_max)
    return _limit_w(declared, device_class)


@lru_cache(maxsize=1024)
def _limit_w(declared: SignatureClasses | None, device_class: int | None) -> float | None:
    if isinstance(declared, tuple):
        return class_pse_w(declared)
    if device_class is None:
        return None if declared is None else class_pse_w(declared)
    if device_class == 4 and declared is not None and declared > 4:
        return class_pse_w(declared)
    return class_pse_w(device_class) if 0 <= device_class <= 8 else None


def _best_watts(
    site: Site,
    unit: str,
    key: str,
    port: Port | None,
    observation: UnitObservation | None,
    state: PortState | None,
    oldest_s: float,
    estimated: PortEstimated | None,
) -> _Watts:
    """Return the best watts: measured, learned, estimated, granted. A port that delivers nothing draws 0 W."""
    if observation is None:
        return _Watts(None, None, "", None, "no fresh reading of the unit")
    if state in _NOT_DELIVERING:
        record = observation.index[key, Quantity.PORT_STATE]
        return _Watts(0.0, Basis.MEASURED, f"{record.source}: {state.value}", record.read_s, None)
    why = ""
    record_or_none = observation.get(key, Quantity.PORT_DRAW)
    if record_or_none is not None:
        watts_w, why = _usable(record_or_none, oldest_s)
        if watts_w is not None:
            watts_w, why = _possible(site, unit, observation, key, watts_w)
        if watts_w is not None:
            return _Watts(watts_w, record_or_none.basis, record_or_none.source, record_or_none.read_s, None)
    if estimated is not None:
        one = estimated
        return _Watts(one.draw_w, one.basis, one.source, one.read_s, None, one.off_w)
    granted = observation.get(key, Quantity.PORT_GRANTED)
    if granted is not None and port is not None and state is PortState.DELIVERING:
        pd_w, _ = _usable(granted, oldest_s=-math.inf)  # an allocation holds until it is changed
        pse_w = None if pd_w is None else port_link(site, unit, key).carry(pd_w).pse_w
        if pse_w is not None:
            return _Watts(pse_w, Basis.GRANTED, granted.source, granted.read_s, None)
    if why:
        return _Watts(None, None, "", None, why)
    if observation.number(None, Quantity.UNIT_DRAW) is not None and not tells_ports(observation):
        return _Watts(None, None, "", None, TOTAL_ONLY)
    return _Watts(None, None, "", None, "the unit does not tell the watts of this port")


def _usable(record: Record, oldest_s: float) -> tuple[float | None, str]:
    """Return watts that can be believed, or None and why they can't."""
    watts_w = record.number()
    if watts_w is None:
        return None, record.missing or "the unit gave no number"
    if record.read_s < oldest_s:
        return None, "its last reading is too old"
    if not math.isfinite(watts_w) or watts_w < 0:
        return None, f"refused as impossible: {watts_w:g} W"
    if watts_w > HARDWARE_MOST_W * READING_ERROR:
        return None, f"refused as impossible: {watts_w:g} W is more than any port can deliver"
    return watts_w, ""


def _possible(
    site: Site, unit: str, observation: UnitObservation, key: str, watts_w: float
) -> tuple[float | None, str]:
    """Return watts that the port's hardware and the unit's supply can give, or None and why they can't.

    More than its class allows a port may well draw: that is a finding, and the watts stand.
    """
    pse = site.units[unit].pse
    most_w = hardware_most_w(site, unit)
    extended = observation.number(key, Quantity.PORT_CLASS_EXTENDED)
    if pse is not None and pse.port_limit_w is None and extended is not None and extended > TWO_PAIR_CLASS_MAX:
        most_w = HARDWARE_MOST_W
    if watts_w > most_w * READING_ERROR:
        said = "its declared limit is" if pse is not None and pse.port_limit_w is not None else "two pairs deliver"
        return None, f"refused as impossible: {watts_w:g} W, and {said} {most_w:g} W at most"
    by_supply_w = supply_w(site, unit, observation)
    if by_supply_w and watts_w > by_supply_w * ABOVE_SUPPLY:
        return None, f"refused as impossible: {watts_w:g} W, and the unit's supply gives {by_supply_w:g} W"
    return watts_w, ""


def hardware_most_w(site: Site, unit: str) -> float:
    """Return what a port of a unit can deliver [W at the PSE output]: declared, else by two or four pairs."""
    pse = site.units[unit].pse
    if pse is None:
        return HARDWARE_MOST_W
    if pse.port_limit_w is not None:
        return pse.port_limit_w
    return TWO_PAIR_MOST_W if pse.class_max <= TWO_PAIR_CLASS_MAX else HARDWARE_MOST_W


def supply_w(site: Site, unit: str, observation: UnitObservation) -> float | None:
    """Return what a unit's supply gives its ports [W]: as the unit says, else as declared; None: not known."""
    told_w = observation.number(None, Quantity.UNIT_BUDGET)
    if told_w:
        return told_w
    pse = site.units[unit].pse
    return None if pse is None else pse.budget_w


def tells_ports(observation: UnitObservation) -> bool:
    """Say whether a unit tells the watts of any of its ports."""
    return any(record.quantity is Quantity.PORT_DRAW and record.value is not None for record in observation.records)


def _class_now(observation: UnitObservation | None, key: str, state: PortState | None) -> int | None:
    """Return the reported class. It means something only while the port delivers (RFC 3621, on the class column)."""
    if observation is None or state is not PortState.DELIVERING:
        return None
    number = observation.number(key, Quantity.PORT_CLASS)
    return None if number is None else int(number)
