"""The plan beside what was read: one assessment of the whole site. Unknown is never zero, and stale is never fine."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from portdraw.judgement.assessment import NOT_ASKED, Carrying, Leg, PortAssessment, SiteAssessment, UnitAssessment
from portdraw.judgement.draw_estimates import UnitDraws, carried_feeds, estimate_draws
from portdraw.judgement.headline import headline
from portdraw.judgement.leg_signs import Readings
from portdraw.judgement.legs import LOCAL_AC, POE_FEED
from portdraw.judgement.memory import (
    STALE_AFTER_POLLS,
    DeniedMemory,
    Memory,
    fresh,
    hear,
    remember_denied,
)
from portdraw.judgement.plan_sheet import PlanSheet, plan_now, plan_sheet
from portdraw.judgement.port_draw import PortPlan, assess_port
from portdraw.judgement.site_legs import SiteLegs, site_legs
from portdraw.judgement.site_proof import prove_units
from portdraw.judgement.unit_draw import UnitDraw, unit_draw
from portdraw.judgement.unit_proof import UnitProof
from portdraw.observation.record import Quantity
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.load_case import case_now, is_night
from portdraw.plan.ports import sort_key
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.powerflow.port_power import class_limit_w, port_class
from portdraw.powerflow.two_legs import budget_on_ac_w, budget_on_feed_w, feeder_w

_NO_PLAN = PortPlan(0.0, 0.0)


@dataclass(frozen=True)
class _Cycle:
    """What every step of one cycle needs. Times in s since the epoch."""

    site: Site
    tree: Tree
    sheet: PlanSheet
    memory: Memory
    time_s: float
    every_s: float

    @property
    def oldest_s(self) -> float:
        """Records read before this are stale."""
        return self.time_s - STALE_AFTER_POLLS * self.every_s

    def heard(self, unit: str) -> UnitObservation | None:
        return fresh(self.memory, unit, self.time_s, self.every_s)


def assess(
    site: Site,
    tree: Tree,
    observations: Mapping[str, UnitObservation],
    time_s: float,
    every_s: float,
    emulated: bool,
    memory: Memory,
) -> tuple[SiteAssessment, Memory]:
    """Return what is true of the site at a time, without alarms and what fails next, and the next cycle's memory.

    `observations` has the newest poll of each unit, whatever its outcome; `time_s` is seconds since the epoch,
    `every_s` the poll interval [s]. Of a unit that did not answer the last answer counts while it is fresh.
    """
    sheet = memory.sheet if memory.sheet is not None and memory.sheet.site is site else plan_sheet(site, tree)
    observations, proofs = prove_units(site, tree, observations, memory)
    memory = replace(hear(memory, observations, time_s), sheet=sheet, unit_proofs=proofs)
    cycle = _Cycle(site, tree, sheet, memory, time_s, every_s)
    cycle = replace(cycle, memory=replace(cycle.memory, draws=_draws(cycle)))
    case = case_now(site, time_s)
    ports = {name: _ports(cycle, name, sheet.first_plan(case)) for name in site.units}
    draws = {name: unit_draw(ports[name], cycle.heard(name), cycle.oldest_s) for name in site.units}
    readings = Readings(site, tree, cycle.memory, time_s, every_s, cycle.oldest_s)
    found = site_legs(readings, draws, observations)
    legs = found.legs
    feeds = {name: _carrying(legs[name], POE_FEED) for name in site.units}
    plans = plan_now(sheet, tree, feeds, case)
    units = tuple(
        _unit(cycle, name, observations.get(name), _planned(ports[name], plans), draws[name], found)
        for name in site.units
    )
    assessment = SiteAssessment(
        time_s=time_s,
        site=site.site.name,
        timezone=site.site.timezone,
        emulated=emulated,
        night=is_night(site, time_s),
        margin_percent=site.policy.margin_percent,
        units=units,
        next_failures=(),
        alarms=(),
        headline="",
        cycle=cycle.memory.cycle,
    )
    done = replace(found.memory, denied=_denied(cycle.memory, units, time_s))
    return replace(assessment, headline=headline(assessment)), done


def _ports(cycle: _Cycle, name: str, first_plan: Mapping[tuple[str, str], PortPlan]) -> tuple[PortAssessment, ...]:
    """Return the ports that the plan or the unit knows, by printed number, as read and with every feed spare."""
    observation = cycle.heard(name)
    keys = dict.fromkeys(cycle.site.units[name].ports)
    keys.update(dict.fromkeys(() if observation is None else observation.ports()))
    facts = cycle.sheet.facts
    estimates = cycle.memory.draws.get(name)
    return tuple(
        assess_port(
            cycle.site,
            name,
            key,
            first_plan.get((name, key), _NO_PLAN),
            observation,
            cycle.oldest_s,
            facts.get((name, key)),
            None if estimates is None else estimates.port(key),
        )
        for key in sorted(keys, key=sort_key)
    )


def _planned(
    ports: tuple[PortAssessment, ...], plans: Mapping[tuple[str, str], PortPlan]
) -> tuple[PortAssessment, ...]:
    """Return the ports with their plan as the legs stand; a port that the plan does not know has 0 W there."""
    return tuple(_with_plan(port, plans.get((port.unit, port.port), _NO_PLAN)) for port in ports)


def _with_plan(port: PortAssessment, plan: PortPlan) -> PortAssessment:
    if port.planned_now_w == plan.now_w and port.planned_max_w == plan.max_w:
        return port  # nearly always: only the plan of a feed follows the legs
    return replace(port, planned_now_w=plan.now_w, planned_max_w=plan.max_w)


def _unit(
    cycle: _Cycle,
    name: str,
    observation: UnitObservation | None,
    ports: tuple[PortAssessment, ...],
    draw: UnitDraw,
    found: SiteLegs,
) -> UnitAssessment:
    legs = found.legs[name]
    reach, reach_why = found.reach[name]
    spec = cycle.site.units[name]
    heard = cycle.memory.heard.get(name)
    fresh_answer = cycle.heard(name)
    outcome, reason = _outcome(observation, readable=spec.readable)
    on_ac_w = budget_on_ac_w(spec) if spec.supplies else None
    on_feed_w = _budget_on_feed(cycle, name, legs)
    budget_w = _budget_now(legs, on_ac_w, on_feed_w)
    need_w, limit_w = _feed_need(cycle, name, draw)
    return UnitAssessment(
        unit=name,
        place=spec.place,
        zone=spec.zone or "",
        outcome=outcome,
        reason=reason,
        read_s=None if heard is None else heard.ended_s,
        stale=spec.readable and fresh_answer is None,
        draw_w=draw.draw_w,
        draw_basis=draw.basis,
        draw_complete=draw.complete,
        total_w=draw.total_w,
        planned_now_w=sum(port.planned_now_w or 0.0 for port in ports),
        planned_max_w=sum(port.planned_max_w or 0.0 for port in ports),
        budget_w=budget_w,
        budget_on_ac_w=on_ac_w,
        budget_on_feed_w=on_feed_w,
        budget_reported_w=None if fresh_answer is None else fresh_answer.number(None, Quantity.UNIT_BUDGET),
        share=draw.draw_w / budget_w if draw.draw_w is not None and budget_w else None,
        feed_need_w=need_w,
        feed_limit_w=limit_w,
        legs=legs,
        ports=ports,
        fed_by=next((feeder for feeder, _ in cycle.tree.feeds_of(name)), None),
        notes=(
            *draw.notes,
            *_proof_notes(cycle.memory.unit_proofs.get(name)),
            *_pace_notes(fresh_answer),
            *_total_notes(cycle.memory.draws.get(name)),
            *_plan_notes(ports),
        ),
        reach=reach,
        reach_why=reach_why,
    )


def _outcome(observation: UnitObservation | None, *, readable: bool) -> tuple[Outcome, str]:
    if not readable:
        return Outcome.NOT_READABLE, "not readable by design: the site file gives no access to it"
    if observation is None:
        return Outcome.SILENT, NOT_ASKED
    return observation.outcome, observation.reason


def _draws(cycle: _Cycle) -> dict[str, UnitDraws]:
    """Return what the totals tell of ports, unit by unit, with what was learned before."""
    before, feeds = cycle.memory.draws, carried_feeds(cycle.memory.legs)
    found = {
        name: estimate_draws(
            cycle.tree, cycle.sheet, name, cycle.heard, feeds, before.get(name), cycle.oldest_s, cycle.every_s
        )
        for name in cycle.site.units
    }
    return {name: draws for name, draws in found.items() if draws is not None}


def _proof_notes(proof: UnitProof | None) -> tuple[str, ...]:
    return () if proof is None else proof.notes()


def _pace_notes(answer: UnitObservation | None) -> tuple[str, ...]:
    return () if answer is None or not answer.pace_note else (answer.pace_note,)


def _total_notes(draws: UnitDraws | None) -> tuple[str, ...]:
    return () if draws is None else draws.notes()


def _plan_notes(ports: tuple[PortAssessment, ...]) -> tuple[str, ...]:
    unplanned = [port.port for port in ports if port.planned and port.planned_now_w is None]
    if not unplanned:
        return ()
    return (f"no planned watts can be worked out for port {', '.join(unplanned)}: its planned sum is too low",)


def _budget_on_feed(cycle: _Cycle, name: str, legs: tuple[Leg, ...]) -> float | None:
    """Return the budget [W] on the feed: by the allocation in force while the feed carries, else by its class."""
    feeds = cycle.tree.feeds_of(name)
    if not feeds:
        return None
    granted_w = None
    if _carrying(legs, POE_FEED) in (Carrying.ALL, Carrying.PART):
        for feeder, key in feeds:
            answer = cycle.heard(feeder)
            if answer is not None and granted_w is None:
                granted_w = answer.number(key, Quantity.PORT_GRANTED)
    return budget_on_feed_w(cycle.site, cycle.tree, name, granted_w)


def _budget_now(legs: tuple[Leg, ...], on_ac_w: float | None, on_feed_w: float | None) -> float | None:
    """Return the budget [W] of the leg that carries now, the lesser of both where that is not known."""
    if on_feed_w is not None and _carrying(legs, POE_FEED) is Carrying.ALL:
        return on_feed_w
    if on_ac_w is not None and _carrying(legs, LOCAL_AC) is Carrying.ALL:
        return on_ac_w
    known = [budget_w for budget_w in (on_ac_w, on_feed_w) if budget_w is not None]
    return min(known) if known else None


def _feed_need(cycle: _Cycle, name: str, draw: UnitDraw) -> tuple[float | None, float | None]:
    """Return what the feeder's port would have to give if the unit's AC went now, and what it can [W, PSE output]."""
    feeder = cycle.tree.feeder_of(name)
    if feeder is None:
        return None, None
    limits = [class_limit_w(port_class(cycle.site, *feeder))]
    pse = cycle.site.units[feeder[0]].pse
    limits.append(None if pse is None else pse.port_limit_w)
    known = [limit_w for limit_w in limits if limit_w is not None]
    whole = draw.draw_w is not None and draw.complete
    need_w = feeder_w(cycle.site, cycle.tree, name, draw.draw_w) if whole and draw.draw_w is not None else None
    return need_w, min(known) if known else None


def _carrying(legs: tuple[Leg, ...], name: str) -> Carrying:
    return next((leg.carrying for leg in legs if leg.name == name), Carrying.UNKNOWN)


def _denied(memory: Memory, units: tuple[UnitAssessment, ...], time_s: float) -> dict[tuple[str, str], DeniedMemory]:
    denied = dict(memory.denied)
    for unit in units:
        for port in unit.ports:
            if port.denied_count is not None:
                key = (unit.unit, port.port)
                denied[key] = remember_denied(denied.get(key), port.denied_count, time_s)
    return denied
