"""The unit of measure of a unit's watts, proven against each other: ports, total, and the feeder's port.

A factor of 10 or 1,000 is a wrong unit of measure. It is named; which source has it is decided by what else there is,
and that source is refused until it agrees again. Where nothing decides, both stay and the unit's draw is in doubt.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from portdraw.judgement.unit_agreement import LEAST_W, Agreement, compared, ports_sum_w
from portdraw.judgement.wording import watts_text
from portdraw.observation.record import Basis, PortState, Quantity, Record
from portdraw.observation.unit_observation import UnitObservation

POLLS_TO_REFUSE = 3  # ports and total are read at another second, and a step in between is no factor: common practice
# The least current that keeps a port on (maintain power signature) is some mA: IEEE 802.3, from memory, with a margin
LEAST_OF_PORT_W = 0.1
FEEDER_TOLERANCE_W = 3.0
FEEDER_TOLERANCE_SHARE = 0.25  # cable, own use and conversion are the plan's: common practice

PORTS, TOTAL = "ports", "total"


@dataclass(frozen=True)
class Bounds:
    """What the ports of a unit may draw together [W], by its supply and by the classes on its ports."""

    most_w: float


@dataclass(frozen=True)
class FeederSide:
    """What the feeder's port gives while the feed carries [W], and what it would for given watts on the ports."""

    name: str
    gives_w: float
    for_outputs_w: Callable[[float], float | None]


@dataclass(frozen=True)
class UnitProof:
    """What was found of one unit so far. `suspect` is the source that is wrong by `factor`, seen in `polls` polls.

    `raw` is the last answer that was looked at, `used` that answer without the refused source.
    """

    suspect: str = ""
    side: str = ""
    factor: int = 1
    polls: int = 0
    note: str = ""
    feeder_note: str = ""
    feeder_polls: int = 0
    raw: UnitObservation | None = field(default=None, repr=False, compare=False)
    used: UnitObservation | None = field(default=None, repr=False, compare=False)

    @property
    def is_refused(self) -> bool:
        """Say whether the suspect source is refused by now."""
        return self.polls >= POLLS_TO_REFUSE

    def notes(self) -> tuple[str, ...]:
        """Return what to say of the unit's watts."""
        odd_feeder = self.feeder_polls >= POLLS_TO_REFUSE
        return (*((self.note,) if self.is_refused else ()), *((self.feeder_note,) if odd_feeder else ()))


def prove(raw: UnitObservation, before: UnitProof, bounds: Bounds, feeder: FeederSide | None) -> UnitProof:
    """Return what is known of a unit's sources after one more answer, and the answer to go on with."""
    if before.raw is raw:
        return before
    proof = _looked_at(raw, before, bounds, feeder)
    used = raw
    if proof.is_refused and proof.side == TOTAL:
        used = _without_total(raw, proof)
    elif proof.is_refused and proof.side == PORTS:
        used = _with_next_source(raw, proof)
    used = _filled(used, proof)
    feeder_note = _feeder_note(used, feeder)
    feeder_polls = before.feeder_polls + 1 if feeder_note else 0
    return replace(proof, raw=raw, used=used, feeder_note=feeder_note, feeder_polls=feeder_polls)


def _looked_at(raw: UnitObservation, before: UnitProof, bounds: Bounds, feeder: FeederSide | None) -> UnitProof:
    """Return the suspect after one more answer. What tells nothing changes nothing."""
    ports = _measured_ports(raw)
    sum_w, total_w = ports_sum_w(ports.values()), raw.number(None, Quantity.UNIT_DRAW)
    if sum_w is None or total_w is None or not _all_told(raw, ports):
        return before
    found = compared(sum_w, total_w)
    if found.agreement is Agreement.TOO_LITTLE:
        return before
    side, why = "", ""
    if found.agreement is Agreement.FACTOR:
        side = _wrong_side(raw, sum_w, total_w, bounds, feeder)
        right = "the total" if side == PORTS else "its ports"
        why = f"about {found.factor} times apart, and all else bears out {right}"
    elif max(sum_w, total_w) >= LEAST_W and min(sum_w, total_w) == 0:
        side, why = (PORTS if sum_w == 0 else TOTAL), "a unit that gives watts can't stay at 0 W"
    if not side:
        return UnitProof()
    source = next(iter(ports.values())).source if side == PORTS else raw.index[None, Quantity.UNIT_DRAW].source
    polls = before.polls + 1 if (before.suspect, before.side) == (source, side) else 1
    refused = "the watts of its ports" if side == PORTS else "its own total"
    note = (
        f"{refused} by {source}: refused, as its ports sum up to {watts_text(sum_w)} and its own total is "
        f"{watts_text(total_w)}: {why}"
    )
    return UnitProof(source, side, found.factor, polls, note)


def _wrong_side(raw: UnitObservation, sum_w: float, total_w: float, bounds: Bounds, feeder: FeederSide | None) -> str:
    """Return which side is wrong, "" where nothing decides: what can't be, then the feeder, then a further source."""
    delivering = sum(record.value == PortState.DELIVERING for record in raw.records)
    least_w = delivering * LEAST_OF_PORT_W
    can = {side: least_w <= _up(side, watts) and watts <= bounds.most_w for side, watts in _sides(sum_w, total_w)}
    if can[PORTS] != can[TOTAL]:
        return TOTAL if can[PORTS] else PORTS
    if feeder is not None:
        near = {side: _is_near(feeder, watts) for side, watts in _sides(sum_w, total_w)}
        if near[PORTS] != near[TOTAL]:
            return TOTAL if near[PORTS] else PORTS
    for records in _by_source(raw).values():
        other_w = ports_sum_w(records.values())
        if other_w is None:
            continue
        if compared(other_w, total_w).agreement is Agreement.AGREE:
            return PORTS
        if compared(other_w, sum_w).agreement is Agreement.AGREE:
            return TOTAL
    return ""


def _sides(sum_w: float, total_w: float) -> tuple[tuple[str, float], tuple[str, float]]:
    return (PORTS, sum_w), (TOTAL, total_w)


def _up(side: str, watts: float) -> float:
    return watts + 1.0 if side == TOTAL else watts  # a total may be cut off to whole watts


def _is_near(feeder: FeederSide, outputs_w: float) -> bool:
    expected_w = feeder.for_outputs_w(outputs_w)
    if expected_w is None:
        return False
    return abs(expected_w - feeder.gives_w) <= FEEDER_TOLERANCE_W + FEEDER_TOLERANCE_SHARE * feeder.gives_w


def _feeder_note(used: UnitObservation, feeder: FeederSide | None) -> str:
    """Return what is odd between the feeder's port and what the unit tells while the feed carries it."""
    if feeder is None:
        return ""
    ports = _measured_ports(used)
    outputs_w = used.number(None, Quantity.UNIT_DRAW)
    if ports and _all_told(used, ports):
        outputs_w = ports_sum_w(ports.values())
    if outputs_w is None or _is_near(feeder, outputs_w):
        return ""
    expected_w = feeder.for_outputs_w(outputs_w)
    if expected_w is None:
        return ""
    said = f"{feeder.name} gives it {watts_text(feeder.gives_w)}, its own readings explain {watts_text(expected_w)}"
    found = compared(feeder.gives_w, expected_w)
    if found.agreement is Agreement.FACTOR:
        return f"{said}: about {found.factor} times apart, so one of them is in another unit of measure"
    return said


def _measured_ports(observation: UnitObservation) -> Mapping[str, Record]:
    """Return the records of port watts that are measured, by port."""
    return {
        record.port: record
        for record in observation.records
        if record.quantity is Quantity.PORT_DRAW and record.port is not None and record.basis is Basis.MEASURED
    }


def _all_told(observation: UnitObservation, ports: Mapping[str, Record]) -> bool:
    """Say whether every port that delivers, or may, has watts."""
    for record in observation.records:
        delivers = record.quantity is Quantity.PORT_STATE and record.value in (PortState.DELIVERING, PortState.TEST)
        if delivers and record.port not in ports:
            return False
    return True


def _by_source(observation: UnitObservation) -> dict[str, dict[str, Record]]:
    """Return the ports' watts of each further source, best first."""
    found: dict[str, dict[str, Record]] = {}
    for record in observation.others:
        if record.port is not None and record.basis is Basis.MEASURED:
            found.setdefault(record.source, {})[record.port] = record
    return found


def _without_total(raw: UnitObservation, proof: UnitProof) -> UnitObservation:
    records = (
        replace(record, value=None, basis=None, missing=proof.note)
        if record.quantity is Quantity.UNIT_DRAW and record.port is None
        else record
        for record in raw.records
    )
    return replace(raw, records=tuple(records))


def _with_next_source(raw: UnitObservation, proof: UnitProof) -> UnitObservation:
    """Return the answer with the ports' watts of the next source that agrees with the total."""
    total_w = raw.number(None, Quantity.UNIT_DRAW) or 0.0
    instead: Mapping[str, Record] = {}
    for source, records in _by_source(raw).items():
        sum_w = ports_sum_w(records.values())
        agrees = sum_w is not None and compared(sum_w, total_w).agreement in (Agreement.AGREE, Agreement.TOO_LITTLE)
        if source != proof.suspect and agrees:
            instead = records
            break
    return replace(raw, records=tuple(_instead(record, instead, proof) for record in raw.records))


def _instead(record: Record, instead: Mapping[str, Record], proof: UnitProof) -> Record:
    if record.quantity is not Quantity.PORT_DRAW or record.source != proof.suspect or record.port is None:
        return record
    return instead.get(record.port) or replace(record, value=None, basis=None, missing=proof.note)


def _filled(used: UnitObservation, proof: UnitProof) -> UnitObservation:
    """Return the answer with watts of the next source for ports whose own were refused as impossible, or not told."""
    if not used.others or (proof.is_refused and proof.side == PORTS):
        return used
    spare: dict[str | None, Record] = {}
    for record in used.others:
        spare.setdefault(record.port, record)
    records = [
        spare.get(record.port, record) if record.quantity is Quantity.PORT_DRAW and record.value is None else record
        for record in used.records
    ]
    return replace(used, records=tuple(records))
