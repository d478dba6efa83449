"""Is local AC there? The signs that speak for it and against it, how strong each side is, and what is outdated.

Three origins are independent of each other: the *unit* (its own word, the same over LLDP at its feeder, its supply
object, the budget it reports), its *feeder's port* (state and watts), and the *neighbours* on its circuit. However
much a unit says of itself counts as one: an agent that is wrong is wrong in all of it. Unit and port are of equal
strength; neighbours are weaker and only support what a port shows. Words say who carries, not who is there, and some
equipment always says the same: a sign that was contradicted is not believed alone until it has moved with the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

from portdraw.judgement.feed_load import FeedLoad
from portdraw.judgement.leg_facts import LegSigns
from portdraw.judgement.wording import limit_text
from portdraw.observation.record import PowerSource

LATE_POLLS = 1.2  # a port's reading older than this has missed a poll


class Says(StrEnum):
    """What a sign says of local AC."""

    THERE = "there"
    LOST = "lost"


class Witness(StrEnum):
    """Where a sign comes from; all but the port are the unit's own."""

    OWN_WORD = "own word"
    HEARD_WORD = "word heard by the feeder"
    SUPPLY = "supply object"
    BUDGET = "budget"
    PORT = "feeder's port"


@dataclass(frozen=True)
class Sign:
    """One sign, in words, with the time of its reading [s since the epoch; None: not known]."""

    witness: Witness
    says: Says
    words: str
    read_s: float | None


@dataclass(frozen=True)
class Said:
    """What a witness said last, since which reading [s since the epoch], and what it said before that."""

    says: Says
    since_s: float | None
    before: Says | None = None


@dataclass(frozen=True)
class SignMemory:
    """Of a unit's signs what later cycles need.

    `load` is what the feeder's port showed last, from the reading at `load_since_s` on [s since the epoch].
    `doubted`: what witnesses said when they were contradicted. `held`: the spare feed was seen on standby.
    """

    said: Mapping[Witness, Said] = field(default_factory=dict)
    load: FeedLoad = FeedLoad.UNKNOWN
    load_since_s: float | None = None
    doubted: frozenset[tuple[Witness, Says]] = frozenset()
    held: bool = False


@dataclass(frozen=True)
class Neighbours:
    """What units on the same circuit show: it is out by one other unit, or by two and more; in words."""

    lost: int = 0
    words: str = ""


@dataclass(frozen=True)
class AcVerdict:
    """What the signs come to: None where they come to nothing; `contradicts` where that is why.

    `sure`: two independent origins agree and nothing speaks against it. Words are for and against local AC being
    there; `aside` has what was outdated or is not believed alone.
    """

    says: Says | None
    contradicts: bool
    sure: bool
    there: tuple[str, ...]
    lost: tuple[str, ...]
    aside: tuple[str, ...]


def ac_signs(signs: LegSigns, load: FeedLoad, load_words: str, past: SignMemory) -> tuple[Sign, ...]:
    """Return the signs of local AC at this moment, outdated ones too."""
    found: list[Sign] = []
    words = (
        (Witness.OWN_WORD, signs.own_word, "the unit says", signs.own_read_s),
        (Witness.HEARD_WORD, signs.feeder_word, f"seen from {signs.feed_source} it says", signs.heard_word_read_s),
    )
    if load is FeedLoad.OFF and not _answers_since_off(signs, load, past):
        return ()  # what it said before, and what its feeder keeps of that for minutes, tells nothing of now
    for witness, word, who, read_s in words:
        if witness is Witness.HEARD_WORD and load is FeedLoad.OFF and word is PowerSource.PSE:
            continue  # nothing runs on a port that is off
        if word is PowerSource.PSE and signs.prefers not in ("feed", "higher-voltage"):
            found.append(Sign(witness, Says.LOST, f"{who}: {word.value}", read_s))
        elif word in (PowerSource.LOCAL, PowerSource.BOTH):
            found.append(Sign(witness, Says.THERE, f"{who}: {word.value}", read_s))
    if signs.ac_supply is not None:
        says = Says.THERE if signs.ac_supply else Says.LOST
        said = f"the unit's own supply object says that local AC is {says.value}"
        found.append(Sign(Witness.SUPPLY, says, said, signs.own_read_s))
    if signs.budget_fell is not None:
        said = f"the unit reports {limit_text(signs.budget_fell)} as its budget, which is what it has on its feed"
        found.append(Sign(Witness.BUDGET, Says.LOST, said, signs.own_read_s))
    port = _port_says(signs, load)
    if port is not None:
        more = "; the unit answers" if load is FeedLoad.OFF else ""
        found.append(Sign(Witness.PORT, port, f"{load_words}{more}", signs.port_read_s))
    return tuple(found)


def _port_says(signs: LegSigns, load: FeedLoad) -> Says | None:
    if load is FeedLoad.STANDBY:
        return Says.THERE
    if load is FeedLoad.FULL and signs.prefers in ("ac", "shared"):
        return Says.LOST
    return Says.THERE if load is FeedLoad.OFF else None  # and it answers: see where this is called


def _answers_since_off(signs: LegSigns, load: FeedLoad, past: SignMemory) -> bool:
    """Say whether a unit answered after its port was seen off: what answered before may have gone dark with it."""
    off_s = past.load_since_s if past.load is FeedLoad.OFF else signs.port_read_s
    if signs.alive_s is None or off_s is None or load is not FeedLoad.OFF:
        return signs.heard
    return signs.alive_s >= off_s


def remember_signs(signs: LegSigns, load: FeedLoad, found: tuple[Sign, ...], past: SignMemory) -> SignMemory:
    """Return the memory with what is said now; a witness that is silent keeps what it said last."""
    said = dict(past.said)
    for sign in found:
        before = said.get(sign.witness)
        if before is None:
            said[sign.witness] = Said(sign.says, sign.read_s)
        elif before.says is not sign.says:
            said[sign.witness] = Said(sign.says, sign.read_s, before.says)
        elif before.since_s is not None and before.since_s > signs.time_s:
            said[sign.witness] = replace(before, since_s=sign.read_s)  # the clock was set back
    same = load is past.load and past.load_since_s is not None and past.load_since_s <= signs.time_s
    held = past.held or (load is FeedLoad.STANDBY and signs.spare_feed != "hidden")
    since_s = past.load_since_s if same else signs.port_read_s
    return replace(past, said=said, load=load, load_since_s=since_s, held=held)


def weigh(signs: LegSigns, found: tuple[Sign, ...], past: SignMemory, neighbours: Neighbours) -> AcVerdict:
    """Return what the signs come to. `past` is the memory that has them already (`remember_signs`)."""
    counted = [sign for sign in found if not _is_outdated(sign, found, past, signs)]
    aside = [f"{sign.words} (read before that changed)" for sign in found if sign not in counted]
    own = {sign.says for sign in counted if sign.witness is not Witness.PORT}
    port = next((sign.says for sign in counted if sign.witness is Witness.PORT), None)
    unit = own.pop() if len(own) == 1 else None
    split = bool(own)
    if unit is not None and port is None and _doubted(Witness.OWN_WORD, unit, past):
        aside.append("what the unit says of itself was contradicted before, and is not believed alone")
        counted, unit = [], None
    if port is not None and unit is None and not split and _doubted(Witness.PORT, port, past) and neighbours.lost < 2:
        aside.append("what the feeder's port shows was contradicted before, and is not believed alone")
        counted, port = [], None
    there = tuple(sign.words for sign in counted if sign.says is Says.THERE)
    lost = tuple(sign.words for sign in counted if sign.says is Says.LOST)
    says, contradicts, sure = _outcome(unit, port, neighbours, split=split)
    if neighbours.lost and neighbours.words and (says is Says.LOST or contradicts):
        lost = (*lost, neighbours.words)
    return AcVerdict(says, contradicts, sure, there, lost, tuple(aside))


def _outcome(
    unit: Says | None, port: Says | None, neighbours: Neighbours, *, split: bool
) -> tuple[Says | None, bool, bool]:
    """Return (what it comes to, whether the signs contradict each other, whether two origins agree)."""
    if unit is not None and port is not None and unit is not port:
        if port is Says.LOST and neighbours.lost >= 2:
            return Says.LOST, False, False
        return None, True, False
    says = port if unit is None else unit
    if says is None:
        return None, split, False
    agreed = says is Says.LOST and neighbours.lost > 0
    return says, False, not split and (agreed or (unit is not None and port is not None))


def _is_outdated(sign: Sign, found: tuple[Sign, ...], past: SignMemory, signs: LegSigns) -> bool:
    """Say whether a sign was read before another one changed, with which it had agreed until then.

    What a unit says gives way at once; a port's watts only where their next reading is overdue.
    """
    if sign.read_s is None:
        return False
    if sign.witness is Witness.PORT and signs.time_s - sign.read_s <= LATE_POLLS * signs.every_s:
        return False
    for other in found:
        said = past.said.get(other.witness)
        if other.says is sign.says or said is None or said.since_s is None or said.before is not sign.says:
            continue
        if said.since_s > sign.read_s:
            return True
    return False


def doubt(signs: LegSigns, found: tuple[Sign, ...], past: SignMemory) -> SignMemory:
    """Return the memory with what was contradicted by a sign that was read after it, or has moved with the other."""
    port = next((sign for sign in found if sign.witness is Witness.PORT), None)
    own = [sign for sign in found if sign.witness is not Witness.PORT]
    if port is None or not own or len({sign.says for sign in own}) > 1:
        return past
    unit = own[0]
    if unit.says is port.says:
        other = Says.THERE if unit.says is Says.LOST else Says.LOST
        cleared = past.doubted - {(Witness.OWN_WORD, other), (Witness.PORT, other)}
        return past if cleared == past.doubted else replace(past, doubted=cleared)
    if not (_settled(unit, port, past, signs.every_s) and _settled(port, unit, past, signs.every_s)):
        return past
    doubted = past.doubted | {(Witness.OWN_WORD, unit.says), (Witness.PORT, port.says)}
    return past if doubted == past.doubted else replace(past, doubted=doubted)


def _settled(sign: Sign, other: Sign, past: SignMemory, every_s: float) -> bool:
    """Say whether a sign was read again a poll interval and more after the other began to say what it says."""
    said = past.said.get(other.witness)
    if sign.read_s is None or said is None or said.since_s is None:
        return False
    return sign.read_s > said.since_s + every_s


def _doubted(witness: Witness, says: Says, past: SignMemory) -> bool:
    return (witness, says) in past.doubted
