"""What one switch answered, as JSON: every record, what is not told and why, and whether its watts agree."""

from __future__ import annotations

from portdraw.judgement.unit_agreement import told_agreement
from portdraw.observation.record import Quantity, Record
from portdraw.observation.unit_observation import UnitObservation
from portdraw.reporting.capability import not_told


def sheet_json(address: str, observation: UnitObservation) -> dict[str, object]:
    """Return every record of a probe with unit, basis, source, time, or why it is missing."""
    return {
        "format": 1,
        "address": address,
        "outcome": observation.outcome.value,
        "reason": observation.reason,
        "requests": observation.requests,
        "took_s": round(observation.ended_s - observation.began_s, 3),
        "records": [_record_json(record) for record in observation.records],
        "other_sources": [_record_json(record) for record in observation.others],
        "not_told": {
            quantity.value: why
            for quantity, why in (not_told(observation, Quantity) if observation.records else {}).items()
        },
        "agreement": told_agreement(observation) if observation.records else None,
    }


def _record_json(record: Record) -> dict[str, object]:
    return {
        "port": record.port,
        "supply": record.supply,
        "quantity": record.quantity.value,
        "value": record.value,
        "unit": record.unit,
        "basis": None if record.basis is None else record.basis.value,
        "source": record.source,
        "read_at_s": round(record.read_s, 3),
        "missing": record.missing,
    }
