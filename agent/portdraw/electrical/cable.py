"""One cable: its resistance, and what a constant-power load at its far end asks of the port.

Formulas only; the figures are in `class_table`, `type_table` and `conductor_table`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from portdraw.electrical.class_table import TABLE_ROUNDING_W
from portdraw.electrical.conductor_table import (
    AWG_DIAMETER_MM,
    CABLE_TYPES,
    COPPER_CLAD_FACTOR,
    COPPER_OHM_MM2_PER_M,
    COPPER_PER_K,
    CORD_OHM_PER_100M,
    TWIST_FACTOR,
)
from portdraw.electrical.type_table import HEAVIER_PAIRSET_SHARE

_VOLT_STEP_V = 1e-6  # of arithmetic, not of physics: a limit met exactly is met
_CURRENT_STEP_A = 5e-4  # half of the last digit in which the standard prints currents


class Refusal(StrEnum):
    """Why a load cannot be powered, most fundamental first."""

    NO_OPERATING_POINT = "no operating point"
    VOLTAGE = "voltage below the device's minimum"
    PAIRSET_CURRENT = "pairset current"
    PORT_CLASS = "port class"


@dataclass(frozen=True)
class OperatingPoint:
    """A constant-power load at the end of a cable: watts and volts at both ends.

    `pd_w` and `pd_v` are at the device, `pse_w` and `source_v` at the port. `current_a` is the whole current.
    """

    source_v: float
    loop_ohm: float
    pd_w: float
    pd_v: float
    current_a: float
    loss_w: float
    pse_w: float


@dataclass(frozen=True)
class PortLimits:
    """What a powered load must respect. `class_pse_w` None: no class is known, so none is checked."""

    pd_min_v: float
    pairset_max_a: float
    pairs: int
    class_pse_w: float | None


def conductor_ohm_per_100m(cable_type: str, *, ceiling: bool = True) -> float:
    """Resistance of 100 m of one copper conductor at 20 C [ohm].

    A category gives the most that it allows (`ceiling`, for verdicts) or that of its usual wire (for the
    suspicion of a bad cable). A wire gauge ("awg24") gives solid annealed copper, as a ceiling with the
    twist's extra length. ASTM B258, IEC 60028. Raises KeyError for a cable type that no table has.
    """
    row = CABLE_TYPES.get(cable_type)
    if row is not None and ceiling:
        return row.ceiling_ohm_per_100m
    gauge = row.typical_awg if row is not None else int(cable_type.removeprefix("awg"))
    area_mm2 = math.pi / 4 * AWG_DIAMETER_MM[gauge] ** 2
    solid_ohm = COPPER_OHM_MM2_PER_M / area_mm2 * 100
    return solid_ohm * TWIST_FACTOR if ceiling else solid_ohm


def temperature_factor(conductor_c: float) -> float:
    """Copper's resistance at a temperature [C] against that at 20 C. IEC 60028; linear, for -60 to 120 C."""
    return 1 + COPPER_PER_K * (conductor_c - 20)


def loop_ohm(
    cable_type: str,
    length_m: float,
    pairs: int,
    conductor_c: float,
    *,
    connectors_ohm: float = 0.2,
    series_ohm: float = 0.0,
    copper: bool = True,
    cord_m: float = 0.0,
    ceiling: bool = True,
) -> float:
    """Resistance of a run from port to device and back [ohm], over two or four pairs.

    `length_m` is without cords, `cord_m` the cords of both ends [m]. `connectors_ohm` and `series_ohm` are for
    the two-pair loop, at their own temperature; everything halves in four pairs. `copper` False is
    copper-clad aluminium. Zero length leaves the connectors. Raises ValueError for a negative length or resistance
    and for pairs other than 2 and 4.
    """
    if pairs not in (2, 4):
        raise ValueError(f"power runs over 2 or 4 pairs, not {pairs}")
    if min(length_m, cord_m, connectors_ohm, series_ohm) < 0:
        raise ValueError("a length or a resistance is negative")
    wire_ohm = conductor_ohm_per_100m(cable_type, ceiling=ceiling) * length_m / 100
    wire_ohm += CORD_OHM_PER_100M * cord_m / 100
    wire_ohm *= temperature_factor(conductor_c) * (1.0 if copper else COPPER_CLAD_FACTOR)
    two_pair_ohm = wire_ohm + connectors_ohm + series_ohm
    return two_pair_ohm if pairs == 2 else two_pair_ohm / 2


def operating_point(pd_w: float, source_v: float, run_ohm: float) -> OperatingPoint | None:
    """Solve a constant-power load `pd_w` [W] behind `run_ohm` [ohm] on `source_v` [V].

    V_pd = (V + sqrt(V^2 - 4 P R)) / 2: the upper root, as the lower one is unstable. None where V^2 < 4 P R:
    no current delivers so much. No load: the full voltage and no current. The PSE watts agree with P_Class of
    IEEE 802.3-2022 clause 145 (equation from memory). Raises ValueError for a negative load or resistance
    or for a voltage that is not above zero.
    """
    if pd_w < 0 or run_ohm < 0 or source_v <= 0:
        raise ValueError("a load and a resistance are never negative, and a source has volts")
    under_root = source_v**2 - 4 * pd_w * run_ohm
    if under_root < 0:
        return None
    pd_v = (source_v + math.sqrt(under_root)) / 2
    current_a = pd_w / pd_v
    loss_w = current_a**2 * run_ohm
    return OperatingPoint(source_v, run_ohm, pd_w, pd_v, current_a, loss_w, pd_w + loss_w)


def point_from_port(pse_w: float, source_v: float, run_ohm: float) -> OperatingPoint | None:
    """The same point from the watts read at the port: I = P / V, PD watts = P - I^2 R.

    None where the port's watts lie beyond the most that the cable can pass, V^2 / (2 R).
    Raises ValueError as `operating_point` does.
    """
    if pse_w < 0 or run_ohm < 0 or source_v <= 0:
        raise ValueError("a load and a resistance are never negative, and a source has volts")
    current_a = pse_w / source_v
    pd_v = source_v - current_a * run_ohm
    if pd_v < source_v / 2:
        return None
    return OperatingPoint(source_v, run_ohm, pd_v * current_a, pd_v, current_a, current_a**2 * run_ohm, pse_w)


def refusal(point: OperatingPoint | None, limits: PortLimits) -> Refusal | None:
    """Why a load cannot be powered, None where it can.

    In the order of `Refusal`: each reason hides those below it. A load may exceed its class by the
    rounding of the standard's own table.
    """
    if point is None:
        return Refusal.NO_OPERATING_POINT
    if point.pd_v < limits.pd_min_v - _VOLT_STEP_V:
        return Refusal.VOLTAGE
    share = 1.0 if limits.pairs == 2 else HEAVIER_PAIRSET_SHARE
    if point.current_a * share > limits.pairset_max_a + _CURRENT_STEP_A:
        return Refusal.PAIRSET_CURRENT
    if limits.class_pse_w is not None and point.pse_w > limits.class_pse_w + TABLE_ROUNDING_W:
        return Refusal.PORT_CLASS
    return None
