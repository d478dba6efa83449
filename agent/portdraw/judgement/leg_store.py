"""What is known of legs as it outlives a restart: since when they stand so, what signs said, and what was proven."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import isfinite

from portdraw.judgement.ac_evidence import Said, Says, SignMemory, Witness
from portdraw.judgement.assessment import Availability, Carrying
from portdraw.judgement.feed_load import FeedLoad
from portdraw.judgement.leg_proof import Proof, ProofMemory
from portdraw.judgement.memory import LegMemory, Memory
from portdraw.judgement.unit_self import UnitSelf

FORMAT = 1
_WRONG = "the stored legs can't be used"


def is_news(before: Memory, after: Memory) -> bool:
    """Say whether there is anything new to store; a proof in progress is none until it says more than the last."""
    if before.legs != after.legs or before.signs != after.signs or before.selves != after.selves:
        return True
    proofs = {key: kept.proof for key, kept in after.proofs.items() if kept.proof is not None}
    return proofs != {key: kept.proof for key, kept in before.proofs.items() if kept.proof is not None}


def dump_legs(memory: Memory) -> dict[str, object]:
    """Return what is known of legs, ready for JSON."""
    return {
        "format": FORMAT,
        "legs": [_leg_row(unit, name, leg) for (unit, name), leg in memory.legs.items()],
        "signs": [_sign_row(unit, signs) for unit, signs in memory.signs.items()],
        "proofs": [
            _proof_row(unit, name, kept.proof)
            for (unit, name), kept in memory.proofs.items()
            if kept.proof is not None
        ],
        "selves": [
            {"unit": unit, "told": dict(known.told), "said": known.said, "changed_s": known.changed_s}
            for unit, known in memory.selves.items()
        ],
    }


def restore_legs(memory: Memory, dumped: object) -> Memory:
    """Return the memory with the legs of a dump. Raises ValueError with one sentence when it is none."""
    if not isinstance(dumped, Mapping) or dumped.get("format") != FORMAT:
        raise ValueError(f"{_WRONG}: not a dump of format {FORMAT}")
    try:
        return replace(
            memory,
            legs={(row["unit"], row["leg"]): _leg(row) for row in dumped["legs"]},
            signs={row["unit"]: _signs(row) for row in dumped["signs"]},
            proofs={(row["unit"], row["leg"]): ProofMemory(_proof(row)) for row in dumped["proofs"]},
            selves={row["unit"]: _self(row) for row in dumped.get("selves", ())},  # earlier versions kept none
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise ValueError(f"{_WRONG}: a row is none") from error


def _leg_row(unit: str, name: str, leg: LegMemory) -> dict[str, object]:
    return {
        "unit": unit,
        "leg": name,
        "availability": leg.availability.value,
        "carrying": leg.carrying.value,
        "since_s": leg.since_s,
        "known": None if leg.known is None else leg.known.value,
        "known_since_s": leg.known_since_s,
        "seen_s": leg.seen_s,
        "again": leg.again,
    }


def _leg(row: Mapping[str, object]) -> LegMemory:
    known = row["known"]
    return LegMemory(
        availability=Availability(str(row["availability"])),
        carrying=Carrying(str(row["carrying"])),
        since_s=_time(row["since_s"]),
        known=None if known is None else Availability(str(known)),
        known_since_s=_time(row["known_since_s"]),
        seen_s=_time(row["seen_s"]),
        again=bool(row["again"]),
    )


def _sign_row(unit: str, signs: SignMemory) -> dict[str, object]:
    return {
        "unit": unit,
        "said": [
            {
                "witness": witness.value,
                "says": said.says.value,
                "since_s": said.since_s,
                "before": None if said.before is None else said.before.value,
            }
            for witness, said in signs.said.items()
        ],
        "load": signs.load.value,
        "load_since_s": signs.load_since_s,
        "doubted": sorted([witness.value, says.value] for witness, says in signs.doubted),
        "held": signs.held,
    }


def _signs(row: Mapping[str, object]) -> SignMemory:
    said, doubted = row["said"], row["doubted"]
    if not isinstance(said, list) or not isinstance(doubted, list):
        raise TypeError
    return SignMemory(
        said={
            Witness(one["witness"]): Said(
                Says(one["says"]), _time(one["since_s"]), None if one["before"] is None else Says(one["before"])
            )
            for one in said
        },
        load=FeedLoad(str(row["load"])),
        load_since_s=_time(row["load_since_s"]),
        doubted=frozenset((Witness(witness), Says(says)) for witness, says in doubted),
        held=bool(row["held"]),
    )


def _proof_row(unit: str, name: str, proof: Proof) -> dict[str, object]:
    return {
        "unit": unit,
        "leg": name,
        "watts": proof.watts,
        "lasted_s": proof.lasted_s,
        "until_s": proof.until_s,
        "conditions": dict(proof.conditions),
        "ended_by": proof.ended_by,
        "need_w": proof.need_w,
    }


def _proof(row: Mapping[str, object]) -> Proof:
    conditions = row["conditions"]
    if not isinstance(conditions, Mapping):
        raise TypeError
    watts, lasted_s, until_s, need_w = (_time(row[name]) for name in ("watts", "lasted_s", "until_s", "need_w"))
    if watts is None or lasted_s is None or until_s is None or need_w is None:
        raise TypeError
    named = {str(name): str(value) for name, value in conditions.items()}
    return Proof(watts, lasted_s, until_s, named, str(row["ended_by"]), need_w)


def _self(row: Mapping[str, object]) -> UnitSelf:
    told = row["told"]
    if not isinstance(told, Mapping):
        raise TypeError
    named = {str(name): str(value) for name, value in told.items()}
    return UnitSelf(named, str(row["said"]), _time(row["changed_s"]))


def _time(value: object) -> float | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise TypeError
    return float(value)
