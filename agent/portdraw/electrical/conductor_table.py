"""Conductors of data cable: resistance per 100 m, wire gauges, materials, temperature.

Data only. Resistance is in ohm per 100 m of one conductor at 20 C. A pairset's loop has the resistance of
one conductor: two in parallel go out, two in parallel come back.
"""

from __future__ import annotations

from dataclasses import dataclass

from portdraw.electrical.mark import Mark


@dataclass(frozen=True)
class CableType:
    """One category: the most its conductors may have, and the wire that it is usually made of."""

    name: str
    ceiling_ohm_per_100m: float
    typical_awg: int
    source: str
    mark: Mark


_CATEGORY = "TIA-568.2 and ISO/IEC 11801 horizontal cable, 9.38 ohm per 100 m of conductor at 20 C"
_CAT_3 = "ISO/IEC 11801 class C channel, 40 ohm in the loop of one pair, taken as 100 m of cable"
_CAT_7 = "IEC 61156-5, 19 ohm per 100 m in the loop of one pair"

CABLE_TYPES: dict[str, CableType] = {
    row.name: row
    for row in (
        CableType("cat3", 20.0, 24, _CAT_3, Mark.MEMORY),
        CableType("cat5", 9.38, 24, _CATEGORY, Mark.MEMORY),
        CableType("cat5e", 9.38, 24, _CATEGORY, Mark.MEMORY),
        CableType("cat6", 9.38, 23, _CATEGORY, Mark.MEMORY),
        CableType("cat6a", 9.38, 23, _CATEGORY, Mark.MEMORY),
        CableType("cat7", 9.5, 23, _CAT_7, Mark.MEMORY),
        CableType("cat8", 9.38, 22, _CATEGORY, Mark.MEMORY),
    )
}
"""Categories by name. The typical gauge is common practice."""

CORD_OHM_PER_100M = 14.0
"""Most that stranded cord cable may have. TIA-568.2 (from memory)."""

AWG_DIAMETER_MM: dict[int, float] = {
    22: 0.6438,
    23: 0.5733,
    24: 0.5106,
    25: 0.4547,
    26: 0.4049,
    27: 0.3606,
    28: 0.3211,
}
"""Diameter of solid wire [mm] by gauge: 0.127 x 92^((36 - AWG) / 39). ASTM B258."""

COPPER_OHM_MM2_PER_M = 0.017241
"""Resistivity of annealed copper at 20 C. IEC 60028, 100 % IACS."""

COPPER_PER_K = 0.00393
"""Rise of copper's resistance per kelvin, from 20 C. IEC 60028."""

COPPER_CLAD_FACTOR = 1.6
"""Resistance of copper-clad aluminium against copper: 1.5 to 1.6, the upper end. From memory; it is no
recognised category cable."""

TWIST_FACTOR = 1.03
"""Conductor length against cable length: the twist takes up 1 to 3 %, the upper end. From memory."""

UNDECLARED_AMBIENT_C = 45.0
"""Ambient of a cable of which nothing is known. TIA TSB-184-A (from memory)."""

UNDECLARED_RISE_K = 15.0
"""Heating of a bundle of which nothing is known. TIA TSB-184-A (from memory)."""
