"""PSE types of IEEE 802.3: volts, the longest channel's resistance, and current per pairset.

Data only. Volts in V, resistance in ohm for the loop of one pairset, current in A per pairset.
"""

from __future__ import annotations

from dataclasses import dataclass

from portdraw.electrical.mark import Mark


@dataclass(frozen=True)
class PseType:
    """One type of PSE.

    `pairset_ohm` is the loop of one pairset at the end of the longest channel; both pairsets together
    have half of it. `pairset_max_a` is for the heavier pairset.
    """

    number: int
    class_max: int
    pse_min_v: float
    pse_max_v: float
    pd_min_v: float
    pairset_ohm: float
    pairset_max_a: float
    source: str
    mark: Mark


_VOLTS = "volts and nominal current as a published PSE manual tabulates them"

PSE_TYPES: dict[int, PseType] = {
    row.number: row
    for row in (
        PseType(
            1, 3, 44.0, 57.0, 37.0, 20.0, 0.35,
            f"IEEE 802.3-2022 table 33-1; {_VOLTS}; 20 ohm from memory, reproduced by class 3", Mark.READ,
        ),
        PseType(
            2, 4, 50.0, 57.0, 42.5, 12.5, 0.60,
            f"IEEE 802.3-2022 table 33-1; {_VOLTS}; 12.5 ohm from memory, reproduced by class 4", Mark.READ,
        ),
        PseType(
            3, 6, 50.0, 57.0, 42.5, 12.5, 0.66,
            f"IEEE 802.3-2022 table 145-1, 0.60 A nominal; {_VOLTS}; class 6 draws 1.20 A in its worst case, "
            "and 55 % of that on the heavier pairset is 0.66 A (common practice)", Mark.COMPUTED,
        ),
        PseType(
            4, 8, 52.0, 57.0, 41.1, 12.5, 0.96,
            f"IEEE 802.3-2022 table 145-1; {_VOLTS}; 0.96 A holds the unbalance already (from memory)",
            Mark.READ,
        ),
    )
}  # fmt: skip
"""Types 1 to 4, keyed by number."""

HEAVIER_PAIRSET_SHARE = 0.55
"""Share of a four-pair load's current on its heavier pairset. Common practice, no source."""

MAINTAIN_A_CLASS_1_TO_4 = 0.010
"""Current [A] that a device of class 1 to 4 must draw to stay powered. IEEE 802.3-2022 table 33-19, read in
controller data sheets."""

MAINTAIN_A_CLASS_5_TO_8 = 0.016
"""Current [A] that a device of class 5 to 8 must draw to stay powered. IEEE 802.3-2022 table 145-31, read in
controller data sheets."""

PORT_MAX_W = 99.9
"""Most that a Type 4 port delivers all the time [W]. IEEE 802.3-2022 table 145-16."""
