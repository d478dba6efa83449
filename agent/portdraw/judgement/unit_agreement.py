"""Whether the watts that one unit tells agree: its ports' sum, its own total. All watts at the PSE output."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from portdraw.judgement.wording import count_text, watts_text
from portdraw.observation.record import Basis, PortState, Quantity, Record
from portdraw.observation.unit_observation import UnitObservation

# The total is whole watts on many units, rounded either way, and ports are read at another second: common practice.
TOLERANCE_W = 1.0
TOLERANCE_PERCENT = 5.0
# A quotient this near to a factor is that factor; below so few watts whole watts explain it: common practice.
FACTORS = (1000, 10)
NEAR = 1.25
LEAST_W = 5.0


class Agreement(StrEnum):
    """How two sums of watts that should be equal stand to each other."""

    AGREE = "agree"
    TOO_LITTLE = "too little to tell"
    FACTOR = "a factor apart"
    APART = "apart"


@dataclass(frozen=True)
class Compared:
    """How two sums agree; `factor` is 10 or 1000 where they are about that far apart, else 1."""

    agreement: Agreement
    factor: int = 1


def compared(one_w: float, other_w: float) -> Compared:
    """Return how two sums [W] agree, either of which may be cut off to whole watts."""
    large_w, small_w = max(one_w, other_w), min(one_w, other_w)
    if large_w < LEAST_W and large_w - small_w <= TOLERANCE_W:
        return Compared(Agreement.TOO_LITTLE)
    if large_w - small_w <= TOLERANCE_W + large_w * TOLERANCE_PERCENT / 100:
        return Compared(Agreement.AGREE)
    if large_w >= LEAST_W and small_w > 0:
        least_w = small_w + 1.0 if small_w >= 2.0 and small_w == round(small_w) else small_w  # it may be cut off
        for factor in FACTORS:
            if large_w / least_w <= factor * NEAR and large_w / small_w >= factor / NEAR:
                return Compared(Agreement.FACTOR, factor)
    return Compared(Agreement.APART)


def ports_sum_w(records: Iterable[Record]) -> float | None:
    """Return what ports draw together [W], None where no record of theirs has watts."""
    known = [record.number() for record in records if record.quantity is Quantity.PORT_DRAW]
    told = [watts for watts in known if watts is not None]
    return sum(told) if told else None


def told_agreement(observation: UnitObservation) -> str:
    """Return in one sentence whether what the unit tells in one answer agrees."""
    of_ports = [record for record in observation.records if record.quantity is Quantity.PORT_DRAW]
    sum_w, total_w = ports_sum_w(of_ports), observation.number(None, Quantity.UNIT_DRAW)
    granted = any(record.basis is Basis.GRANTED for record in of_ports)
    if sum_w is None and total_w is None:
        return "It tells neither the watts of its ports nor their total."
    if sum_w is None:
        return "It tells only its total: the watts of its ports are worked out from it while it is watched."
    if granted:
        return "The watts of its ports only repeat what is set aside for them: they are granted, not measured."
    if total_w is None:
        return f"Its ports sum up to {watts_text(sum_w)}; it tells no total to hold that against."
    unknown = [
        record
        for record in of_ports
        if record.missing and observation.text(record.port, Quantity.PORT_STATE) == PortState.DELIVERING
    ]
    said = f"Its ports sum up to {watts_text(sum_w)}, its own total is {watts_text(total_w)}"
    if unknown:
        return f"{said}; {count_text(len(unknown), 'delivering port')} without watts."
    if sum_w == total_w == 0:
        return f"{said}: nothing is drawn, so nothing shows yet that watts are measured, nor in which unit."
    found = compared(sum_w, total_w)
    match found.agreement:
        case Agreement.AGREE:
            return f"{said}: they agree."
        case Agreement.TOO_LITTLE:
            return f"{said}: too little to tell whether both are in the unit that is stated."
        case Agreement.FACTOR:
            return f"{said}: about {found.factor} times apart, so one of them is in another unit of measure."
    return f"{said}: they do not agree."
