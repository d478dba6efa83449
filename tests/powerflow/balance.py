"""The balance that wraps every roll-up: sources give = devices take + cables lose + units use + conversion loses.

Nothing here calls the formulas under test: device watts come from the plan, cables are solved by bisection from
the declared length, and each conversion is a difference of declared efficiencies.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pytest

from portdraw.plan.load_case import Case, declared_w
from portdraw.plan.site import Cable, Site
from portdraw.powerflow.unit_flow import CarriedBy, UnitFlow

FIELDS = {Case.TYPICAL: "typical_w", Case.NIGHT: "night_w", Case.FROST_NIGHT: "frost_night_w"}


@dataclass(frozen=True)
class Balance:
    """Watts of the whole site, from AC down to the devices."""

    sources_w: float
    devices_w: float
    cables_w: float
    own_use_w: float
    standby_w: float
    conversion_w: float
    core_conversion_w: float

    @property
    def residual_w(self) -> float:
        """What is given and taken by nobody."""
        taken_w = self.devices_w + self.cables_w + self.own_use_w + self.standby_w + self.conversion_w
        return self.sources_w - taken_w


def run_ohm(cable: Cable | None, pairs: int) -> float:
    """Loop of a declared copper category cable: 9.38 ohm per 100 m (TIA-568.2), 0.393 %/K (IEC 60028)."""
    assert cable is not None
    assert cable.conductor == "copper"
    assert cable.ambient_c is not None
    assert cable.rise_k is not None
    factor = 1 + 0.00393 * (cable.ambient_c + cable.rise_k - 20)
    return (0.0938 * cable.length_m * factor + cable.connectors_ohm + cable.series_ohm) * 2 / pairs


def port_watts(pd_w: float, source_v: float, ohm: float) -> float:
    """PSE watts for a device's watts, by bisection over the current up to the top of what the cable can pass."""
    low_a, high_a = 0.0, source_v / (2 * ohm)
    for _ in range(200):
        middle_a = (low_a + high_a) / 2
        if source_v * middle_a - ohm * middle_a**2 < pd_w:
            low_a = middle_a
        else:
            high_a = middle_a
    return source_v * low_a


def balance(site: Site, flows: Mapping[str, UnitFlow], case: Case) -> Balance:
    """The balance of a site whose devices all draw the plan's watts of a case; outputs regulated at `voltage_v`."""
    devices_w = cables_w = own_w = standby_w = conversion_w = core_w = 0.0
    for name, flow in flows.items():
        unit = site.units[name]
        if not flow.powered:
            continue
        assert flow.leg in (CarriedBy.AC, CarriedBy.FEED), "a balance needs to know which leg carries"
        assert unit.own_use_w is not None
        own_w += unit.own_use_w
        if flow.leg is CarriedBy.AC:
            assert unit.pse is not None
            dc_w = unit.own_use_w + flow.outputs_w / unit.pse.output_efficiency
            lost_w = dc_w - unit.own_use_w - flow.outputs_w
            shares = [supply.pse_share_w or 1.0 for supply in unit.supplies]
            lost_w += sum(
                dc_w * share / sum(shares) * (1 / supply.efficiency - 1)
                for share, supply in zip(shares, unit.supplies, strict=True)
            )
        else:
            assert unit.fed is not None
            lost_w = flow.outputs_w * (1 / unit.fed.efficiency - 1)
        conversion_w += lost_w
        core_w += lost_w if not flow.feeds_w else 0.0
        if flow.leg is CarriedBy.AC and flow.feeds_w:
            assert unit.fed is not None
            standby_w += unit.fed.standby_w or 0.0
        for port in unit.ports.values():
            assert unit.pse is not None
            assert unit.pse.voltage_v is not None
            if port.device is not None:
                pd_w = declared_w(site, port, FIELDS[case])
                assert pd_w is not None
                kind = site.device_types[port.type or ""]
                assert isinstance(kind.device_class, int)
                ohm = run_ohm(port.cable, 4 if kind.device_class >= 5 else 2)
                devices_w += pd_w
                cables_w += port_watts(pd_w, unit.pse.voltage_v, ohm) - pd_w
            elif port.feeds_unit is not None and flows[port.feeds_unit].feeder_w is not None:
                fed_w = flows[port.feeds_unit].feeder_w or 0.0
                assert isinstance(port.device_class, int)
                ohm = run_ohm(port.cable, 4 if port.device_class >= 5 else 2)
                cables_w += (fed_w / unit.pse.voltage_v) ** 2 * ohm
    sources_w = sum(flow.ac_w for flow in flows.values())
    return Balance(sources_w, devices_w, cables_w, own_w, standby_w, conversion_w, core_w)


def check_balance(site: Site, flows: Mapping[str, UnitFlow], case: Case) -> Balance:
    """Assert that nothing is counted twice and nothing is missing, to a microwatt of arithmetic."""
    found = balance(site, flows, case)
    assert found.residual_w == pytest.approx(0.0, abs=1e-6)
    return found
