"""What was learned outlives a restart, other ports and another plan."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from portdraw.judgement.estimate.estimate_state import KeyedMemory, dump, for_ports, load
from portdraw.judgement.estimate.port_prior import PortPrior, planned_prior, unplanned_prior
from portdraw.judgement.estimate.total_watch import Sample
from portdraw.judgement.estimate.unit_estimate import estimate, first_memory

PRIORS = [planned_prior(6.8, 10.4, 15.4), planned_prior(12.0, 12.0, 30.0), unplanned_prior(15.4)]
KEYS = ("1", "2", "3")


def learned() -> KeyedMemory:
    """A memory of a unit whose second port went off and on some times."""
    memory = first_memory(PRIORS)
    for poll in range(400):
        on = (True, poll // 40 % 2 == 0, False)
        memory, _ = estimate(memory, Sample(30.0 * poll, 7.0 + 13.0 * on[1], on, night=False, turning=False))
    return KeyedMemory(KEYS, memory)


def same(first: KeyedMemory, second: KeyedMemory) -> bool:
    one, two = first.memory.learning, second.memory.learning
    return (
        np.allclose(one.model.mean, two.model.mean, rtol=1e-4, atol=1e-4)
        and np.allclose(one.model.cov, two.model.cov, rtol=1e-4, atol=1e-4)
        and replace(one, model=two.model) == two
        and first.memory.grain_w == second.memory.grain_w
    )


def test_it_comes_back_as_it_was() -> None:
    before = learned()
    assert before.memory.learning.ports[1].steps >= 3
    assert same(load(json.loads(json.dumps(dump(before))), KEYS, PRIORS), before)


def test_48_ports_stay_below_60_kilobytes() -> None:
    keyed = KeyedMemory(tuple(str(port) for port in range(48)), first_memory(PRIORS * 16))
    assert len(json.dumps(dump(keyed))) < 60_000


def test_a_new_port_leaves_the_others_as_learned() -> None:
    before = learned()
    after = for_ports(before, ("0", *KEYS), [unplanned_prior(30.0), *PRIORS])
    assert [port.steps for port in after.memory.learning.ports] == [
        0,
        *[port.steps for port in before.memory.learning.ports],
    ]
    assert after.memory.learning.model.at(1.0)[0][1:] == pytest.approx(before.memory.learning.model.at(1.0)[0])


def test_a_port_with_another_plan_begins_anew() -> None:
    changed = [PRIORS[0], planned_prior(25.0, 25.0, 30.0), PRIORS[2]]
    after = load(dump(learned()), KEYS, changed)
    assert after.memory.learning.ports[1].steps == 0
    assert after.memory.learning.model.at(0.0)[0][1] == 25.0


@pytest.mark.parametrize(
    "spoilt",
    [
        {"format": 2},
        {"mean_w": [1.0]},
        {"mean_w": None},
        {"covariance_w2": [[float("nan")]]},
        {"steps": [1]},
        {"ports": ["1"]},
        {"seen": [[1]]},
    ],
)
def test_anything_else_is_refused_in_one_sentence(spoilt: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="what was learned of draws"):
        load({**dump(learned()), **spoilt}, KEYS, PRIORS)


def test_an_empty_value_is_refused() -> None:
    with pytest.raises(ValueError, match="can't be read"):
        load({}, KEYS, PRIORS)


def test_priors_are_needed_for_each_port() -> None:
    priors: list[PortPrior] = PRIORS[:2]
    with pytest.raises(ValueError, match="can't be read"):
        load(dump(learned()), KEYS, priors)
