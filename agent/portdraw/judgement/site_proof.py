"""The unit proof of every unit of a site in one cycle: the plan's bounds and the feeder's port go with each."""

from __future__ import annotations

from collections.abc import Mapping

from portdraw.judgement.assessment import Carrying
from portdraw.judgement.draw_estimates import carried_feeds
from portdraw.judgement.memory import Memory
from portdraw.judgement.poll_run import USABLE
from portdraw.judgement.port_draw import ABOVE_SUPPLY, hardware_most_w, supply_w
from portdraw.judgement.unit_proof import Bounds, FeederSide, UnitProof, prove
from portdraw.observation.record import Basis, PortState, Quantity
from portdraw.observation.unit_observation import UnitObservation
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.powerflow.port_link import class_pse_w
from portdraw.powerflow.two_legs import feeder_w


def prove_units(
    site: Site, tree: Tree, observations: Mapping[str, UnitObservation], memory: Memory
) -> tuple[dict[str, UnitObservation], dict[str, UnitProof]]:
    """Return the newest polls without the sources that are refused, and what is known of each unit's sources."""
    feeds = carried_feeds(memory.legs)
    used = dict(observations)
    proofs = dict(memory.unit_proofs)
    for name, observation in observations.items():
        if observation.outcome not in USABLE or name not in site.units:
            continue
        before = proofs.get(name, UnitProof())
        if before.raw is not observation:
            feeder = None
            if feeds.get(name) is Carrying.ALL:
                feeder = _feeder(site, tree, name, observations, memory)
            before = prove(observation, before, Bounds(_most_w(site, name, observation)), feeder)
            proofs[name] = before
        if before.used is not None:
            used[name] = before.used
    return used, proofs


def _most_w(site: Site, unit: str, observation: UnitObservation) -> float:
    """Return the most that the ports that deliver may draw together [W]: by their classes, and by the supply."""
    by_classes_w = 0.0
    for port in observation.ports():
        state = observation.text(port, Quantity.PORT_STATE)
        if state is not None and state not in (PortState.DELIVERING, PortState.TEST):
            continue
        told = observation.number(port, Quantity.PORT_CLASS)
        known = told is not None and 0 < told < 4  # class 0 is what an idle or unknown device shows, 4 is 4 or above
        most_w = hardware_most_w(site, unit)
        by_classes_w += class_pse_w(int(told)) if known and told is not None else most_w
    by_supply_w = supply_w(site, unit, observation)
    return by_classes_w if by_supply_w is None else min(by_classes_w, by_supply_w * ABOVE_SUPPLY)


def _feeder(
    site: Site, tree: Tree, unit: str, observations: Mapping[str, UnitObservation], memory: Memory
) -> FeederSide | None:
    """Return the feeder's port of a unit that stands on its feed, where the feeder measures it."""
    found = tree.feeder_of(unit)
    if found is None:
        return None
    feeder, port = found
    answer = observations.get(feeder)
    if answer is None or answer.outcome not in USABLE:
        answer = memory.heard.get(feeder)
    record = None if answer is None else answer.get(port, Quantity.PORT_DRAW)
    gives_w = None if record is None or record.basis is not Basis.MEASURED else record.number()
    if gives_w is None:
        return None
    return FeederSide(f"{feeder} port {port}", gives_w, lambda outputs_w: feeder_w(site, tree, unit, outputs_w))
