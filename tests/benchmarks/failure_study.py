"""How long the failure study takes, how it grows, and how it compares with solving each case from scratch.

    .venv/bin/python -m tests.benchmarks.failure_study [--units 10 100 1000] [--pairs] [--samples 60]

Times are CPU seconds of this process (the machine may have other work); memory is the process's peak, the site
included. From scratch means: every unit worked out anew for each failure, in the same run; each sample is compared
with the study's own result, and a difference ends the run with exit code 1. Each size is timed three times, the best
counts.
"""

from __future__ import annotations

import argparse
import gc
import math
import resource
import sys
import time

from tests.powerflow.random_sites import large_site, small_site
from tests.powerflow.sites import ferry_terminal

from portdraw.plan.load_case import Case
from portdraw.powerflow.failure import circuit_pairs, single_failures
from portdraw.powerflow.failure_result import FailureResult
from portdraw.powerflow.failure_study import base_state, study_failures, study_one
from portdraw.powerflow.load import Load, planned_load, uncertain_load, worst_steady_load
from portdraw.powerflow.network import Network, network_of

SMALL_SITES = 40
RUNS = 3
COMPARED = (
    "dark_ports", "may_ports", "dark_unit_numbers", "unreachable_numbers", "degraded_numbers", "moved_numbers",
    "one_leg_numbers", "restart_numbers", "verdict",
)  # fmt: skip


def peak_mb() -> float:
    """The process's largest memory so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def timed(network: Network, load: Load) -> tuple[float, int]:
    """CPU seconds of one whole study, the best of some, and how many failures it had."""
    best, count = math.inf, 0
    for _ in range(RUNS):
        gc.collect()
        began = time.process_time()
        count = len(study_failures(network, load).results)
        best = min(best, time.process_time() - began)
    return best, count


def same(one: FailureResult, other: FailureResult) -> bool:
    """Whether two results say the same; watts and minutes within arithmetic."""
    for field in COMPARED:
        if getattr(one, field) != getattr(other, field):
            return False
    figures = [(None if found.worst is None else (found.worst.limit, found.worst.need_w)) for found in (one, other)]
    if (figures[0] is None) != (figures[1] is None):
        return False
    if figures[0] and figures[1]:
        near = math.isclose(figures[0][1], figures[1][1], rel_tol=1e-7, abs_tol=1e-5)
        if figures[0][0] != figures[1][0] or not near:
            return False
    minutes = (one.minutes, other.minutes)
    return minutes[0] == minutes[1] or (None not in minutes and math.isclose(minutes[0] or 0, minutes[1] or 0))


def one_size(units: int, samples: int, pairs: bool) -> bool:
    began = time.process_time()
    network = network_of(large_site(units))
    compiled_s = time.process_time() - began
    began = time.process_time()
    load = planned_load(network, Case.FROST_NIGHT)
    load_s = time.process_time() - began
    study_s, count = timed(network, load)
    base = base_state(network, load)
    failures = single_failures(network)
    chosen = failures[:: max(1, len(failures) // samples)][:samples]
    began = time.process_time()
    scratch = [study_one(base, failure, whole=True) for failure in chosen]
    scratch_s = (time.process_time() - began) / len(chosen)
    equal = sum(same(study_one(base, failure), found) for failure, found in zip(chosen, scratch, strict=True))
    whole_s = study_s + sum(
        timed(network, more)[0] for more in (planned_load(network, Case.TYPICAL), worst_steady_load(network))
    )
    print(
        f"{units:6d} {network.device_count():8d} {count:9d} {compiled_s + load_s:9.3f} {study_s:8.3f} "
        f"{study_s / count * 1e6:11.0f} {whole_s:10.3f} {scratch_s * 1e3:11.1f} "
        f"{scratch_s * count / study_s:7.0f} {equal:5d}/{len(chosen):<3d} {peak_mb():8.0f}"
    )
    if pairs:
        every = tuple(circuit_pairs(network))
        gc.collect()
        began = time.process_time()
        study_failures(network, load, failures=every)
        paired_s = time.process_time() - began
        print(f"       all {len(every)} pairs of circuits, one load: {paired_s:.1f} s, peak {peak_mb():.0f} MB")
    return equal == len(chosen)


def small_sites() -> bool:
    """Every failure and every pair of the small sites, both ways."""
    count = equal = 0
    for seed in range(SMALL_SITES):
        network = network_of(small_site(seed, plain=seed % 2 == 0))
        planned = planned_load(network, Case.FROST_NIGHT)
        for load in (planned, uncertain_load(network, planned, 5)):
            base = base_state(network, load)
            for failure in (*single_failures(network), *circuit_pairs(network)):
                count += 1
                equal += same(study_one(base, failure), study_one(base, failure, whole=True))
    print(f"{SMALL_SITES} small sites, all failures and pairs, exact and within bounds: {equal} of {count} equal")
    return equal == count


def ferry() -> None:
    network = network_of(ferry_terminal())
    loads = (
        uncertain_load(network, planned_load(network, Case.TYPICAL), 5),
        uncertain_load(network, planned_load(network, Case.NIGHT), 5),
        worst_steady_load(network),
    )
    best = min(sum(timed(network, load)[0] for load in loads) for _ in range(RUNS))
    print(f"ferry terminal, live study, three loads: {best * 1e3:.1f} ms")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, nargs="*", default=[10, 30, 100, 300, 1000])
    parser.add_argument("--samples", type=int, default=60)
    parser.add_argument("--pairs", action="store_true")
    options = parser.parse_args()
    ferry()
    good = small_sites()
    print(
        " units  devices  failures compile_s  study_s us_a_failure three_loads scratch_ms   times equal      peak_MB"
    )
    for units in options.units:
        good = one_size(units, options.samples, options.pairs and units == max(options.units)) and good
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
