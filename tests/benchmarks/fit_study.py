"""How long fit and restart take, and how much longer the same answers take with every state solved from scratch.

    .venv/bin/python -m tests.benchmarks.fit_study [--units 100]

Times are CPU seconds of this process (the machine may have other work). The yardstick is one state of the site solved
from scratch in the same run, on a sample of failures: for fit as often as there are free ports, cases with a start-up
beside each, and failures; restart is given as so many solutions from scratch.
"""

from __future__ import annotations

import argparse
import time

from tests.powerflow.random_sites import large_site
from tests.powerflow.sites import ferry_terminal

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.powerflow.failure import all_unbacked_ac, single_failures
from portdraw.powerflow.fit import study_fit
from portdraw.powerflow.fit_result import STEADY
from portdraw.powerflow.free_port import Wish
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.network import network_of
from portdraw.powerflow.restart import study_restart
from portdraw.powerflow.solve import solve
from portdraw.powerflow.start_up import start_up_of
from portdraw.powerflow.state import NOTHING_OUT
from portdraw.reporting.studies.restart_study import study_restarts

SAMPLES = 20
WISH = Wish(3, 7.0, 9.0, 12.0, 14.0, length_m=30, cable_type="cat6a", conductor="copper")


def scratch_s(site: Site) -> tuple[float, int]:
    """CPU seconds of one state solved from nothing, and how many failures the site has."""
    network = network_of(site)
    load = planned_load(network, Case.FROST_NIGHT)
    failures = [*single_failures(network), *filter(None, [all_unbacked_ac(network)])]
    chosen = failures[:: max(1, len(failures) // SAMPLES)]
    began = time.process_time()
    for failure in chosen:
        solve(network, load, NOTHING_OUT.plus(failure.outage))
    return (time.process_time() - began) / len(chosen), len(failures)


def one_site(name: str, site: Site, near: str) -> None:
    one_s, failures = scratch_s(site)
    began = time.process_time()
    fit = study_fit(site, WISH)
    fit_s = time.process_time() - began
    whole_s = one_s * (failures + 1) * len(STEADY) * 2 * len(fit.ports)
    offered = sum(port.fits for port in fit.ports)
    print(
        f"{name}: fit {fit_s:.3f} s for {len(fit.ports)} kinds of free ports ({offered} fit), {failures} failures; "
        f"from scratch {whole_s:.1f} s = {whole_s / fit_s:.0f} times as long"
    )
    began = time.process_time()
    study_fit(site, Wish(3, 7.0, 9.0, 12.0, 14.0, length_m=30, conductor="copper", near=near), most_ports=1)
    print(f"      one port: {time.process_time() - began:.3f} s")
    network = network_of(site)
    start_up = start_up_of(network, planned_load(network, Case.NIGHT))
    began = time.process_time()
    restart = study_restart(network, start_up, propose=False)
    course_s = time.process_time() - began
    print(
        f"      restart, one course: {course_s:.3f} s for {len(restart.course.moments)} moments, as long as "
        f"{course_s / one_s:.0f} states from scratch ({one_s * 1e3:.2f} ms each)"
    )
    began = time.process_time()
    study = study_restarts(site)
    print(
        f"      restart, whole study: {time.process_time() - began:.3f} s for {len(study.rows)} courses and "
        f"{sum(len(step.cases) for step in study.steps)} changes of legs"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, default=100)
    options = parser.parse_args()
    one_site("ferry terminal", ferry_terminal(), "north-pier")
    one_site(f"{options.units} units", large_site(options.units, devices=24), "u12")


if __name__ == "__main__":
    main()
