"""The failure study in the terminal: exact text for a small site, the ferry terminal against the worked example."""

from __future__ import annotations

import json
from typing import Any

import pytest
from tests.powerflow.sites import device, feed, ferry_terminal, site, unit

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.reporting.studies.failure_json import failures_document
from portdraw.reporting.studies.failure_tables import failures_text
from portdraw.reporting.studies.site_study import Grade, study_site

FERRY = study_site(ferry_terminal())


def small(**policy: Any) -> Site:
    """A head with a device, and a far unit that it feeds; each on a circuit of its own."""
    head = unit("main", {"1": feed("far", priority="critical"), "2": device("head-cam")}, fed=None)
    far = unit("side", {"1": device("far-cam", priority="critical")})
    for one in (head, far):
        one["pse"]["admission"] = "drawn"
    return site({"head": head, "far": far}, **policy)


SMALL_TEXT = """\
test yard: what fails next, on the plan
Loads: night. Watts of units at the PSE output, of circuits and UPS at AC.
Promise: any single failure, every device; loss of all local AC, nothing promised.

Normal running looks comfortable: head 14 %, no unit above 14 %.
All 8 failures that the site promises to survive are survived, with the margin kept.
14 failures: 9 that darken only what hangs on them, 5 fine.

Darkens what hangs on it: listed, not judged
failure                                                             goes dark                  night
────────────────────────────────────────────────────────────────────────────────────────────────────
incomer town; all local AC without a generator                      far-cam, head-cam              2
circuit main; panel P1; supply of head (main); PoE controller of    head-cam                       1
head; unit head                                                     unreachable, powered: far
PoE controller of far; unit far                                     far-cam                        1

Survived with the margin kept: 5 failures, nothing dark
kind           what may fail
────────────────────────────────
AC circuit     side
panel          P2
supply module  far (side)
feed cable     far (head port 1)
feeder port    head port 1
The tightest of them: circuit side, at night; head budget: 29.6 of 90 W (33 %).

Nothing is assumed: all that counts is declared.

Worked out on a drawing: no electrical inspection, and no proof that a leg will carry. Nothing here,
healthy or dark, shows that a circuit, cable or port is dead: test before you touch, isolate both
legs (ports up to 57 V DC).
"""


def test_a_small_site_word_for_word() -> None:
    assert failures_text(study_site(small(), (Case.NIGHT,))) == SMALL_TEXT.rstrip()


def test_the_ferry_terminal_as_the_worked_example_has_it() -> None:
    """Figures of the worked example: 20 %, 62 %; 93 %, 105 % and 128 %; 20.4 and 122.2 W; 93, 88 and 91 min."""
    text = " ".join(failures_text(FERRY).split())
    for said in (
        "Normal running looks comfortable: core 20 %, no unit above 62 %.",
        "The worst failure: all local AC without a generator.",
        "on a typical day: survived; nothing dark; core budget: 410.3 of 440 W (93 %); ups-a lasts 93 min.",
        "at night: not survived; 3 devices dark (office-phone-1, office-phone-2, foyer-sign); core budget: "
        "460.4 of 440 W (105 %), 20.4 W short; ups-a lasts 88 min.",
        "on a frost night: not survived; 15 devices dark (desk-phone,",
        "core budget: 562.2 of 440 W (128 %), 122.2 W short; ups-a lasts 91 min.",
        "mends it: core: a third module of 220 W, from ups-a (660 W together)",
        "helps, does not mend it: core port 7 (feed of waiting-room): priority from critical to high",
        "14 dark, keeps desk-phone",
        "Nothing is assumed: all that counts is declared.",
    ):
        assert said in text
    assert FERRY.findings


def test_worst_comes_first_and_what_is_fine_in_the_order_of_the_file() -> None:
    grades = [row.grade for row in FERRY.rows]
    assert grades == sorted(grades)
    assert FERRY.rows[0].what == "all local AC without a generator"
    fine = [row.what for row in FERRY.rows if row.grade is Grade.FINE]
    assert fine[:5] == ["circuit hall-1", "circuit hall-2", "circuit pier-7", "circuit quay-3", "circuit gate-5"]


def test_nothing_is_wider_than_a_hundred_columns() -> None:
    long = "n" * 80
    ports = {"1": feed(long), "2": device("d" * 80)}
    far = {"1": device("e" * 80, priority="critical"), "2": device("f" * 80)}
    study = study_site(
        site(
            {"head": unit("main", ports, fed=None), long: unit("side", far)},
            policy={"must_survive": {"all_unbacked_ac": {"criticality_up_to": 3, "minutes": 5}}},
        )
    )
    for text in (failures_text(study), failures_text(FERRY)):
        assert max(map(len, text.splitlines())) <= 100
        assert "\x1b" not in text
        assert not any(line.endswith(" ") for line in text.splitlines())


def test_control_characters_never_reach_the_terminal() -> None:
    usual = small()
    hostile = usual.model_copy(update={"site": usual.site.model_copy(update={"name": "yard\x1b[2J\u202eevil"})})
    assert not {"\x1b", "\u202e"} & set(failures_text(study_site(hostile, (Case.NIGHT,))))


def test_what_is_assumed_is_told() -> None:
    unsure = small()
    changed = unsure.units["far"].model_copy(update={"own_use_w": None})
    study = study_site(unsure.model_copy(update={"units": {**unsure.units, "far": changed}}), (Case.NIGHT,))
    assert "far: own_use_w is not declared" in failures_text(study)


def test_json_carries_the_same_and_names_its_units() -> None:
    document = json.loads(json.dumps(failures_document(FERRY), allow_nan=False))
    worst = document["failures"][0]
    night = next(load for load in worst["loads"] if load["load"] == "night")
    assert worst["failure"] == "all local AC without a generator"
    assert sorted(night["dark"]) == ["foyer-sign", "office-phone-1", "office-phone-2"]
    assert night["worst_limit"]["short_w"] == pytest.approx(20.419, abs=0.001)
    assert night["outcome"] == "not survived"
    assert len(night["stays"]) == 42
    for name, value in figures(document):
        assert name.endswith(("_w", "_percent", "_minutes", "_s", "format")), (name, value)


def figures(part: Any, name: str = "") -> list[tuple[str, float]]:
    """Every number of a document with the name that it stands under."""
    if isinstance(part, dict):
        return [found for key, value in part.items() for found in figures(value, key)]
    if isinstance(part, list):
        return [found for value in part for found in figures(value, name)]
    return [(name, part)] if isinstance(part, int | float) and not isinstance(part, bool) else []
