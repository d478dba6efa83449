"""A run of cable in the emulated site: its loop resistance, and the steady point of a constant-power load behind it.

The answer is found by iterating on the current, not by the closed formula that the checked side uses.
"""

from __future__ import annotations

from dataclasses import dataclass

from portdraw.plan.site import Cable

# ohm per 100 m of one conductor at 20 °C. Cat cable: ceiling of TIA-568.2 and ISO/IEC 11801 (from memory).
CATEGORY_OHM = 9.38
CATEGORY_3_OHM = 20.0  # class C channel: 40 ohm loop of one pair (from memory)
# Solid annealed copper by gauge: ASTM B258 diameters, IEC 60028 resistivity.
GAUGE_OHM: dict[str, float] = {
    "awg22": 5.296, "awg23": 6.678, "awg24": 8.421, "awg26": 13.390, "awg28": 21.292,
}  # fmt: skip
COPPER_PER_K = 0.00393  # IEC 60028
COPPER_CLAD_TIMES = 1.55  # common practice: 1.5 to 1.6
AMBIENT_C = 35.0  # taken where the site file does not say
RISE_K = 10.0
MOST_ROUNDS = 200
CLOSE_ENOUGH_A = 1e-10


@dataclass(frozen=True, slots=True)
class Point:
    """Steady point of a load behind a cable: volts at the load, watts lost, watts at the source."""

    volts: float
    lost_w: float
    source_w: float


def loop_ohm(cable: Cable | None, four_pairs: bool) -> float:
    """Return the loop resistance [ohm] of a run: two wires out and two back make one conductor's, four pairs half."""
    if cable is None:
        return 0.0
    if cable.type.startswith("awg"):
        per_100_m = GAUGE_OHM[cable.type]
    else:
        per_100_m = CATEGORY_3_OHM if cable.type == "cat3" else CATEGORY_OHM
    if cable.conductor == "copper-clad":
        per_100_m *= COPPER_CLAD_TIMES
    ambient_c = AMBIENT_C if cable.ambient_c is None else cable.ambient_c
    rise_k = RISE_K if cable.rise_k is None else cable.rise_k
    warm = 1 + COPPER_PER_K * (ambient_c + rise_k - 20)
    two_pairs = per_100_m * cable.length_m / 100 * warm + cable.connectors_ohm + cable.series_ohm
    return two_pairs / 2 if on_four_pairs(cable, four_pairs) else two_pairs


def on_four_pairs(cable: Cable | None, four_pairs: bool) -> bool:
    """Say whether a run carries on four pairs: as the cable has it, else as its class."""
    return four_pairs if cable is None or cable.pairs is None else cable.pairs == 4


def settle(source_v: float, ohm: float, load_w: float) -> Point | None:
    """Return where `load_w` [W] settles behind `ohm` fed from `source_v`; None where no current suffices."""
    if load_w <= 0:
        return Point(source_v, 0.0, 0.0)
    current_a = load_w / source_v
    for _ in range(MOST_ROUNDS):
        volts = source_v - current_a * ohm
        if volts <= 0:
            return None
        following_a = load_w / volts
        if abs(following_a - current_a) < CLOSE_ENOUGH_A:
            volts = source_v - following_a * ohm
            lost_w = following_a * following_a * ohm
            return Point(volts, lost_w, load_w + lost_w)
        current_a = following_a
    return None
