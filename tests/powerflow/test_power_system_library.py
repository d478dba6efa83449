"""Volts of radial networks against pandapower, a published power-systems library (Newton-Raphson load flow).

The library solves three phases; with lines of resistance only and loads of power factor 1 its equations per unit
are those of direct current: v^2 - v + r p = 0 with r = R P / V^2. Units follow their input and convert without loss,
so that a whole cascade is one such network. A mesh or a regulated output would be another kind of network.
"""

from __future__ import annotations

import importlib
import importlib.util
from typing import Any

import pytest
from tests.powerflow.cascades import VOLTS, Cascade, cascade

from portdraw.plan.load_case import Case
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.network import network_of
from portdraw.powerflow.solve import solve
from portdraw.powerflow.state import NOTHING_OUT

NETWORKS = 12


def library_volts(found: Cascade) -> dict[str, float]:
    """Volts at every unit's input and every device, as the library has them."""
    pp: Any = importlib.import_module("pandapower")

    net: Any = pp.create_empty_network(sn_mva=1e-4)
    buses = {"u0": pp.create_bus(net, vn_kv=VOLTS / 1000)}
    pp.create_ext_grid(net, buses["u0"], vm_pu=1.0)
    for run in found.runs:
        node = run.below or f"{run.unit}-d{run.port}"
        buses[node] = pp.create_bus(net, vn_kv=VOLTS / 1000)
    for run in found.runs:
        node = run.below or f"{run.unit}-d{run.port}"
        pp.create_line_from_parameters(
            net, buses[run.unit], buses[node], length_km=1.0, r_ohm_per_km=run.ohm, x_ohm_per_km=0.0,
            c_nf_per_km=0.0, max_i_ka=1.0,
        )  # fmt: skip
        watts = found.own_w[run.below] if run.below else run.pd_w
        pp.create_load(net, buses[node], p_mw=(watts or 0.0) / 1e6, q_mvar=0.0)
    pp.runpp(net, algorithm="nr", init="flat", tolerance_mva=1e-14, numba=False, max_iteration=50)
    return {name: float(net.res_bus.vm_pu[bus]) * VOLTS for name, bus in buses.items()}


def test_radial_networks_agree() -> None:
    if importlib.util.find_spec("pandapower") is None:
        pytest.skip("the package pandapower is not installed here (it is among the development dependencies)")
    count = 0
    for seed in range(1000, 1000 + 4 * NETWORKS):
        found = cascade(seed, boosted_share=0.0, lossless=True)
        network = network_of(found.site)
        solution = solve(network, planned_load(network, Case.TYPICAL), NOTHING_OUT)
        if len(found.own_w) < 3 or not all(solution.power(unit.index) for unit in network.units):
            continue
        if any(solution.demand(unit.index).cut or solution.demand(unit.index).dropped for unit in network.units):
            continue
        volts = library_volts(found)
        for run in found.runs:
            if run.below is not None:
                ask = solution.demand(network.index[run.below]).feeds[0]
                assert ask.pd_v == pytest.approx(volts[run.below], rel=1e-6)
                continue
            unit = network.units[network.index[run.unit]]
            port = next(port for port in unit.ports if port.key == run.port)
            power = port.line.carry(run.pd_w or 0.0, volts[run.unit])
            assert power.pd_v == pytest.approx(volts[f"{run.unit}-d{run.port}"], rel=1e-6)
        count += 1
        if count == NETWORKS:
            return
    pytest.fail(f"only {count} networks could be compared")
