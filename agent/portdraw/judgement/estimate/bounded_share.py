"""A total shared out to ports: least squares by how sure each port is, within bounds, with the sum kept."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_STEP_W = 1e-9  # of arithmetic


def share_out(thought_w: Floats, cov: Floats, most_w: Floats, total_w: float) -> Floats:
    """Return the watts nearest to what was thought, each between 0 and its most, that sum up to the total.

    Least squares with the inverse of `cov` [W^2] as the weight, solved by an active set (Nocedal and Wright,
    Numerical Optimization, chapter 16.5): ports beyond a bound are held at it, and let go again where that helps. A
    total that the bounds can't hold ends at the bounds.
    """
    total_w = min(max(total_w, 0.0), float(most_w.sum()))
    count = len(thought_w)
    leaning = cov.sum(axis=1)
    watts: Floats = thought_w + leaning * ((total_w - thought_w.sum()) / leaning.sum())
    if (watts >= 0.0).all() and (watts <= most_w).all():
        return watts
    held: dict[int, float] = {}
    for _ in range(4 * count + 4):
        places = list(held)
        rows = np.zeros((len(places) + 1, count))
        rows[-1] = 1.0
        rows[np.arange(len(places)), places] = 1.0
        goal = np.array([*held.values(), total_w])
        leaning = cov @ rows.T
        pull = _solve(rows @ leaning, goal - rows @ thought_w)
        watts = thought_w + leaning @ pull
        low, high = watts < -_STEP_W, watts > most_w + _STEP_W
        beyond = [int(place) for place in np.flatnonzero(low | high) if place not in held]
        if beyond:
            worst = max(beyond, key=lambda place: max(-watts[place], watts[place] - most_w[place]))
            held[worst] = 0.0 if low[worst] else float(most_w[worst])
            if len(held) == count:
                break
            continue
        # a port held at its least must be pushed up to be there, one at its most pushed down
        wrong = [
            place for place, force in zip(places, pull, strict=False) if (force < -_STEP_W) == (held[place] == 0.0)
        ]
        wrong = [place for place in wrong if abs(pull[places.index(place)]) > _STEP_W]
        if not wrong:
            break
        del held[wrong[0]]
    clipped: Floats = np.clip(watts, 0.0, most_w)
    return clipped


def _solve(matrix: Floats, right: Floats) -> Floats:
    solved: Floats = np.linalg.lstsq(matrix, right, rcond=None)[0].astype(np.float64)
    return solved
