"""Dark, unreachable though powered, or credentials refused: told apart by what is left to see."""

from __future__ import annotations

from dataclasses import replace

import pytest

from portdraw.judgement.assessment import Availability, Reach
from portdraw.judgement.circuit_inference import CircuitState, CircuitView
from portdraw.judgement.leg_facts import FeedFacts
from portdraw.judgement.reach import ReachSigns, reach_of
from portdraw.observation.record import PortState
from portdraw.observation.unit_observation import Outcome

OFF = FeedFacts("core port 2", heard=True, state=PortState.SEARCHING, link_up=False)
ON = replace(OFF, state=PortState.DELIVERING, watts=1.3)
OUT = CircuitView("quay-3", CircuitState.PROBABLY_OUT, lost=("berth-2", "berth-3"))
BASE = ReachSigns(readable=True, fresh=False, outcome=Outcome.SILENT, has_ac=True, feeds=(OFF,))


@pytest.mark.parametrize(
    ("signs", "reach", "why"),
    [
        (replace(BASE, fresh=True, outcome=Outcome.ANSWERED), Reach.ANSWERS, ""),
        (replace(BASE, outcome=Outcome.REFUSED), Reach.REFUSES, "it answers, so it has power"),
        (replace(BASE, readable=False), Reach.NOT_READABLE, "the site file gives no access to it"),
        (replace(BASE, feeds=(ON,)), Reach.POWERED, "core port 2 delivers 1.3 W to it"),
        (replace(BASE, feeds=(replace(OFF, link_up=True),)), Reach.POWERED, "its link at core port 2 is up"),
        (replace(BASE, fed_below=("breakwater",)), Reach.POWERED, "breakwater runs on its feed"),
        (BASE, Reach.SILENT, "core port 2 delivers nothing to it; whether it has local AC is not known"),
        (
            replace(BASE, circuit=OUT),
            Reach.DARK,
            "core port 2 delivers nothing to it and circuit quay-3 is probably out",
        ),
        (
            replace(BASE, last_ac=Availability.LOST),
            Reach.DARK,
            "core port 2 delivers nothing to it and its local AC was lost when last read",
        ),
        (replace(BASE, has_ac=False), Reach.DARK, "core port 2 delivers nothing to it and it has no local AC"),
        # one unit that still has it: the circuit is not out for sure
        (
            replace(BASE, circuit=replace(OUT, have=("exit-lanes",))),
            Reach.SILENT,
            "core port 2 delivers nothing to it; whether it has local AC is not known",
        ),
        (
            replace(BASE, feeds=(replace(OFF, heard=False, state=None),), circuit=OUT),
            Reach.SILENT,
            "core port 2 does not show whether it has power",
        ),
        (replace(BASE, feeds=()), Reach.SILENT, ""),
        (replace(BASE, feeds=(), circuit=OUT), Reach.DARK, "circuit quay-3 is probably out"),
    ],
)
def test_what_is_known_of_a_unit_that_may_not_answer(signs: ReachSigns, reach: Reach, why: str) -> None:
    assert reach_of(signs) == (reach, why)
