"""A unit's learning as plain JSON values and back, for other ports or another plan where these have changed since."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from portdraw.judgement.estimate.draw_model import DrawModel
from portdraw.judgement.estimate.learning import Learning, PortLearnt
from portdraw.judgement.estimate.port_prior import PortPrior
from portdraw.judgement.estimate.total_watch import OddStep
from portdraw.judgement.estimate.unit_estimate import EstimateMemory, first_memory

FORMAT = 1
_DIGITS = 6  # significant: a covariance keeps its meaning, and 48 ports stay below 60 kB


@dataclass(frozen=True)
class KeyedMemory:
    """The memory of one unit with its ports' printed numbers, in the order of the memory."""

    keys: tuple[str, ...]
    memory: EstimateMemory


def dump(keyed: KeyedMemory) -> dict[str, Any]:
    """Return what was learned as JSON values. What is only about the newest polls is not in it."""
    learning = keyed.memory.learning
    cov = learning.model.cov
    return {
        "format": FORMAT,
        "ports": list(keyed.keys),
        "priors": [[_short(prior.day_w), _short(prior.night_extra_w)] for prior in keyed.memory.priors],
        "grain_w": keyed.memory.grain_w,
        "mean_w": [_short(watts) for watts in learning.model.mean],
        "covariance_w2": [[_short(value) for value in cov[row, : row + 1]] for row in range(len(cov))],
        "steps": [port.steps for port in learning.ports],
        "odd_w": [port.odd_w for port in learning.ports],
        "odd_steps": [[step.time_s, _short(step.watts)] for step in learning.odd_steps],
        "seen": [[*what, times] for what, times in learning.seen.items()],
        "taken_s": learning.taken_s,
    }


def load(value: Mapping[str, Any], keys: Sequence[str], priors: Sequence[PortPrior]) -> KeyedMemory:
    """Return the memory that was dumped, for the ports and the plan of today.

    Raises ValueError for anything else than what `dump` made.
    """
    try:
        if value["format"] != FORMAT:
            raise ValueError(f"its format is {value['format']}, not {FORMAT}")
        was = tuple(str(key) for key in value["ports"])
        count = 2 * len(was) + 1
        mean = np.array(value["mean_w"], dtype=np.float64)
        cov = np.zeros((count, count))
        for row, values in enumerate(value["covariance_w2"]):
            cov[row, : row + 1] = values
        cov = cov + np.tril(cov, -1).T
        if mean.shape != (count,) or not np.isfinite(mean).all() or not np.isfinite(cov).all():
            raise ValueError("it is not whole")
        old_priors = [(float(day), float(extra)) for day, extra in value["priors"]]
        learning = Learning(
            DrawModel(mean, cov),
            tuple(
                PortLearnt(int(steps), None if odd is None else float(odd))
                for steps, odd in zip(value["steps"], value["odd_w"], strict=True)
            ),
            tuple(OddStep(float(time_s), float(watts)) for time_s, watts in value["odd_steps"]),
            {
                (int(port), int(mask), bool(night), int(before), int(after)): int(times)
                for port, mask, night, before, after, times in value["seen"]
            },
            None if value["taken_s"] is None else float(value["taken_s"]),
        )
        if not len(was) == len(old_priors) == len(learning.ports):
            raise ValueError("it is not whole")
        return _regroup(was, old_priors, learning, float(value["grain_w"]), keys, priors)
    except (KeyError, TypeError, IndexError, ValueError) as error:
        raise ValueError(f"what was learned of draws can't be read: {error}") from error


def for_ports(keyed: KeyedMemory, keys: Sequence[str], priors: Sequence[PortPrior]) -> KeyedMemory:
    """Return the memory for another set of ports: what was learned of those that stay is kept."""
    old_priors = [(prior.day_w, prior.night_extra_w) for prior in keyed.memory.priors]
    return _regroup(keyed.keys, old_priors, keyed.memory.learning, keyed.memory.grain_w, keys, priors)


def _regroup(
    was: Sequence[str],
    old_priors: Sequence[tuple[float, float]],
    learning: Learning,
    grain_w: float,
    keys: Sequence[str],
    priors: Sequence[PortPrior],
) -> KeyedMemory:
    begun = first_memory(priors)
    old_place = {key: place for place, key in enumerate(was)}
    kept = [
        (place, old_place[key])
        for place, (key, prior) in enumerate(zip(keys, priors, strict=True))
        if key in old_place and _same(old_priors[old_place[key]], prior)
    ]
    new, old = len(keys), len(was)
    to = [place for place, _ in kept] + [new + place for place, _ in kept] + [2 * new]
    of = [place for _, place in kept] + [old + place for _, place in kept] + [2 * old]
    mean, cov = begun.learning.model.mean.copy(), begun.learning.model.cov.copy()
    mean[to] = learning.model.mean[of]
    cov[np.ix_(to, to)] = learning.model.cov[np.ix_(of, of)]
    ports = list(begun.learning.ports)
    for place, before in kept:
        ports[place] = learning.ports[before]
    same_ports = list(keys) == list(was) and len(kept) == new
    moved = Learning(
        DrawModel(mean, cov),
        tuple(ports),
        learning.odd_steps,
        learning.seen if same_ports else {},
        learning.taken_s,
    )
    return KeyedMemory(tuple(keys), replace(begun, learning=moved, grain_w=grain_w))


def _same(old: tuple[float, float], prior: PortPrior) -> bool:
    """Say whether the plan of a port is the same as when it was learned."""
    return math.isclose(old[0], prior.day_w, rel_tol=1e-4, abs_tol=1e-3) and math.isclose(
        old[1], prior.night_extra_w, rel_tol=1e-4, abs_tol=1e-3
    )


def _short(value: float) -> float:
    return float(f"{float(value):.{_DIGITS}g}")
