"""Decodes the LLDP TLVs that speak of power, from the octets that an agent stored without understanding them.

IEEE 802.3 Power via MDI (OUI 00-12-0F, subtype 2): 3 octets behind the subtype in 2005, 8 since IEEE 802.3at, 25
since IEEE 802.3bt. Measurements (subtype 8): 22 octets. Fields by IEEE 802.3bt-2018 79.3.2 and 79.3.8, as two open
programs that build and show such TLVs cite them; the standard itself was not at hand. Watts are at the PD input.
A field that says "ignore", or lies outside what the standard allows, is None.
"""

from __future__ import annotations

from dataclasses import dataclass

from portdraw.observation.record import PowerSource

IEEE_8023 = bytes.fromhex("00120f")
POWER_VIA_MDI = 2
MEASUREMENTS = 8
MOST_PD_TENTHS = 999  # 99.9 W: IEEE 802.3bt-2018, 79.3.2.5 and 79.3.2.6
MOST_MODE_TENTHS = 499  # 49.9 W: IEEE 802.3bt-2018, 79.3.2.6a and b

# two bits, from a device; 2 is reserved in IEEE 802.3 and sent as "local" by some devices
_SOURCE = {
    0: PowerSource.UNKNOWN,
    1: PowerSource.PSE,
    2: PowerSource.LOCAL,
    3: PowerSource.BOTH,
}
_PSE_SOURCE = {0: "unknown", 1: "primary", 2: "backup", 3: "unknown"}
_PRIORITY = {0: "unknown", 1: "critical", 2: "high", 3: "low"}
_TYPE = {0: "type 2 PSE", 1: "type 2 PD", 2: "type 1 PSE", 3: "type 1 PD"}
_TYPE_EXTENDED = {
    0: "type 3 PSE",
    1: "type 4 PSE",
    2: "type 3 PD",
    3: "type 3 dual-signature PD",
    4: "type 4 PD",
    5: "type 4 dual-signature PD",
}
_PSE_POWERING = {1: "2 pairs", 2: "4 pairs, single-signature", 3: "4 pairs, dual-signature"}
_PD_POWERED = {1: "single-signature", 2: "2 pairs, dual-signature", 3: "4 pairs, dual-signature"}
_PAIRS = {1: "alternative B", 2: "alternative A", 3: "both alternatives"}
_MEASURED_AT = {1: "mode A", 2: "mode B", 3: "port total"}
_POWER_DOWN = 0x1D


class NotATlvError(ValueError):
    """The octets are no TLV of this kind; `str()` says why in one sentence."""


@dataclass(frozen=True, slots=True)
class DualSignature:
    """What IEEE 802.3bt adds for a device with two signatures: mode A first, mode B second. Watts at the PD input."""

    requested_w: tuple[float | None, float | None]
    allocated_w: tuple[float | None, float | None]
    device_class: tuple[int | None, int | None]


@dataclass(frozen=True, slots=True)
class Extension:
    """The fields of IEEE 802.3bt. `device_class` is exact, 1 to 8; None of a dual-signature device."""

    device_class: int | None
    is_dual: bool
    dual: DualSignature
    type: str | None
    pse_powering: str | None
    pd_powered: str | None
    pairs: str | None
    is_isolated_load: bool
    most_available_w: float | None
    autoclass_supported: bool
    autoclass_completed: bool
    autoclass_requested: bool
    power_down_s: int | None


@dataclass(frozen=True, slots=True)
class PowerViaMdi:
    """One Power via MDI TLV. `is_pse` is the role of the sender; `source` is None from a PSE, `pse_source` from a PD.

    `power_class` 4 means "4 or above". What the TLV of 2005 lacks is None.
    """

    is_pse: bool
    is_supported: bool
    is_enabled: bool
    power_class: int | None
    type: str | None = None
    source: PowerSource | None = None
    pse_source: str | None = None
    priority: str | None = None
    requested_w: float | None = None
    allocated_w: float | None = None
    extension: Extension | None = None


@dataclass(frozen=True, slots=True)
class Quantified:
    """A measured number and by how much it may be off, in the same unit."""

    value: float
    uncertainty: float


@dataclass(frozen=True, slots=True)
class Measurements:
    """One Power via MDI Measurements TLV, as its sender measured at its own end; None where it says "not valid"."""

    measured_at: str | None
    voltage_v: Quantified | None
    current_a: Quantified | None
    power_w: Quantified | None
    energy_j: Quantified | None


def split_tlv(octets: bytes) -> tuple[bytes, int, bytes]:
    """Return OUI, subtype and information of a whole organisational TLV, header included. Raises NotATlvError."""
    if len(octets) < 6 or octets[0] >> 1 != 127:
        raise NotATlvError("these octets are no organisational TLV")
    length = (octets[0] & 1) << 8 | octets[1]
    if length != len(octets) - 2:
        raise NotATlvError(f"the TLV says {length} octets and has {len(octets) - 2}")
    return octets[2:5], octets[5], octets[6:]


def power_via_mdi(info: bytes) -> PowerViaMdi:
    """Return a Power via MDI TLV from what follows OUI and subtype. Raises NotATlvError."""
    if len(info) not in (3, 8, 25):
        raise NotATlvError(f"a Power via MDI TLV has 3, 8 or 25 octets here, this one has {len(info)}")
    support, short_class = info[0], info[2]
    is_pse = bool(support & 1)
    power_class = short_class - 1 if 1 <= short_class <= 5 else None
    is_supported, is_enabled = bool(support & 2), bool(support & 4)
    if len(info) == 3:
        return PowerViaMdi(is_pse, is_supported, is_enabled, power_class)
    kind = info[3] >> 6
    if bool(kind & 1) == is_pse:
        raise NotATlvError("the TLV says that its sender feeds and, in another field, that it is fed")
    source = info[3] >> 4 & 3
    return PowerViaMdi(
        is_pse,
        is_supported,
        is_enabled,
        power_class,
        type=_TYPE[kind],
        source=None if is_pse else _SOURCE[source],
        pse_source=_PSE_SOURCE[source] if is_pse else None,
        priority=_PRIORITY[info[3] & 3],
        requested_w=_watts(info, 4),
        allocated_w=_watts(info, 6),
        extension=_extension(info) if len(info) == 25 else None,
    )


def measurements(info: bytes) -> Measurements:
    """Return a Measurements TLV (V, A, W, J) from what follows OUI and subtype. Raises NotATlvError."""
    if len(info) != 22:
        raise NotATlvError(f"a Measurements TLV has 22 octets here, this one has {len(info)}")
    valid = info[1] & 0x0F

    def told(bit: int, uncertainty_at: int, at: int, size: int, scale: float) -> Quantified | None:
        if not valid >> bit & 1:
            return None
        off = int.from_bytes(info[uncertainty_at : uncertainty_at + 2], "big")
        return Quantified(round(int.from_bytes(info[at : at + size], "big") * scale, 6), round(off * scale, 6))

    return Measurements(
        measured_at=_MEASURED_AT.get(info[0] & 0x0F),
        voltage_v=told(3, 2, 10, 2, 0.001),
        current_a=told(2, 4, 12, 2, 0.0001),
        power_w=told(1, 6, 14, 2, 0.01),
        energy_j=told(0, 8, 16, 4, 100),
    )


def _extension(info: bytes) -> Extension:
    states, classes = info[16], info[17]
    # two bits each of powering, powered and pairs, three of class in mode A and in mode B, four of the whole class
    bits = states << 8 | classes
    whole = bits & 0x0F
    type_and_load = info[18]
    down = int.from_bytes(info[22:25], "big")
    return Extension(
        device_class=whole if 1 <= whole <= 8 else None,
        is_dual=whole == 15,
        dual=DualSignature(
            requested_w=(_watts(info, 8, MOST_MODE_TENTHS), _watts(info, 10, MOST_MODE_TENTHS)),
            allocated_w=(_watts(info, 12, MOST_MODE_TENTHS), _watts(info, 14, MOST_MODE_TENTHS)),
            device_class=(_mode_class(bits >> 7 & 7), _mode_class(bits >> 4 & 7)),
        ),
        type=_TYPE_EXTENDED.get(type_and_load >> 1 & 7),
        pse_powering=_PSE_POWERING.get(bits >> 14),
        pd_powered=_PD_POWERED.get(bits >> 12 & 3),
        pairs=_PAIRS.get(bits >> 10 & 3),
        is_isolated_load=bool(type_and_load & 1),
        most_available_w=_watts(info, 19),
        autoclass_supported=bool(info[21] & 4),
        autoclass_completed=bool(info[21] & 2),
        autoclass_requested=bool(info[21] & 1),
        power_down_s=down & 0x3FFFF if down >> 18 == _POWER_DOWN else None,
    )


def _watts(info: bytes, at: int, most_tenths: int = MOST_PD_TENTHS) -> float | None:
    """Return tenths of a watt in watts, None for 0 and for what the standard does not allow."""
    tenths = int.from_bytes(info[at : at + 2], "big")
    return tenths / 10 if 0 < tenths <= most_tenths else None


def _mode_class(bits: int) -> int | None:
    return bits if 1 <= bits <= 5 else None
