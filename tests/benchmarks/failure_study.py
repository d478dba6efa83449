"""How long the failure study takes, how it grows, and how much faster it is than from scratch in the same run.

    .venv/bin/python -m tests.benchmarks.failure_study [--units 10 100 1000] [--pairs]

Times are CPU seconds of this process (the machine may have other work); memory is what the study adds on top of the
site, and the process's peak. From scratch means: every unit worked out anew for each failure.
"""

from __future__ import annotations

import argparse
import gc
import resource
import time

from tests.powerflow.random_sites import large_site
from tests.powerflow.sites import ferry_terminal

from portdraw.plan.load_case import Case
from portdraw.powerflow.failure import circuit_pairs, single_failures
from portdraw.powerflow.failure_study import base_state, study_failures, study_one
from portdraw.powerflow.load import Load, planned_load, uncertain_load, worst_steady_load
from portdraw.powerflow.network import Network, network_of

SAMPLES = 20


def peak_mb() -> float:
    """The process's largest memory so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def timed(network: Network, load: Load) -> tuple[float, int]:
    """CPU seconds of one whole study, and how many failures it had."""
    gc.collect()
    began = time.process_time()
    results = study_failures(network, load).results
    return time.process_time() - began, len(results)


def one_size(units: int, pairs: bool) -> None:
    site = large_site(units)
    before_mb = peak_mb()
    began = time.process_time()
    network = network_of(site)
    compiled_s = time.process_time() - began
    began = time.process_time()
    load = planned_load(network, Case.FROST_NIGHT)
    load_s = time.process_time() - began
    study_s, count = timed(network, load)
    base = base_state(network, load)
    failures = single_failures(network)
    chosen = failures[:: max(1, len(failures) // SAMPLES)]
    began = time.process_time()
    for failure in chosen:
        study_one(base, failure, whole=True)
    scratch_s = (time.process_time() - began) / len(chosen)
    print(
        f"{units:5d} units, {network.device_count():6d} devices, {count:5d} failures: compile {compiled_s:.3f} s, "
        f"load {load_s:.3f} s, study {study_s:.3f} s ({study_s / count * 1e6:.0f} us a failure), from scratch "
        f"{scratch_s * 1e3:.1f} ms each = {scratch_s * count / study_s:.0f} times as long; "
        f"memory +{peak_mb() - before_mb:.0f} MB, peak {peak_mb():.0f} MB"
    )
    whole_s = study_s
    for more in (planned_load(network, Case.TYPICAL), worst_steady_load(network)):
        whole_s += timed(network, more)[0]
    print(f"      three loads: {whole_s:.3f} s")
    if pairs:
        every = list(circuit_pairs(network))
        began = time.process_time()
        study_failures(network, load, failures=every)
        print(f"      {len(every)} pairs of circuits: {time.process_time() - began:.3f} s")


def ferry() -> None:
    network = network_of(ferry_terminal())
    loads = (
        uncertain_load(network, planned_load(network, Case.TYPICAL), 5),
        uncertain_load(network, planned_load(network, Case.NIGHT), 5),
        worst_steady_load(network),
    )
    best = min(sum(timed(network, load)[0] for load in loads) for _ in range(5))
    print(f"ferry terminal, live study, three loads: {best * 1e3:.1f} ms (best of 5)")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, nargs="*", default=[10, 100, 1000])
    parser.add_argument("--pairs", action="store_true")
    options = parser.parse_args()
    ferry()
    for units in options.units:
        one_size(units, options.pairs and units == max(options.units))


if __name__ == "__main__":
    main()
