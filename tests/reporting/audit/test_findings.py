"""Findings in words, case by case. Watts are invented; what is expected follows from the sentences of the rules."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from portdraw.history.port_day import PortDay
from portdraw.observation.record import Basis, PortState
from portdraw.reporting.audit.audit_rows import AuditEvent, DriftRow, Weight
from portdraw.reporting.audit.findings import (
    PortFacts,
    lasted_words,
    leg_verdict,
    lost_leg,
    port_findings,
    unit_findings,
)

DAY = date(2026, 3, 2)


def day(seconds_at: dict[float, float], basis: Basis = Basis.MEASURED, delivering_s: float | None = None) -> PortDay:
    """Return a day from seconds at watts."""
    ms_at = {round(watts * 10): round(1000 * seconds) for watts, seconds in seconds_at.items()}
    total_ms = sum(ms_at.values())
    delivering_ms = total_ms if delivering_s is None else round(1000 * delivering_s)
    return PortDay("pier", "1", DAY, DAY, ms_at, 0, {PortState.DELIVERING: delivering_ms}, {basis: total_ms}, 1.0)


FACTS = PortFacts(
    readable=True,
    unit_tells=True,
    planned=True,
    planned_off=False,
    hangs="pier-cam",
    feeds_unit=None,
    planned_now_w=6.8,
    planned_max_w=12.5,
    class_limit_w=15.4,
    day=day({7.0: 86_400}),
    coverage_percent=100,
    carried_s=None,
    drift=None,
    alarms=(),
)


def told(facts: PortFacts) -> list[str]:
    """Return the sentences."""
    return [finding.sentence for finding in port_findings(facts)]


def test_as_planned() -> None:
    """No finding."""
    assert told(FACTS) == []


@pytest.mark.parametrize(
    ("seconds_at", "above"),
    [
        ({7.0: 86_000, 13.1: 400}, False),  # within the tolerance of 5 %
        ({7.0: 85_900, 13.4: 500}, False),  # above it for less than ten minutes
        ({7.0: 85_700, 13.4: 700}, False),  # a little above, for less than 1 % of the time
        ({7.0: 85_000, 13.4: 1_400}, True),  # a little above, often
        ({7.0: 85_700, 14.6: 700}, True),  # far above for more than ten minutes
        ({7.0: 60, 14.6: 60}, True),  # a short audit: half of it
    ],
)
def test_above_plan(seconds_at: dict[float, float], above: bool) -> None:
    """Planned 12.5 W; tolerance 5 %, far above is 10 % more."""
    assert any(text.startswith("Above plan") for text in told(replace(FACTS, day=day(seconds_at)))) is above


def test_above_class() -> None:
    """Class 3 gives 15.4 W at the PSE."""
    facts = replace(FACTS, day=day({7.0: 80_000, 16.0: 6_400}))
    assert "Above its class for 106 min: up to 16.0 W of 15.4 W." in told(facts)
    assert port_findings(facts)[0].weight is Weight.ACT
    assert not any("class" in text for text in told(replace(FACTS, day=day({7.0: 80_000, 15.4: 6_400}))))


def test_without_any_reading() -> None:
    """Never "as planned"."""
    assert "nothing is known" in told(replace(FACTS, day=None))[0]
    assert told(replace(FACTS, day=None, readable=False)) == ["Not readable by design."]
    nameless = replace(FACTS, day=None, planned=False, hangs="")
    assert told(nameless) == ["Not in the plan, and its watts were never read."]


def test_planned_off() -> None:
    """A port that the plan turns off must give nothing."""
    assert told(replace(FACTS, planned_off=True, day=day({0.0: 86_400}, delivering_s=0))) == []
    assert told(replace(FACTS, planned_off=True)) == ["Planned off, but drew up to 7.0 W."]


def test_unknown_plan_is_said() -> None:
    """Neither watts nor class declared: nothing to hold the draw against."""
    assert "planned watts are unknown" in told(replace(FACTS, planned_max_w=None))[0]


def test_far_below_plan() -> None:
    """Less than half of the plan for 95 % of the time."""
    assert "the plan can be lowered" in told(replace(FACTS, day=day({2.0: 86_400})))[0]


def test_denied_and_drift_are_told() -> None:
    """From alarms and trend."""
    denied = AuditEvent("power-denied", "pier", "1", 1.0, 2.0, "x")
    drift = DriftRow("pier", "1", True, 0.3, 0.2, 0.4, 15.4, 7.0, "Drifting up.")
    assert told(replace(FACTS, alarms=(denied,))) == ["Power was denied: the alarm came up once."]
    assert told(replace(FACTS, alarms=(denied, denied))) == ["Power was denied: the alarm came up 2 times."]
    assert told(replace(FACTS, drift=drift)) == ["Drifting up."]
    assert told(replace(FACTS, drift=replace(drift, rising=False))) == []


def test_what_was_only_granted_is_not_called_measured() -> None:
    """An allocation is not a draw."""
    assert "Not measured: watts are granted" in told(replace(FACTS, day=day({7.0: 86_400}, Basis.GRANTED)))[0]


@pytest.mark.parametrize(
    ("carried_s", "sentence"),
    [
        (None, "Whether this feed ever carried berth-1 can't be told from its watts."),
        (0.0, "Spare feed of berth-1: held, never carried in this period."),
        (5400.0, "Carried berth-1 for 90 min, up to 7.0 W."),
    ],
)
def test_feeds(carried_s: float | None, sentence: str) -> None:
    """A feed is not held against a plan for devices."""
    assert told(replace(FACTS, hangs="berth-1", feeds_unit="berth-1", carried_s=carried_s)) == [sentence]


@pytest.mark.parametrize(
    ("max_w", "words", "weight"),
    [
        (70.0, "fits, 2.0 W above the margin", None),
        (72.0, "fits, 0.0 W above the margin", None),
        (80.0, "fits, but 8.0 W into the margin of 20 %", Weight.LOOK),
        (90.0, "fits, but 18.0 W into the margin of 20 %", Weight.LOOK),
        (91.0, "over by 1.0 W", Weight.ACT),
        (None, "draw unknown", Weight.LOOK),
    ],
)
def test_leg_verdict(max_w: float | None, words: str, weight: Weight | None) -> None:
    """90 W with 20 % to stay free: 72 W may be used."""
    verdict = leg_verdict("local AC", 90.0, 20, max_w, max_w, 100.0)
    assert (verdict.words, verdict.weight) == (words, weight)


@pytest.mark.parametrize("coverage", [0.004, 50.0, 97.0, None])
def test_what_was_hardly_read_fits_only_so_far(coverage: float | None) -> None:
    verdict = leg_verdict("local AC", 90.0, 20, 60.0, 60.0, coverage)
    assert verdict.words == "fits so far as read, 12.0 W above the margin"


def test_little_read_is_to_look_at() -> None:
    (finding,) = unit_findings(True, (), {Basis.MEASURED: 1.0}, 0.004, None)
    assert (finding.weight, finding.sentence) == (Weight.LOOK, "Read for less than 1 % of the period only.")


def test_a_loss_that_was_there_at_the_first_reading_lasted_at_least_so_long() -> None:
    event = AuditEvent("local-ac-lost", "pier", None, 1e9, 1e9 + 600, "", began_seen=False)
    assert "lost before the first reading, which was at 2001-09-09 01:46" in lost_leg(event, "UTC").sentence
    assert lost_leg(event, "UTC").sentence.endswith("after at least 10 min.")
    assert lost_leg(replace(event, began_seen=True), "UTC").sentence.endswith("after 10 min.")


def test_a_loss_whose_return_was_not_seen_is_between_two_lengths() -> None:
    """Lost 14:06, last read lost 14:07, next read 14:48."""
    lost_s = 1_772_460_360.0  # 2026-03-02 14:06:00 UTC
    event = AuditEvent(
        "local-ac-lost", "pier", None, lost_s, lost_s + 42 * 60, "", last_seen_s=lost_s + 60, ended_seen=False
    )
    assert lost_leg(event, "UTC").sentence == (
        "Local AC lost at 2026-03-02 14:06; last seen lost at 2026-03-02 14:07; had returned when next read at "
        "2026-03-02 14:48, after between 60 s and 42 min."
    )
    assert lost_leg(replace(event, began_seen=False), "UTC").sentence.endswith("14:48, after at least 60 s.")
    assert lasted_words(replace(event, last_seen_s=lost_s)) == "at most 42 min"
    assert "was not seen to return by the end" in lost_leg(replace(event, to_s=None), "UTC").sentence


@pytest.mark.parametrize(
    ("facts", "sentence"),
    [
        (
            replace(FACTS, hangs="pier", feeds_unit="pier", carried_s=0.0),
            "Spare feed of pier: held, was not seen to carry in what was read (62 % of the period).",
        ),
        (
            replace(FACTS, hangs="pier", feeds_unit="pier", carried_s=30.0),
            "Carried pier for at least 30 s, up to 7.0 W.",
        ),
        (
            replace(FACTS, planned=False, day=day({7.0: 30})),
            "Unplanned device: seen delivering for at least 30 s, up to 7.0 W.",
        ),
        (
            replace(FACTS, day=day({0.0: 86_400}, delivering_s=0)),
            "Planned device missing: pier-cam drew nothing in what was read (62 % of the period).",
        ),
        (
            replace(FACTS, day=day({2.0: 86_400})),
            "Far below plan: 2.0 W for 95 % of the time in what was read (62 % of the period); "
            "the rest may have been more.",
        ),
        (
            replace(FACTS, alarms=(AuditEvent("power-denied", "pier", "1", 1.0, 2.0, "x"),)),
            "Power was denied: the alarm came up at least once.",
        ),
    ],
)
def test_of_what_was_not_read_nothing_is_denied(facts: PortFacts, sentence: str) -> None:
    assert sentence in told(replace(facts, coverage_percent=62.0))


def test_a_loss_too_short_for_an_alarm_is_told() -> None:
    event = AuditEvent("local-ac-lost", "pier", None, 1e9, 1e9 + 30, "", raised=False)
    assert lost_leg(event, "UTC").sentence.endswith("after 30 s; no alarm, as it was over before the on-delay.")


def test_a_budget_of_nothing() -> None:
    """A feed whose class does not even cover the unit's own use."""
    assert leg_verdict("PoE feed", 0.0, 5, 1.0, 2.0, 100.0).words == "over by 2.0 W"


def test_unit_findings() -> None:
    """Legs, then quality; a unit without readings is never fine."""
    over = leg_verdict("PoE feed", 20.0, 5, 21.0, 22.0, 80.0)
    fine = leg_verdict("local AC", 90.0, 20, 21.0, 22.0, 80.0)
    found = unit_findings(True, (fine, over), {Basis.MEASURED: 1.0}, 80.0, None)
    assert [finding.sentence for finding in found] == [
        "On PoE feed: over by 2.0 W, of 20 W.",
        "Read for 80 % of the period only.",
    ]
    assert "nothing is known" in unit_findings(True, (), {}, None, None)[0].sentence
    assert unit_findings(False, (), {}, None, None)[0].sentence == "Not readable by design."
