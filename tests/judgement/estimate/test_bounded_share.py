"""The bounded least squares, held against a general solver (scipy's SLSQP) and against what follows by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize

from portdraw.judgement.estimate.bounded_share import Floats, share_out


def by_general_solver(thought_w: Floats, cov: Floats, most_w: Floats, total_w: float) -> Floats:
    """The same task, given to a solver that knows nothing of it."""
    weight = np.linalg.inv(cov)
    found = minimize(
        lambda watts: float((watts - thought_w) @ weight @ (watts - thought_w)) / 2,
        np.clip(thought_w, 0.0, most_w),
        jac=lambda watts: weight @ (watts - thought_w),
        bounds=[(0.0, float(most)) for most in most_w],
        constraints=[{"type": "eq", "fun": lambda watts: watts.sum() - total_w, "jac": np.ones_like}],
        method="SLSQP",
        options={"ftol": 1e-14, "maxiter": 500},
    )
    return np.asarray(found.x)


@pytest.mark.parametrize("seed", range(40))
def test_as_a_general_solver_has_it(seed: int) -> None:
    random = np.random.default_rng(seed)
    count = int(random.integers(1, 9))
    mixed = random.normal(size=(count, count))
    cov = mixed @ mixed.T + 0.1 * np.eye(count)
    most_w = random.uniform(3.0, 15.0, count)
    thought_w = random.uniform(0.0, 1.0, count) * most_w
    total_w = float(random.uniform(0.05, 0.95) * most_w.sum())
    found = share_out(thought_w, cov, most_w, total_w)
    assert found.sum() == pytest.approx(total_w, abs=1e-6)
    assert (found >= 0).all()
    assert (found <= most_w).all()
    # the general solver stops within about 1e-5 W of the same point
    assert found == pytest.approx(by_general_solver(thought_w, cov, most_w, total_w), abs=2e-4)


def test_the_rest_goes_where_least_is_known() -> None:
    # variances 4 and 1: the 5 W that are lacking go four to one
    found = share_out(np.array([10.0, 10.0]), np.diag([4.0, 1.0]), np.array([30.0, 30.0]), 25.0)
    assert found == pytest.approx([14.0, 11.0])


@pytest.mark.parametrize(("total_w", "expected"), [(99.0, [5.0, 7.0]), (-3.0, [0.0, 0.0]), (0.0, [0.0, 0.0])])
def test_a_total_beyond_all_bounds_ends_at_them(total_w: float, expected: list[float]) -> None:
    found = share_out(np.array([3.0, 3.0]), np.eye(2), np.array([5.0, 7.0]), total_w)
    assert found == pytest.approx(expected, abs=1e-6)
