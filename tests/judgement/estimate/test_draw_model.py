"""The joint model, held against the closed form of linear least squares with a prior (the normal equations)."""

from __future__ import annotations

import numpy as np
import pytest

from portdraw.judgement.estimate.draw_model import fresh_model
from portdraw.judgement.estimate.port_prior import planned_prior, unplanned_prior

PRIORS = (planned_prior(6.8, 10.4, 15.4), planned_prior(12.0, 12.0, 30.0), unplanned_prior(15.4))


def test_one_by_one_as_all_at_once() -> None:
    random = np.random.default_rng(7)
    model = first = fresh_model(PRIORS)
    rows, values, variances = [], [], []
    for _ in range(30):
        ports = [port for port in range(3) if random.random() < 0.6] or [0]
        row = first.row(ports, night=bool(random.random() < 0.5), bias=bool(random.random() < 0.5))
        rows.append(row)
        values.append(float(random.uniform(0, 30)))
        variances.append(float(random.uniform(0.05, 0.5)))
        model = model.take_in(row, values[-1], variances[-1])
    design, weight = np.array(rows), np.diag(1 / np.array(variances))
    precision = np.linalg.inv(first.cov) + design.T @ weight @ design
    mean = np.linalg.solve(precision, np.linalg.inv(first.cov) @ first.mean + design.T @ weight @ np.array(values))
    assert model.mean == pytest.approx(mean, abs=1e-8)
    assert model.cov == pytest.approx(np.linalg.inv(precision), abs=1e-8)


def test_night_adds_its_own() -> None:
    mean, _ = fresh_model(PRIORS).at(1.0)
    assert mean == pytest.approx([10.4, 12.0, 7.7])


def test_what_was_learned_fades_and_is_never_less_sure_than_the_plan() -> None:
    first = fresh_model(PRIORS)
    model = first.take_in(first.row([1], night=False, bias=False), 13.0, 0.01)
    sure = [model.fade(PRIORS, days * 86_400.0).cov[1, 1] for days in (0, 7, 30, 400)]
    assert sure == sorted(sure)
    assert sure[0] < 0.011
    assert sure[-1] == pytest.approx(first.cov[1, 1])


def test_a_port_begun_anew_forgets_its_ties() -> None:
    first = fresh_model(PRIORS)
    model = first.take_in(first.row([0, 1], night=False, bias=True), 25.0, 0.1).begin_anew(1, PRIORS[1], 4.0)
    assert model.mean[1] == 4.0
    assert np.count_nonzero(model.cov[1]) == 1
    assert model.cov[1, 1] == first.cov[1, 1]
