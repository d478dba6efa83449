"""Watts at AC: what each supply, circuit and UPS gives in a solved state, and how long batteries last."""

from __future__ import annotations

from portdraw.plan.site import Ups
from portdraw.powerflow.demand import Demand
from portdraw.powerflow.failure import ups_input
from portdraw.powerflow.load import DARK
from portdraw.powerflow.network import NetUnit
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.standing import Standing
from portdraw.powerflow.two_legs import on_ac_by_supply_w
from portdraw.powerflow.unit_flow import CarriedBy


def supply_watts(solution: Solution, at: int) -> tuple[tuple[float, float], ...]:
    """Watts at AC of each supply of a unit, drawn and booked, in the file's order."""
    worked_out = solution.where_worked_out(at)
    found = worked_out.kept.get(at)
    if found is None:
        found = worked_out.kept[at] = _supply_watts(worked_out, at)
    return found


def _supply_watts(solution: Solution, at: int) -> tuple[tuple[float, float], ...]:
    unit = solution.network.units[at]
    return given_watts(unit, solution.standing(at), solution.demand(at), solution.power(at))


def given_watts(unit: NetUnit, standing: Standing, demand: Demand, power: int) -> tuple[tuple[float, float], ...]:
    """Watts at AC of each supply of a unit in some state, drawn and booked, in the file's order."""
    if standing.leg is CarriedBy.FEED or power == DARK or True not in standing.supplies:
        return ((0.0, 0.0),) * len(unit.sources)
    drawn_w, booked_w = demand.served_w, demand.served_booked_w
    shares = _shares(unit, standing.supplies)
    return tuple([(fixed_w + per_w * drawn_w, fixed_w + per_w * booked_w) for fixed_w, per_w in shares])


def source_watts(solution: Solution, name: str) -> tuple[float, float]:
    """Watts that a circuit or a UPS gives, drawn and booked, its other load included; nothing where it is out."""
    site = solution.network.site
    if name in solution.outage.sources:
        return (0.0, 0.0)
    drawn_w = booked_w = site.ups[name].other_load_w if name in site.ups else site.circuits[name].other_load_w
    for at, place in solution.network.supplies_on.get(name, ()):
        drawn, booked = supply_watts(solution, at)[place]
        drawn_w += drawn
        booked_w += booked
    for below in solution.network.ups_on.get(name, ()):
        if ups_input(below) not in solution.outage.inputs:
            drawn, booked = source_watts(solution, below)
            drawn_w += drawn / site.ups[below].efficiency
            booked_w += booked / site.ups[below].efficiency
    return (drawn_w, booked_w)


def on_battery(solution: Solution, name: str) -> bool:
    """Whether a UPS gives from its battery: its input is out and it is not flat."""
    outage = solution.outage
    if name in outage.sources:
        return False
    return solution.network.site.ups[name].input in outage.inputs or ups_input(name) in outage.inputs


def battery_minutes(solution: Solution, name: str) -> float:
    """Minutes that a UPS lasts at the load that it has in this state; infinite without any load.

    Wh x efficiency x health / W x 60. Common practice: real batteries give less at high currents and in the cold.
    """
    return minutes_at(solution.network.site.ups[name], source_watts(solution, name)[0])


def minutes_at(ups: Ups, drawn_w: float) -> float:
    """Minutes that a UPS lasts at a steady load; infinite without any."""
    if drawn_w <= 0:
        return float("inf")
    return ups.battery_wh * ups.efficiency * ups.health_percent / 100 / drawn_w * 60


def _shares(unit: NetUnit, supplies: tuple[bool, ...]) -> tuple[tuple[float, float], ...]:
    """What each supply takes at AC with idle ports [W], and for each watt that the ports give."""
    key = ("shares", supplies)
    found = unit.memo.get(key)
    if found is None:
        idle = on_ac_by_supply_w(unit.unit, 0.0, supplies)
        loaded = on_ac_by_supply_w(unit.unit, 1.0, supplies)
        found = tuple((idle_w, loaded_w - idle_w) for idle_w, loaded_w in zip(idle, loaded, strict=True))
        unit.memo[key] = found
    assert isinstance(found, tuple)
    return found
