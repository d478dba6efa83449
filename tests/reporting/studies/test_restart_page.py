"""Papers of restart and fit: they say what the results say, fetch nothing, and hostile texts do nothing in them."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from tests.powerflow.sites import device, feed, ferry_terminal, site, unit
from tests.reporting.studies.papers import HEAD, HOSTILE, Page

from portdraw.plan.load_case import Case
from portdraw.powerflow.course import TracePoint
from portdraw.powerflow.fit import study_fit
from portdraw.powerflow.free_port import Wish
from portdraw.reporting.studies.cautions import CAUTIONS
from portdraw.reporting.studies.fit_page import fit_html
from portdraw.reporting.studies.restart_chart import limit_chart
from portdraw.reporting.studies.restart_page import restarts_html
from portdraw.reporting.studies.restart_study import study_restarts

FERRY = ferry_terminal()
HOSTILE_SITE = site(
    {
        "head": unit("main", {"1": feed("far", label=HOSTILE), "2": device("head-cam")}, fed=None, place=HOSTILE),
        "far": unit("side", {"1": device("far-cam", priority="critical"), "2": {"label": "\"'><b>x</b>"}}),
    },
    site={"name": HOSTILE},
)
WISH = Wish(5, 38.0, 38.0, None, 45.0, length_m=40, near="north-pier")
PAGES = {
    "restart": restarts_html(study_restarts(FERRY), HEAD),
    "restart of one": restarts_html(study_restarts(FERRY, (Case.FROST_NIGHT,), "circuit pier-7"), HEAD),
    "fit": fit_html(FERRY, study_fit(FERRY, WISH), HEAD),
    "hostile restart": restarts_html(study_restarts(HOSTILE_SITE), HEAD),
    "hostile fit": fit_html(HOSTILE_SITE, study_fit(HOSTILE_SITE, Wish(2, 3.0, length_m=10)), HEAD),
}


@pytest.mark.parametrize("name", PAGES)
def test_a_paper_is_whole_and_inert(name: str) -> None:
    page = Page(PAGES[name])
    assert page.closed
    assert page.inert
    assert "b" not in page.tags
    for caution in CAUTIONS:
        assert caution in page.words
    for drawing in re.findall(r"<svg.*?</svg>", PAGES[name], re.DOTALL):
        ElementTree.fromstring(drawing)


def test_the_restart_paper_says_what_the_study_says() -> None:
    words = Page(PAGES["restart"]).words
    study = study_restarts(FERRY)
    for line in study.worst.restart.sentences:
        assert line[1:] in words  # the first letter may be a capital
    for row in study.rows:
        if row.restart.mend is not None:
            for delay in row.restart.mend.delays:
                assert f"{delay.unit} {delay.port} {delay.device} {delay.delay_s:g} {delay.now_s:g}" in words
    for step in study.steps:
        assert step.what in words
    # worked example, frost night: 562.2 W asked of 440 W at the instant
    assert "at the instant core budget 562.2 440.0" in words


def test_the_paper_of_one_failure_has_its_stages() -> None:
    words = Page(PAGES["restart of one"]).words
    for stage in ("at the instant", "after renegotiation", "while all starts", "after start-up"):
        assert f"{stage} north-pier budget on PoE feed 56.1 59.6" in words  # worked example, frost night


def test_the_fit_paper_says_what_the_study_says() -> None:
    words = Page(PAGES["fit"]).words
    fit = study_fit(FERRY, WISH)
    assert words.count("47.8 W at the port, above its class of 45 W") == 1
    for port in fit.ports:
        assert port.refusal in words
    first = fit.asked_for[0]
    for one in first.legs:
        assert f"{one.leg.value} {one.room.case.value} {one.room.limit.limit} {one.room.state}" in words


def test_a_chart_draws_watts_above_the_limit_thicker() -> None:
    """Not by colour alone: what is above the limit is a thicker line, and the limit is written beside its line."""
    points = (TracePoint(0.0, 0.0, 0.0, 60.0), TracePoint(30.0, 75.0, 70.0, 60.0), TracePoint(60.0, 50.0, 50.0, 60.0))
    chart = str(limit_chart("hub <budget>", points, 90.0))
    assert "limit 60.0 W" in chart
    assert "hub &lt;budget&gt;" in chart
    assert chart.count('stroke-width="2.6"') == 1
    ElementTree.fromstring(chart)


def test_a_chart_leaves_out_what_is_not_there() -> None:
    """While nothing stands on a limit, and where it can't be computed, no figure is drawn in its place."""
    gone = (TracePoint(0.0, 20.0, 20.0, 60.0), TracePoint(30.0, 20.0, 0.0, None))
    assert str(limit_chart("feed", gone, 90.0)).count('stroke-width="1.6"') == 1
    unknown = (TracePoint(0.0, float("inf"), float("inf"), 60.0),)
    assert "inf" not in str(limit_chart("feed", unknown, 90.0))
