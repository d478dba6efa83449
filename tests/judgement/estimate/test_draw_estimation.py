"""The estimator over emulated weeks with known truth, on fixed seeds that the tuning (below 1000) never saw.

The benchmark `tests.benchmarks.draw_estimation` holds the same bounds on more units.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.judgement.estimate.emulated_totals import Scenario, emulate
from tests.judgement.estimate.scores import inside_by_day, score
from tests.judgement.estimate.trial import Trial, run_trial

from portdraw.judgement.estimate.learning import begin, learn
from portdraw.judgement.estimate.port_prior import planned_prior
from portdraw.judgement.estimate.total_grain import BIAS_SD, Told, told_as, ways
from portdraw.judgement.estimate.total_watch import Level, Mean, Sample
from portdraw.judgement.estimate.unit_estimate import estimate, first_memory

SEED = 2001
EVERY_S = 60.0
WAYS = [(np.floor, Told.TRUNCATED), (np.round, Told.ROUNDED), (np.ceil, Told.GOES_UP)]
WAY_NAMES = ["truncates", "rounds", "goes up"]
BIAS_W = {Told.TRUNCATED: -0.5, Told.ROUNDED: 0.0, Told.GOES_UP: 0.5}


@pytest.fixture(scope="module")
def few_never_switched() -> list[Trial]:
    told = ("truncates", "rounds", "goes up")
    return [
        run_trial(emulate(SEED + number, Scenario(never_switched=0.125, told=way, every_s=EVERY_S)))
        for number, way in enumerate(told)
    ]


@pytest.fixture(scope="module")
def none_switched() -> list[Trial]:
    return [
        run_trial(emulate(SEED + 10 + number, Scenario(ports=12, never_switched=1.0, every_s=240.0)))
        for number in range(4)
    ]


def test_ports_with_three_edges_are_within_two_fifths_of_a_watt(few_never_switched: list[Trial]) -> None:
    assert score(few_never_switched).switched_w < 0.4


def test_all_ports_are_at_most_half_as_wrong_as_the_plan(few_never_switched: list[Trial]) -> None:
    assert score(few_never_switched).ratio <= 0.5


def test_where_none_switched_it_is_hardly_worse_than_the_plan(none_switched: list[Trial]) -> None:
    assert score(none_switched).ratio <= 1.05


def test_each_day_the_truth_lies_inside_what_is_stated(
    few_never_switched: list[Trial], none_switched: list[Trial]
) -> None:
    assert min(inside_by_day(few_never_switched)) >= 0.95
    assert min(inside_by_day(none_switched)) >= 0.95


def test_a_port_that_never_switched_is_estimated_and_no_surer_than_the_plan(
    few_never_switched: list[Trial], none_switched: list[Trial]
) -> None:
    assert score(few_never_switched).odd_widths == 0
    assert score(none_switched).odd_widths == 0


def test_the_sum_is_the_total_to_one_grain(few_never_switched: list[Trial], none_switched: list[Trial]) -> None:
    assert score(few_never_switched).sums_off == 0
    assert score(none_switched).sums_off == 0


def test_a_load_that_nobody_reports_widens_what_is_stated_and_marks_the_unit(
    few_never_switched: list[Trial],
) -> None:
    trial = run_trial(emulate(SEED + 20, Scenario(cycling_w=12.0, days=3, every_s=EVERY_S)))
    assert trial.last.is_cycling
    assert trial.last.cycling_w == pytest.approx(12.0, abs=1.5)
    assert min(inside_by_day([trial])) >= 0.95
    assert not any(calm.last.is_cycling for calm in few_never_switched)


@pytest.mark.parametrize(("way", "told"), WAYS, ids=WAY_NAMES)
def test_how_a_total_is_made_whole_shows_in_time(way: np.ufunc, told: Told) -> None:
    # three ports, of which one or two go off and on every 15 minutes, draws that waver by some percent: two days
    random = np.random.default_rng(SEED)
    true_w = np.array([3.3, 5.7, 8.1])
    memory = first_memory([planned_prior(watts, watts, 15.4, watts, 10.0) for watts in (3.0, 6.0, 8.5)])
    on = (True, True, True)
    for poll in range(6000):
        if poll % 30 == 0:
            port = int(random.integers(3))
            on = tuple(is_on != (number == port) for number, is_on in enumerate(on))  # type: ignore[assignment]
        total_w = float(way(float((true_w * on).sum()) * (1 + 0.03 * random.uniform(-1, 1))))
        memory, found = estimate(memory, Sample(30.0 * poll, total_w, on, night=False, turning=False))
    assert found.told in (told, Told.NOT_KNOWN)
    bias_w, variance_w2 = memory.learning.model.bias
    assert variance_w2 < (0.75 * BIAS_SD) ** 2  # surer than at first
    assert abs(bias_w - BIAS_W[told]) < 2.5 * variance_w2**0.5


@pytest.mark.parametrize(("way", "told"), WAYS, ids=WAY_NAMES)
def test_how_a_total_is_made_whole_is_named_once_the_ports_are_known(way: np.ufunc, told: Told) -> None:
    true_w = [3.3, 5.72, 8.17, 11.9]
    priors = [planned_prior(watts, watts, 15.4) for watts in true_w]
    known = begin(priors)
    for port, watts in enumerate(true_w):  # as after months of steps
        model = known.model.take_in(known.model.row([port], night=False, bias=False), watts, 0.01)
        known = replace(known, model=model)
    for number in range(1, 16):  # every set of ports that can be on
        on = tuple(port for port in range(4) if number >> port & 1)
        told_w = float(way(sum(true_w[port] for port in on)))
        known = learn(known, Level(on, False, Mean(told_w, 1 / 12, round(told_w))), priors, 60.0 * number, 1.0)
    assert told_as(ways(*known.model.bias, 1.0)) is told
