"""Units that tell only their total: from their answers to the estimator and back, the plan being the first guess."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from portdraw.judgement.assessment import Carrying
from portdraw.judgement.estimate.estimate_state import KeyedMemory, dump, for_ports, load
from portdraw.judgement.estimate.learning import Learning
from portdraw.judgement.estimate.port_prior import PortPrior, planned_prior, unplanned_prior
from portdraw.judgement.estimate.total_grain import Told
from portdraw.judgement.estimate.total_watch import Outside, Sample
from portdraw.judgement.estimate.unit_estimate import PortEstimate, UnitEstimate, estimate, first_memory
from portdraw.judgement.legs import POE_FEED
from portdraw.judgement.plan_sheet import PlanSheet
from portdraw.judgement.port_draw import HARDWARE_MOST_W, PortEstimated, port_state, tells_ports
from portdraw.judgement.wording import count_text, watts_text
from portdraw.observation.record import Basis, PortState, Quantity, Record
from portdraw.observation.unit_observation import UnitObservation
from portdraw.plan.load_case import Case, declared_w, is_night
from portdraw.plan.ports import sort_key
from portdraw.plan.tree import Tree
from portdraw.powerflow.port_link import class_pse_w
from portdraw.powerflow.port_power import planned_port_w
from portdraw.powerflow.two_legs import feeder_w

TURNING_S = (
    2700.0  # devices turn to and from their night watts within 45 minutes of the site's night: common practice
)
_ON = {PortState.DELIVERING: True, PortState.TEST: None}
_STANDBY_SD_W = 0.5
_CARRYING_SD_SHARE = 0.1  # of a feed's draw: cable, own use and conversion are the plan's

Heard = Callable[[str], UnitObservation | None]


@dataclass(frozen=True)
class UnitDraws:
    """What lasts of one unit. `told_s` is when the total behind `found` was read; None: no total to share out now."""

    keyed: KeyedMemory
    sheet: PlanSheet = field(repr=False, compare=False)
    found: UnitEstimate | None = None
    told_s: float | None = None
    source: str = ""

    @property
    def learning(self) -> Learning:
        """What was learned."""
        return self.keyed.memory.learning

    def port(self, key: str) -> PortEstimated | None:
        """Return a port's estimate, None where there is none now."""
        if self.found is None or self.told_s is None or key not in self.keyed.keys:
            return None
        one = self.found.ports[self.keyed.keys.index(key)]
        basis = Basis.LEARNED if one.learned else Basis.ESTIMATED
        return PortEstimated(one.draw_w, one.off_w, basis, f"{self.source}: {_rests_on(one)}", self.told_s)

    def notes(self) -> tuple[str, ...]:
        """Return what is odd in the total."""
        if self.found is None:
            return ()
        notes = []
        if self.found.is_cycling:
            notes.append(
                f"its total stepped by up to {watts_text(self.found.cycling_w)} while no port changed its state: "
                "a load that no port tells of comes and goes, and each port's watts are that much less sure"
            )
        if not self.found.fits:
            notes.append("its total is more than the classes of its delivering ports allow together")
        return tuple(notes)

    def told(self) -> Told | None:
        """Return how the unit makes its total whole, as far as that is known."""
        return None if self.found is None else self.found.told


def estimate_draws(
    tree: Tree,
    sheet: PlanSheet,
    unit: str,
    heard: Heard,
    carrying: Mapping[str, Carrying],
    before: UnitDraws | None,
    oldest_s: float,
    every_s: float,
) -> UnitDraws | None:
    """Return the draws of a unit's ports from its total, with what was learned; None for a unit that needs none.

    `heard` gives a unit's fresh answer, `carrying` says what each unit's PoE feed carried in the last cycle. Records
    read before `oldest_s` [s since the epoch] are stale. `every_s` is the poll interval [s].
    """
    answer = heard(unit)
    total = None if answer is None or tells_ports(answer) else _total(answer, oldest_s)
    if answer is None or total is None:
        return None if before is None else replace(before, found=None, told_s=None)
    if before is not None and before.sheet is sheet and before.told_s == total.read_s:
        return before
    keys = tuple(sorted({*sheet.site.units[unit].ports, *answer.ports()}, key=sort_key))
    keyed = _keyed(tree, sheet, unit, keys, before)
    night = is_night(sheet.site, total.read_s)
    sample = Sample(
        time_s=total.read_s,
        total_w=total.number() or 0.0,
        on=tuple(_is_on(sheet, unit, key, port_state(answer, key, oldest_s)) for key in keys),
        night=night,
        turning=any(is_night(sheet.site, total.read_s + off_s) != night for off_s in (-TURNING_S, TURNING_S)),
        outside=_outside(tree, sheet, unit, keyed, heard, carrying),
        every_s=every_s,
    )
    memory, found = estimate(keyed.memory, sample)
    return UnitDraws(KeyedMemory(keys, memory), sheet, found, total.read_s, total.source)


def dumped(draws: UnitDraws) -> dict[str, Any]:
    """Return what was learned of a unit as JSON values."""
    return dump(draws.keyed)


def restored(tree: Tree, sheet: PlanSheet, unit: str, value: Mapping[str, Any]) -> UnitDraws:
    """Return what was learned of a unit, from JSON values. Raises ValueError where they can't be read."""
    keys = value.get("ports")
    if not isinstance(keys, list) or not all(isinstance(key, str) for key in keys):
        raise ValueError("what was learned of draws names no ports")
    return UnitDraws(load(value, keys, _priors(tree, sheet, unit, keys)), sheet)


def _keyed(tree: Tree, sheet: PlanSheet, unit: str, keys: tuple[str, ...], before: UnitDraws | None) -> KeyedMemory:
    if before is not None and before.keyed.keys == keys and before.sheet is sheet:
        return before.keyed
    priors = _priors(tree, sheet, unit, keys)
    if before is None:
        return KeyedMemory(keys, first_memory(priors))
    return for_ports(before.keyed, keys, priors)


def _is_on(sheet: PlanSheet, unit: str, key: str, state: PortState | None) -> bool | None:
    """Say whether a port delivers, None where that is not known; one without a state or a plan gives no power."""
    if state is None:
        facts = sheet.facts.get((unit, key))
        return None if facts is not None and facts.planned else False
    return _ON.get(state, False)


def _total(answer: UnitObservation, oldest_s: float) -> Record | None:
    record = answer.get(None, Quantity.UNIT_DRAW)
    if record is None or record.read_s < oldest_s or record.basis is not Basis.MEASURED:
        return None
    total_w = record.number()
    return record if total_w is not None and 0 <= total_w < float("inf") else None


def _priors(tree: Tree, sheet: PlanSheet, unit: str, keys: Sequence[str]) -> list[PortPrior]:
    return [_prior(tree, sheet, unit, key) for key in keys]


def _prior(tree: Tree, sheet: PlanSheet, unit: str, key: str) -> PortPrior:
    spec = sheet.site.units[unit]
    facts = sheet.facts.get((unit, key))
    limits_w = [HARDWARE_MOST_W]
    if facts is not None and facts.granted is not None:
        limits_w.append(class_pse_w(facts.granted))
    if spec.pse is not None and spec.pse.port_limit_w is not None:
        limits_w.append(spec.pse.port_limit_w)
    ceiling_w = min(limits_w)
    watts = sheet.watts.get((unit, key), {})
    day_w, night_w = watts.get(Case.TYPICAL), watts.get(Case.NIGHT)
    if facts is None or facts.port is None or not facts.planned or day_w is None or night_w is None:
        return unplanned_prior(ceiling_w)
    startup_w = planned_port_w(sheet.site, tree, unit, key, Case.STARTUP).pse_w
    startup_s = declared_w(sheet.site, facts.port, "startup_s")
    return planned_prior(day_w, night_w, ceiling_w, startup_w, startup_s, watts.get(Case.FROST_NIGHT))


def _outside(
    tree: Tree, sheet: PlanSheet, unit: str, keyed: KeyedMemory, heard: Heard, carrying: Mapping[str, Carrying]
) -> tuple[Outside, ...]:
    """Return the ports that feed a unit: what they give follows from who carries it and from its own answer."""
    found = []
    for place, key in enumerate(keyed.keys):
        port = sheet.site.units[unit].ports.get(key)
        below = None if port is None else port.feeds_unit
        if below is None:
            continue
        prior = keyed.memory.priors[place]
        standing = carrying.get(below, Carrying.UNKNOWN)
        watts = _given_to(tree, sheet, below, heard(below)) if standing is Carrying.ALL else None
        if standing is Carrying.NONE:
            found.append(Outside(place, prior.day_w, _STANDBY_SD_W))
        elif watts is not None:
            found.append(Outside(place, min(watts, prior.ceiling_w), _STANDBY_SD_W + _CARRYING_SD_SHARE * watts))
        else:
            found.append(Outside(place, prior.ceiling_w / 2, prior.ceiling_w / 3))
    return tuple(found)


def _given_to(tree: Tree, sheet: PlanSheet, below: str, answer: UnitObservation | None) -> float | None:
    """Return what the feeder's port gives a unit that stands on its feed [W at the PSE output], by its own answer."""
    if answer is None:
        return None
    outputs_w = answer.number(None, Quantity.UNIT_DRAW)
    if outputs_w is None:
        told = [answer.number(key, Quantity.PORT_DRAW) for key in answer.ports()]
        known = [watts for watts in told if watts is not None]
        outputs_w = sum(known) if known else None
    return None if outputs_w is None else feeder_w(sheet.site, tree, below, outputs_w)


def _rests_on(one: PortEstimate) -> str:
    if one.learned:
        return f"learned from {one.steps} steps of its own"
    if one.steps:
        return f"shared out; {count_text(one.steps, 'step')} of its own so far"
    return "shared out; never seen to switch, so no surer than the plan"


def carried_feeds(legs: Mapping[tuple[str, str], Any]) -> dict[str, Carrying]:
    """Return what each unit's PoE feed carried, from the memory of its legs (by unit and leg name)."""
    return {unit: leg.carrying for (unit, name), leg in legs.items() if name == POE_FEED}
