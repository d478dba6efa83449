"""Power classes of IEEE 802.3: watts at both ends of the cable, pairs, and the volts a device may expect.

Data only. Watts in W, volts in V. PSE watts are at the PSE output, PD watts at the device's input.
Clause 33 covers Types 1 and 2, clause 145 Types 3 and 4; where both give a figure, both are kept.
"""

from __future__ import annotations

from dataclasses import dataclass

from portdraw.electrical.mark import Mark


@dataclass(frozen=True)
class SingleClass:
    """One single-signature class. `pse_w_clause_33` is None for classes that clause 33 does not know.

    `pd_w` is the figure of the type that introduced the class (Type 1 for class 3: 12.95 W;
    clause 145 has 13.0 W). `pairs` is what the class is guaranteed on; `pd_min_v` the least voltage
    that a device of this class must run from.
    """

    number: int
    pse_w_clause_33: float | None
    pse_w_clause_145: float | None
    pd_w: float
    pairs: int
    pd_min_v: float
    source: str
    mark: Mark


@dataclass(frozen=True)
class DualClass:
    """One class of a dual-signature device, for one pairset; the device's watts are the sum of its two."""

    number: int
    pse_w: float
    pd_w: float
    pd_min_v: float
    source: str
    mark: Mark


_CLAUSE_33 = "IEEE 802.3-2022 clause 33, PSE table 33-11 and PD table 33-18"
_CLAUSE_145 = "IEEE 802.3-2022 clause 145, PSE table 145-16 and PD table 145-29"
_BOTH = f"{_CLAUSE_33}; {_CLAUSE_145}"
_OVERVIEW = "; printed in an industry overview of IEEE 802.3bt, April 2018"

SINGLE_CLASSES: dict[int, SingleClass] = {
    row.number: row
    for row in (
        SingleClass(0, 15.4, None, 12.95, 2, 37.0, _CLAUSE_33, Mark.MEMORY),
        SingleClass(1, 4.0, 4.0, 3.84, 2, 37.0, _BOTH + _OVERVIEW, Mark.READ),
        SingleClass(2, 7.0, 6.7, 6.49, 2, 37.0, _BOTH + _OVERVIEW + " (7 W; 6.7 W from memory)", Mark.READ),
        SingleClass(3, 15.4, 14.0, 12.95, 2, 37.0, _BOTH + _OVERVIEW + " (14 W from memory)", Mark.READ),
        SingleClass(4, 30.0, 30.0, 25.5, 2, 42.5, _BOTH + _OVERVIEW, Mark.READ),
        SingleClass(5, None, 45.0, 40.0, 4, 42.5, _CLAUSE_145 + _OVERVIEW, Mark.READ),
        SingleClass(6, None, 60.0, 51.0, 4, 42.5, _CLAUSE_145 + _OVERVIEW, Mark.READ),
        SingleClass(7, None, 75.0, 62.0, 4, 41.1, _CLAUSE_145 + _OVERVIEW, Mark.READ),
        SingleClass(8, None, 90.0, 71.3, 4, 41.1, _CLAUSE_145 + _OVERVIEW, Mark.READ),
    )
}
"""Single-signature classes 0 to 8. The numbers of the tables within a clause are from memory."""

DUAL_CLASSES: dict[int, DualClass] = {
    row.number: row
    for row in (
        DualClass(1, 4.0, 3.84, 37.0, _CLAUSE_145 + ", dual signature", Mark.MEMORY),
        DualClass(2, 6.7, 6.49, 37.0, _CLAUSE_145 + ", dual signature", Mark.MEMORY),
        DualClass(3, 14.0, 13.0, 37.0, _CLAUSE_145 + ", dual signature", Mark.MEMORY),
        DualClass(4, 30.0, 25.5, 42.5, _CLAUSE_145 + ", dual signature", Mark.MEMORY),
        DualClass(5, 45.0, 35.6, 41.1, _CLAUSE_145 + ", dual signature", Mark.MEMORY),
    )
}
"""Dual-signature classes 1 to 5, per pairset (class 5 makes the device Type 4)."""

TABLE_ROUNDING_W = 0.1
"""The tables' own rounding: 40 W at a class 5 device is 45.08 W at the PSE where the table says 45 W."""
