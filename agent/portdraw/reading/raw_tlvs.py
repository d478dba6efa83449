"""Records from organisational TLVs that an agent stored as they came: what a neighbour on a port says about power.

What the agent understood by itself comes first; these fill what it left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from portdraw.observation.record import Basis, Quantity, Record
from portdraw.reading.power_tlv import (
    IEEE_8023,
    MEASUREMENTS,
    POWER_VIA_MDI,
    NotATlvError,
    PowerViaMdi,
    measurements,
    power_via_mdi,
)
from portdraw.reading.varbind import Oid, Varbind

_BEHIND = 5  # OUI in three numbers, subtype, count: the end of the index of lldpRemOrgDefInfoTable


@dataclass(frozen=True, slots=True)
class _Said:
    quantity: Quantity
    value: float | int | str | None
    unit: str = ""
    basis: Basis | None = None


def power_rows(rows: Mapping[Oid, Varbind]) -> dict[Oid, Varbind]:
    """Return the rows whose TLV is about power."""
    return {index: varbind for index, varbind in rows.items() if _subtype(index) in (POWER_VIA_MDI, MEASUREMENTS)}


def records_of(port: str, index: Oid, varbind: Varbind, source: str, read_s: float) -> Iterator[Record]:
    """Return what the TLV of one row tells of the device on a port; of a neighbour that feeds it tells nothing.

    A TLV that is none tells nothing either, but that its sender's power source is not known, and why.
    """
    octets = varbind.value if isinstance(varbind.value, bytes) else b""
    try:
        if _subtype(index) == MEASUREMENTS:
            said, title = list(_measured(octets)), "Measurements TLV"
        else:
            said, title = list(_via_mdi(power_via_mdi(octets))), "Power via MDI TLV"
    except NotATlvError as error:
        yield Record(port, Quantity.PORT_PD_SOURCE, None, "", None, source, read_s, str(error))
        return
    for one in said:
        if one.value is not None:
            yield Record(port, one.quantity, one.value, one.unit, one.basis, f"{source}, {title}", read_s)


def _via_mdi(tlv: PowerViaMdi) -> Iterable[_Said]:
    if tlv.is_pse:
        return
    yield _Said(Quantity.PORT_PD_SOURCE, tlv.source)
    yield _Said(Quantity.PORT_CLASS_LLDP, tlv.power_class)
    yield _Said(Quantity.PORT_PD_PRIORITY, tlv.priority)
    extension = tlv.extension
    requested_w, granted_w, kind = tlv.requested_w, tlv.allocated_w, tlv.type
    if extension is not None:
        kind = extension.type or kind
        if extension.is_dual:
            modes = extension.dual.device_class
            yield _Said(Quantity.PORT_CLASS_EXTENDED, f"{modes[0]}+{modes[1]}" if None not in modes else None)
            requested_w = requested_w or _sum(extension.dual.requested_w)
            granted_w = granted_w or _sum(extension.dual.allocated_w)
        else:
            yield _Said(Quantity.PORT_CLASS_EXTENDED, extension.device_class)
    yield _Said(Quantity.PORT_PD_TYPE, kind)
    yield _Said(Quantity.PORT_REQUESTED, requested_w, "W", Basis.CEILING)
    yield _Said(Quantity.PORT_GRANTED, granted_w, "W", Basis.GRANTED)


def _measured(octets: bytes) -> Iterable[_Said]:
    """Of one mode of two the watts are not the port's."""
    told = measurements(octets)
    if told.measured_at != "port total":
        return
    for quantity, one, unit, basis in (
        (Quantity.PORT_PD_DRAW, told.power_w, "W", Basis.MEASURED),
        (Quantity.PORT_PD_VOLTAGE, told.voltage_v, "V", None),
        (Quantity.PORT_PD_CURRENT, told.current_a, "A", None),
    ):
        if one is not None:
            yield _Said(quantity, one.value, unit, basis)


def _sum(modes_w: tuple[float | None, float | None]) -> float | None:
    a_w, b_w = modes_w
    return None if a_w is None or b_w is None else round(a_w + b_w, 1)


def _subtype(index: Oid) -> int | None:
    """Return the subtype where the TLV is one of IEEE 802.3."""
    if len(index) < 3 + _BEHIND or index[-_BEHIND:-2] != tuple(IEEE_8023):
        return None
    return index[-2]
