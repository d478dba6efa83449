"""Which courses are followed, how they are told, and that names and figures fit the paper."""

from __future__ import annotations

import json

import pytest
from tests.powerflow.sites import device, ferry_terminal, site, unit

from portdraw.plan.load_case import Case
from portdraw.powerflow.fit import study_fit
from portdraw.powerflow.free_port import Wish
from portdraw.powerflow.network import network_of
from portdraw.reporting.studies.fit_json import fit_document
from portdraw.reporting.studies.fit_tables import fit_text
from portdraw.reporting.studies.restart_json import restarts_document
from portdraw.reporting.studies.restart_study import (
    ALL_BACK,
    BACKED_BACK,
    UnknownFailureError,
    failure_named,
    study_restarts,
)
from portdraw.reporting.studies.restart_tables import headline, restarts_text

SITE = ferry_terminal()


def test_the_courses_of_a_site() -> None:
    study = study_restarts(SITE)
    assert list(dict.fromkeys(row.what for row in study.rows)) == [
        ALL_BACK,
        BACKED_BACK,
        "all local AC without a generator comes back",
    ]
    assert len(study.rows) == 9
    # on feeds alone at night and on a frost night too much is asked all the time (worked example)
    assert study.worst.what == BACKED_BACK
    assert study.worst.case is Case.FROST_NIGHT
    assert study.findings


def test_a_site_without_battery_has_no_course_on_what_is_backed() -> None:
    study = study_restarts(site({"hub": unit("main", {"1": device("cam")}, boot_s=30)}), (Case.TYPICAL,))
    assert BACKED_BACK not in {row.what for row in study.rows}
    # 30 s of boot and the 120 s that an undeclared start-up counts
    assert headline(study).endswith("at the longest after 2 min 30 s.")


@pytest.mark.parametrize("name", ["circuit pier-7", "AC circuit pier-7", " Circuit PIER-7 ", "unit core"])
def test_a_failure_by_its_name(name: str) -> None:
    assert failure_named(network_of(SITE), name).what.casefold() in name.casefold()


def test_a_failure_that_is_not_there() -> None:
    with pytest.raises(UnknownFailureError, match=r"there are circuit pier-7.* by its name alone"):
        failure_named(network_of(SITE), "pier")


def test_texts_are_at_most_100_columns_and_json_is_finite() -> None:
    study = study_restarts(SITE, (Case.NIGHT,))
    fit = study_fit(SITE, Wish(5, 38.0, length_m=40, near="north-pier"))
    for text in (restarts_text(study), fit_text(SITE, fit)):
        assert max(len(line) for line in text.splitlines()) <= 100
    for document in (restarts_document(study), fit_document(SITE, fit)):
        json.dumps(document, allow_nan=False)
