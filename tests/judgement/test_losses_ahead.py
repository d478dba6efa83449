"""The state from which the next loss is studied, kept from cycle to cycle: it is that of the legs as they stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from tests.judgement.scene import EVERY_S, NIGHT_S, answers, ferry_terminal

from portdraw.judgement.assessment import Availability, NextLoss, UnitAssessment
from portdraw.judgement.compare import assess
from portdraw.judgement.legs import LOCAL_AC, POE_FEED
from portdraw.judgement.losses_ahead import losses_ahead
from portdraw.judgement.memory import Memory
from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree

SITE = ferry_terminal()


def assessed(site: Site) -> tuple[UnitAssessment, ...]:
    """Return the units of a site on which all is well."""
    seen, _ = assess(site, Tree(site), answers(site, NIGHT_S), NIGHT_S, EVERY_S, True, Memory())
    return seen.units


def without(units: Sequence[UnitAssessment], name: str, leg: str) -> tuple[UnitAssessment, ...]:
    """Return the units with a leg of one of them lost."""
    return tuple(
        replace(
            unit,
            legs=tuple(
                replace(one, availability=Availability.LOST) if (unit.unit, one.name) == (name, leg) else one
                for one in unit.legs
            ),
        )
        for unit in units
    )


def ahead(site: Site, units: Sequence[UnitAssessment]) -> tuple[NextLoss, ...]:
    """Return the losses ahead in a night."""
    return losses_ahead(site, Tree(site), units, Case.NIGHT)


def test_what_was_kept_of_another_state_or_site_is_not_taken() -> None:
    fine = assessed(SITE)
    states = [
        fine,
        without(fine, "berth-1", POE_FEED),
        without(fine, "north-pier", POE_FEED),
        without(fine, "north-pier", LOCAL_AC),
        without(without(fine, "north-pier", LOCAL_AC), "berth-1", POE_FEED),
        fine,
    ]
    # a copy of the site that nothing was ever kept of, for each state anew
    fresh = [ahead(SITE.model_copy(), units) for units in states]
    assert [ahead(SITE, units) for units in states] == fresh
    assert [ahead(SITE, units) for units in states] == fresh
    assert len(set(fresh)) == len(states) - 1


def test_another_site_of_the_same_names_has_its_own_losses() -> None:
    larger = SITE.units["core"].pse
    assert larger is not None
    core = SITE.units["core"].model_copy(update={"pse": larger.model_copy(update={"budget_w": 100.0})})
    other = SITE.model_copy(update={"units": {**SITE.units, "core": core}})
    lost = without(assessed(SITE), "berth-1", POE_FEED)
    assert ahead(SITE, lost) != ahead(other, lost)
