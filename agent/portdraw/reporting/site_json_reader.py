"""Reads the agent's JSON back into an assessment, so that a terminal shows what the pages show."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from portdraw.judgement.alarm import Alarm, AlarmKind, AlarmState, Handling, Severity
from portdraw.judgement.assessment import (
    Availability,
    Carrying,
    Leg,
    PortAssessment,
    SiteAssessment,
    UnitAssessment,
)
from portdraw.judgement.next_failure import Finding, NextFailure, Outlook, StudiedLoad
from portdraw.observation.record import Basis, PortState
from portdraw.observation.unit_observation import Outcome
from portdraw.powerflow.failure import FailureKind
from portdraw.powerflow.failure_result import Outcome as Verdict
from portdraw.reporting.site_json import FORMAT

Given = Mapping[str, Any]
Part = TypeVar("Part")


def site_from_json(given: Given) -> tuple[SiteAssessment, float]:
    """Return the assessment and the time [s] at which it was told. ValueError with one sentence for anything else."""
    if not isinstance(given, Mapping) or given.get("format") != FORMAT:
        raise ValueError(f"this is not the state of a site in format {FORMAT}: agent and command differ in version")
    try:
        return _site(given), float(given["now_s"])
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise ValueError(f"the state of the site can't be read ({type(error).__name__}: {error})") from None


def _site(given: Given) -> SiteAssessment:
    return SiteAssessment(
        time_s=float(given["assessed_at_s"]),
        site=given["site"],
        timezone=given["timezone"],
        emulated=bool(given["emulated"]),
        night=bool(given["night"]),
        margin_percent=float(given["margin_percent"]),
        units=_each(_unit, given["units"]),
        next_failures=_each(_failure, given["next_failures"]),
        more_failures=int(given["more_failures"]),
        tonight_rests_on=given["tonight_rests_on"],
        findings=_each(_finding, given["findings"]),
        alarms=_each(_alarm, given["alarms"]),
        headline=given["headline"],
        cycle=int(given["cycle"]),
    )


def _each(read: Callable[[Given], Part], rows: Any) -> tuple[Part, ...]:
    return tuple(read(row) for row in rows)


def _basis(given: Given) -> Basis | None:
    return None if given["basis"] is None else Basis(given["basis"])


def _unit(given: Given) -> UnitAssessment:
    poll, draw, budget = given["poll"], given["draw"], given["budget"]
    return UnitAssessment(
        unit=given["unit"],
        place=given["place"],
        zone=given["zone"],
        outcome=Outcome(poll["outcome"]),
        reason=poll["reason"],
        read_s=poll["read_at_s"],
        stale=bool(poll["stale"]),
        draw_w=draw["value_w"],
        draw_basis=_basis(draw),
        draw_complete=bool(draw["complete"]),
        total_w=given["total"]["value_w"],
        planned_now_w=given["planned_now"]["value_w"],
        planned_max_w=given["planned_max"]["value_w"],
        budget_w=budget["now"]["value_w"],
        budget_on_ac_w=budget["on_local_ac"]["value_w"],
        budget_on_feed_w=budget["on_poe_feed"]["value_w"],
        budget_reported_w=budget["reported"]["value_w"],
        share=given["budget_used_ratio"],
        feed_need_w=given["feed_need"]["value_w"],
        feed_limit_w=given["feed_limit"]["value_w"],
        legs=_each(_leg, given["legs"]),
        ports=tuple(_port(given["unit"], row) for row in given["ports"]),
        fed_by=given["fed_by"],
        notes=tuple(given["notes"]),
    )


def _leg(given: Given) -> Leg:
    return Leg(
        name=given["name"],
        source=given["source"],
        availability=Availability(given["availability"]),
        carrying=Carrying(given["carrying"]),
        evidence_for=tuple(given["evidence_for"]),
        evidence_against=tuple(given["evidence_against"]),
        since_s=given["since_s"],
        sure=bool(given["sure"]),
    )


def _port(unit: str, given: Given) -> PortAssessment:
    draw = given["draw"]
    return PortAssessment(
        unit=unit,
        port=given["port"],
        label=given["label"],
        hangs=given["hangs"],
        kind=given["kind"],
        feeds_unit=given["feeds_unit"],
        planned=bool(given["planned"]),
        planned_now_w=given["planned_now"]["value_w"],
        planned_max_w=given["planned_max"]["value_w"],
        class_limit_w=given["class_limit"]["value_w"],
        device_class=given["device_class"],
        state=None if given["state"] is None else PortState(given["state"]),
        draw_w=draw["value_w"],
        basis=_basis(draw),
        source=draw["source"],
        read_s=draw["read_at_s"],
        missing=draw["missing"],
        denied_count=given["denied_count"],
        neighbour=given["neighbour"],
        uncertainty_w=draw["uncertainty_w"],
    )


def _failure(given: Given) -> NextFailure:
    return NextFailure(
        what=given["what"],
        kind=FailureKind(given["kind"]),
        moved_units=tuple(given["moved_units"]),
        outlooks=_each(_outlook, given["outlooks"]),
    )


def _outlook(given: Given) -> Outlook:
    unknown = bool(given["limit"]) and given["headroom"]["value_w"] is None
    return Outlook(
        load=StudiedLoad(given["load"]),
        outcome=Verdict(given["outcome"]),
        dark=tuple(given["dark"]),
        may_go_dark=tuple(given["may_go_dark"]),
        limit=given["limit"],
        subject=given["limit_of"],
        need_w=given["need"]["value_w"],
        limit_w=given["limit_can_give"]["value_w"],
        over=tuple(given["stay_over"]),
        tight=bool(given["margin_used"]),
        minutes=given["battery_minutes"],
        battery=given["battery"],
        why=tuple(given["why"]),
        highest=given["highest_criticality"],
        assumed=tuple(given["planned_watts_stand_for"]),
        undeclared=bool(given["rests_on_undeclared"]),
        reason=given["headroom"]["missing"] if unknown else "",
    )


def _finding(given: Given) -> Finding:
    return Finding(StudiedLoad(given["load"]), given["what"], given["sentence"])


def _alarm(given: Given) -> Alarm:
    hand = given["handling"]
    return Alarm(
        kind=AlarmKind(given["kind"]),
        unit=given["unit"],
        port=given["port"],
        state=AlarmState(given["state"]),
        severity=Severity(given["severity"]),
        sentence=given["sentence"],
        consequence=given["consequence"],
        action=given["action"],
        why_severity=given["why_severity"],
        began_s=float(given["began_at_s"]),
        raised_s=given["raised_at_s"],
        ended_s=given["ended_at_s"],
        value=given["value"],
        limit=given["limit"],
        measure=given["measure"],
        handling=None if hand is None else Handling(hand["owner"], hand["reason"], hand["until_at_s"]),
    )
