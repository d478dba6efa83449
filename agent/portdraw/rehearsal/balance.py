"""Where the watts of the emulated site go.

Sources give = devices take + cables lose + units use + conversion loses.
"""

from __future__ import annotations

from dataclasses import dataclass

from portdraw.plan.site import Site
from portdraw.rehearsal import transfer
from portdraw.rehearsal.plant import Plant
from portdraw.rehearsal.state import UnitState


@dataclass(frozen=True)
class Balance:
    """Watts of the whole site. `given_w` at the AC inlets of the units; `ups_lost_w` on top of it in the UPS.

    Each part is worked out on its own, so that the residual says something.
    """

    given_w: float
    devices_w: float
    cables_w: float
    own_use_w: float
    conversion_w: float
    ups_lost_w: float

    @property
    def residual_w(self) -> float:
        """What does not add up."""
        return self.given_w - self.devices_w - self.cables_w - self.own_use_w - self.conversion_w


def balance_of(site: Site, plant: Plant) -> Balance:
    """Return the balance at the plant's moment."""
    units = plant.units.values()
    ports = [port for unit in units for port in unit.ports.values()]
    outputs_w = ups_outputs_w(site, plant)
    return Balance(
        given_w=sum(unit.ac_w for unit in units),
        devices_w=sum(port.pd_w for port in ports if port.feeds is None),
        cables_w=sum(port.lost_w for port in ports),
        own_use_w=sum(unit.own_use_w for unit in units if unit.powered),
        conversion_w=sum(_lost_in(plant, unit) for unit in units),
        ups_lost_w=sum(watts * (1 / site.ups[name].efficiency - 1) for name, watts in outputs_w.items()),
    )


def source_w(site: Site, plant: Plant) -> dict[str, float]:
    """Return the watts of every circuit [at AC] and UPS [at its AC output], other loads in; a dead one has 0."""
    ups_w = ups_outputs_w(site, plant)
    watts = dict(ups_w)
    charging_w = plant.ac.charging_w(plant.time_s)
    for name, circuit in site.circuits.items():
        watts[name] = _units_on_w(plant, name) + circuit.other_load_w if plant.ac.live(name, plant.time_s) else 0.0
    for name, ups in site.ups.items():
        if plant.ac.ups_has_input(name, plant.time_s):
            watts[ups.input] += ups_w[name] / ups.efficiency + charging_w[name]
    return watts


def ups_outputs_w(site: Site, plant: Plant) -> dict[str, float]:
    """Return the watts at the AC output of each UPS, its other load included; a dead one gives 0."""
    return {
        name: _units_on_w(plant, name) + ups.other_load_w if plant.ac.live(name, plant.time_s) else 0.0
        for name, ups in site.ups.items()
    }


def _units_on_w(plant: Plant, source: str) -> float:
    return sum(
        watts
        for unit in plant.units.values()
        for module, watts in zip(unit.plan.supplies, unit.module_w, strict=False)
        if module.source == source
    )


def _lost_in(plant: Plant, unit: UnitState) -> float:
    """Return what a unit's supplies, output stage and feed stage turn into heat; a spare feed's standby is heat."""
    if not unit.powered:
        return 0.0
    lost_w = sum(
        watts * (1 - module.efficiency) for module, watts in zip(unit.plan.supplies, unit.module_w, strict=True)
    )
    on_ac = transfer.ac_share(unit)
    lost_w += on_ac * unit.outputs_w * (1 / unit.pse.output_efficiency - 1)
    lost_w += (1 - on_ac) * unit.outputs_w * (1 / unit.fed.efficiency - 1)
    spare = (at for at in range(len(unit.feeders)) if at not in unit.carrying)
    return lost_w + sum(plant.feeder_port(unit, at).pd_w for at in spare)
