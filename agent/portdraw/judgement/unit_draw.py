"""A unit's whole draw from its ports and its own total, and whether the two agree. All watts at the PSE output."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from portdraw.judgement.assessment import PortAssessment
from portdraw.judgement.unit_agreement import Agreement, compared
from portdraw.judgement.wording import count_text, watts_text
from portdraw.observation.record import Basis, PortState, Quantity
from portdraw.observation.unit_observation import UnitObservation

_WORST_FIRST = (Basis.PLANNED, Basis.CEILING, Basis.GRANTED, Basis.ESTIMATED, Basis.LEARNED, Basis.MEASURED)


@dataclass(frozen=True)
class UnitDraw:
    """A unit's draw [W]: None when unknown, only the known part where `complete` is False."""

    draw_w: float | None
    basis: Basis | None
    complete: bool
    total_w: float | None
    notes: tuple[str, ...] = ()


def unit_draw(ports: Sequence[PortAssessment], observation: UnitObservation | None, oldest_s: float) -> UnitDraw:
    """Return a unit's draw: the sum of its ports where all tell, else its own total, else the part that is known."""
    total_w = _total_w(observation, oldest_s)
    known = [port for port in ports if port.draw_w is not None]
    unknown = [port for port in ports if port.draw_w is None and _may_draw(port)]
    sum_w = sum(port.draw_w for port in known if port.draw_w is not None)
    if total_w is not None and any(port.basis in (Basis.LEARNED, Basis.ESTIMATED) for port in known):
        return UnitDraw(total_w, Basis.MEASURED, True, total_w)  # their sum is this total, shared out
    if not unknown and any(port.state is not None or port.basis is not None for port in known):
        notes = _proof(sum_w, total_w) if total_w is not None and _all_measured(known) else ()
        return UnitDraw(sum_w, _worst_basis(known), not notes, total_w, notes)
    if total_w is not None:
        return UnitDraw(total_w, Basis.MEASURED, True, total_w)
    told = [port for port in known if port.state is PortState.DELIVERING]
    if not told:
        return UnitDraw(None, None, False, None)
    note = f"{count_text(len(unknown), 'port')} without watts: the sum is only the part that is known"
    return UnitDraw(sum_w, _worst_basis(told), False, None, (note,))


def _total_w(observation: UnitObservation | None, oldest_s: float) -> float | None:
    record = None if observation is None else observation.get(None, Quantity.UNIT_DRAW)
    if record is None or record.read_s < oldest_s:
        return None
    total_w = record.number()
    return None if total_w is None or total_w < 0 else total_w


def _may_draw(port: PortAssessment) -> bool:
    """Say whether a port without watts may draw some: it delivers, or nobody knows whether it does."""
    return port.state in (None, PortState.DELIVERING, PortState.TEST)


def _all_measured(ports: Sequence[PortAssessment]) -> bool:
    return all(port.basis in (Basis.MEASURED, Basis.LEARNED) for port in ports)


def _worst_basis(ports: Sequence[PortAssessment]) -> Basis | None:
    found = {port.basis for port in ports}
    return next((basis for basis in _WORST_FIRST if basis in found), None)


def _proof(sum_w: float, total_w: float) -> tuple[str, ...]:
    """Return what is odd where the ports' sum and the unit's total contradict each other."""
    found = compared(sum_w, total_w)
    if found.agreement in (Agreement.AGREE, Agreement.TOO_LITTLE):
        return ()
    note = f"its ports sum up to {watts_text(sum_w)}, its own total is {watts_text(total_w)}"
    if found.agreement is Agreement.FACTOR:
        return (f"{note}: about {found.factor} times apart, so one of them is in another unit of measure",)
    return (note,)
