"""Volts and watts of random cascades against an independent circuit simulator (ngspice, Debian package ngspice)."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.powerflow.cascades import VOLTS, Cascade, cascade
from tests.requirements import need_program

from portdraw.plan.load_case import Case
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.network import network_of
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.solve import solve
from portdraw.powerflow.state import NOTHING_OUT

WANTED = 200
LEAST_V = 37.0  # below it a constant-power load has a second root near by, on which a simulator may settle
TOLERANCE = 1e-3


def deck(found: Cascade) -> tuple[str, list[str]]:
    """The netlist: constant-power loads as current sources P / V, regulated outputs as ideal sources."""
    lines, hints, nodes = ["* cascade"], [".options reltol=1e-6 abstol=1e-9 vntol=1e-9 gmin=1e-12"], []
    for unit in found.own_w:
        out = f"o{unit}"
        mine = [run for run in found.runs if run.unit == unit]
        source = out if unit in found.boosted else f"i{unit}"
        amps = (
            "+".join(f"(v({source})-v({_node(run.unit, run.port, run.below)}))/{run.ohm:.9g}" for run in mine) or "0"
        )
        if unit in found.boosted:
            lines.append(f"V{unit} {out} 0 {VOLTS}")
            hints.append(f".nodeset v({out})={VOLTS}")
            taken = f"({found.own_w[unit]}+{VOLTS}*({amps})/{found.efficiency[unit]})/max(v(i{unit}),5)"
        else:
            lost = 1 / found.efficiency[unit] - 1
            taken = f"{found.own_w[unit]}/max(v(i{unit}),5)+{lost:.9g}*({amps})"
        if unit != "u0":
            lines.append(f"B{unit} i{unit} 0 I={taken}")
            hints.append(f".nodeset v(i{unit})={VOLTS}")
            nodes.append(f"i{unit}")
        for run in mine:
            node = _node(run.unit, run.port, run.below)
            lines.append(f"R{unit}_{run.port} {source} {node} {run.ohm:.9g}")
            if run.below is None:
                lines.append(f"B{unit}_{run.port} {node} 0 I={run.pd_w}/max(v({node}),5)")
                hints.append(f".nodeset v({node})={VOLTS}")
                nodes.append(node)
    control = [".control", "set numdgt=12", "op", *(f"print v({node})" for node in nodes), ".endc", ".end"]
    return "\n".join([*lines, *hints, *control, ""]), nodes


def _node(unit: str, port: str, below: str | None) -> str:
    return f"d{unit}_{port}" if below is None else f"i{below}"


def volts_of(program: str, folder: Path, found: Cascade) -> dict[str, float]:
    """Volts at every node, as the simulator has them."""
    text, nodes = deck(found)
    path = folder / "cascade.cir"
    path.write_text(text, encoding="ascii")
    done = subprocess.run([program, "-b", str(path)], capture_output=True, text=True, timeout=30, check=False)
    printed = dict(re.findall(r"^v\((\w+)\) = ([-+.\deE]+)", done.stdout.lower(), re.MULTILINE))
    assert set(printed) == {node.lower() for node in nodes}, done.stdout + done.stderr
    return {node: float(printed[node.lower()]) for node in nodes}


def ours(found: Cascade) -> tuple[Solution, bool]:
    """The power flow's solution, and whether every port has power."""
    network = network_of(found.site)
    solution = solve(network, planned_load(network, Case.TYPICAL), NOTHING_OUT)
    whole = all(
        solution.power(unit.index) and solution.port_state(unit.index, port.at)
        for unit in network.units
        for port in unit.ports
    )
    return solution, whole


def compared(program: str, folder: Path) -> Iterator[tuple[Cascade, Solution, dict[str, float]]]:
    for seed in range(2 * WANTED):
        found = cascade(seed)
        solution, whole = ours(found)
        volts = volts_of(program, folder, found) if whole else {}
        if whole and min(volts.values(), default=VOLTS) >= LEAST_V:
            yield found, solution, volts


def test_two_hundred_cascades_agree(tmp_path: Path) -> None:
    program = need_program("ngspice")
    count = following = deepest = 0
    for found, solution, volts in compared(program, tmp_path):
        network = solution.network
        for run in found.runs:
            unit = network.units[network.index[run.unit]]
            port = next(port for port in unit.ports if port.key == run.port)
            source_v = VOLTS if run.unit in found.boosted else volts[f"i{run.unit}"]
            pd_v = volts[_node(run.unit, run.port, run.below)]
            amps = (source_v - pd_v) / run.ohm
            if run.below is None:
                assert run.pd_w is not None
                load = solution.load.units[unit.index]
                power = port.line.carry(load.pd_likely[port.at], source_v)
                assert power.pd_v == pytest.approx(pd_v, rel=TOLERANCE)
                assert power.pse_w == pytest.approx(source_v * amps, rel=TOLERANCE)
            else:
                ask = solution.demand(network.index[run.below]).feeds[0]
                assert ask.pd_v == pytest.approx(pd_v, rel=TOLERANCE)
                assert ask.pd_w == pytest.approx(pd_v * amps, rel=TOLERANCE)
                assert ask.most_w == pytest.approx(source_v * amps, rel=TOLERANCE)
        served_w = sum(
            (VOLTS - volts[_node(run.unit, run.port, run.below)]) / run.ohm * VOLTS
            for run in found.runs
            if run.unit == "u0"
        )
        assert solution.demand(network.index["u0"]).served_w == pytest.approx(served_w, rel=TOLERANCE)
        count += 1
        following += len(found.boosted) < len(found.own_w)
        deepest = max(deepest, max(network.tree.tier(name) for name in found.own_w))
        if count == WANTED:
            break
    assert count == WANTED
    assert following >= WANTED // 3
    assert deepest >= 4
