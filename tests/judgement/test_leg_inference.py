"""Leg inference on a few seeded incidents of each kind; the benchmark `leg_inference` plays a thousand.

The truth is that of a small emulated site with physics of its own (`leg_world`), the bounds are the benchmark's.
"""

from __future__ import annotations

import statistics

import pytest
from tests.judgement.leg_incidents import KINDS, make_incident
from tests.judgement.leg_scoring import JUDGED, Score, score_incidents

SEEDS = range(7_000_000, 7_000_032)


@pytest.fixture(scope="module")
def score() -> Score:
    return score_incidents(SEEDS)


def test_every_kind_of_incident_is_played() -> None:
    assert {make_incident(seed).kind for seed in SEEDS} == set(KINDS)


@pytest.mark.parametrize("judged", JUDGED)
def test_what_evidence_decides_is_told_and_nothing_else(score: Score, judged: str) -> None:
    states = score.states(judged)
    assert len(states) >= 2
    for state in states:
        assert score.recall(judged, state) >= 0.99, score.missed
        assert score.precision(judged, state) >= 0.99
    assert sum(score.table[judged, state, state] for state in states) > 1000
    assert statistics.median(score.polls[judged]) < 2


def test_no_wrong_state_where_a_truthful_sign_is_there(score: Score) -> None:
    assert score.wrong == []


def test_a_contradiction_says_that_it_is_one(score: Score) -> None:
    assert score.contradictions > 0
    assert score.unreasoned == []
