"""From plan and readings of a port or unit to findings in words. Pure: figures in, sentences out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from portdraw.history.port_day import PortDay
from portdraw.judgement.port_rules import plan_tolerance_w
from portdraw.observation.record import Basis
from portdraw.reporting.audit.audit_rows import AuditEvent, AuditFinding, DriftRow, LegVerdict, Weight
from portdraw.reporting.plain_text import plain
from portdraw.reporting.wording import age, clock, in_what_was_read, is_whole, limit, seen_for, share_text, watts

# Common practice for all of these; none is from a standard.
LASTING_S = 600.0  # a start-up is over by then
FAR_ABOVE_PERCENT = 10.0  # beyond the tolerance, this much more is no noise
OFTEN_SHARE = 0.01  # less above plan than that counts when it lasts for this share of the time
BELOW_PLAN_SHARE = 0.5
WELL_COVERED_PERCENT = 90.0
HALF_PERCENT = 50.0
NOTHING_DRAWN_W = 0.2
NOT_A_READING = frozenset({Basis.GRANTED, Basis.CEILING, Basis.PLANNED})


@dataclass(frozen=True)
class PortFacts:
    """What is known of a port. `day` is the whole period as one PortDay, None where the port was never read.

    `unit_tells`: the unit's own total is known. `carried_s` is how long a feed port carried the unit below it,
    None where it can't be told. `coverage_percent` is that of the port; where it is not planned, of the unit: such
    a port may tell its watts only while something hangs on it.
    """

    readable: bool
    unit_tells: bool
    planned: bool
    planned_off: bool
    hangs: str
    feeds_unit: str | None
    planned_now_w: float | None
    planned_max_w: float | None
    class_limit_w: float | None
    day: PortDay | None
    coverage_percent: float | None
    carried_s: float | None
    drift: DriftRow | None
    alarms: tuple[AuditEvent, ...]


def port_findings(facts: PortFacts) -> tuple[AuditFinding, ...]:
    """Return the findings of a port, the weightiest first; none means: as planned, and read well enough to say so."""
    day = facts.day
    if day is None or day.max_w is None:
        return _without_readings(facts)
    found: list[AuditFinding] = []
    found += _against_plan(facts, day)
    found += _against_class(facts, day)
    found += _denied(facts.alarms, facts.coverage_percent)
    if facts.drift is not None and facts.drift.rising:
        found.append(AuditFinding(Weight.LOOK, facts.drift.sentence))
    if facts.feeds_unit is not None:
        found.append(_feed(facts, day))
    found += _quality(day.basis_shares, facts.coverage_percent if facts.planned else None)
    return _in_order(found)


def _without_readings(facts: PortFacts) -> tuple[AuditFinding, ...]:
    if not facts.readable:
        return (AuditFinding(Weight.KNOW, "Not readable by design."),)
    if not facts.planned:
        sentence = "Not in the plan, and its watts were never read."
        return _in_order([AuditFinding(Weight.LOOK, sentence), *_denied(facts.alarms, facts.coverage_percent)])
    if facts.day is not None and facts.day.ms_in_state and facts.unit_tells:
        spell = (
            f"at least {age(facts.day.seconds_delivering)}"  # its watts are unread, so nothing says that it is all
        )
        sentence = f"Seen delivering power for {spell}; the unit tells only its total, not the watts of this port."
        return _in_order([AuditFinding(Weight.KNOW, sentence), *_denied(facts.alarms, facts.coverage_percent)])
    sentence = "Its watts were never read in this period; nothing is known of it."
    return _in_order([AuditFinding(Weight.LOOK, sentence), *_denied(facts.alarms, facts.coverage_percent)])


def _against_plan(facts: PortFacts, day: PortDay) -> list[AuditFinding]:
    drawn_w = day.max_w or 0.0
    if not facts.planned:
        if drawn_w <= NOTHING_DRAWN_W and day.seconds_delivering == 0:
            return []
        delivered_s, coverage = day.seconds_delivering, facts.coverage_percent
        spell = f" for {seen_for(delivered_s, coverage)}" if delivered_s > 0 else ""
        delivering = "delivering" if is_whole(coverage) else "seen delivering"
        return [AuditFinding(Weight.ACT, f"Unplanned device: {delivering}{spell}, up to {watts(drawn_w)}.")]
    if facts.feeds_unit is not None:
        return []
    if facts.planned_off:
        if drawn_w > NOTHING_DRAWN_W:
            return [AuditFinding(Weight.LOOK, f"Planned off, but drew up to {watts(drawn_w)}.")]
        return []
    if drawn_w <= NOTHING_DRAWN_W and day.seconds_delivering == 0:
        all_read = is_whole(facts.coverage_percent)
        where = "in all that was read" if all_read else in_what_was_read(facts.coverage_percent)
        return [AuditFinding(Weight.ACT, f"Planned device missing: {plain(facts.hangs)} drew nothing {where}.")]
    if facts.planned_max_w is None:
        return [AuditFinding(Weight.LOOK, "Its planned watts are unknown, so its draw can't be held against them.")]
    plan_w = facts.planned_max_w
    above_s = day.seconds_at_or_above(plan_w + plan_tolerance_w(plan_w))
    far_above_s = day.seconds_at_or_above(plan_w * (1 + FAR_ABOVE_PERCENT / 100) + plan_tolerance_w(plan_w))
    if above_s >= max(_lasting_s(day), OFTEN_SHARE * day.seconds_known) or far_above_s >= _lasting_s(day):
        spell = seen_for(above_s, facts.coverage_percent)
        sentence = f"Above plan for {spell}: up to {watts(drawn_w)}, planned {watts(plan_w)}."
        return [AuditFinding(Weight.LOOK, sentence)]
    p95_w = day.percentile(95)
    if facts.planned_now_w is not None and p95_w is not None and p95_w < facts.planned_now_w * BELOW_PLAN_SHARE:
        part = "of the time; the plan can be lowered"
        if not is_whole(facts.coverage_percent):
            part = f"of the time {in_what_was_read(facts.coverage_percent)}; the rest may have been more"
        return [AuditFinding(Weight.KNOW, f"Far below plan: {watts(p95_w)} for 95 % {part}.")]
    return []


def _against_class(facts: PortFacts, day: PortDay) -> list[AuditFinding]:
    if facts.class_limit_w is None or day.max_w is None:
        return []
    above_s = day.seconds_at_or_above(facts.class_limit_w + 0.1)
    if above_s < _lasting_s(day):
        return []
    spell = seen_for(above_s, facts.coverage_percent)
    sentence = f"Above its class for {spell}: up to {watts(day.max_w)} of {limit(facts.class_limit_w)}."
    return [AuditFinding(Weight.ACT, sentence)]


def _lasting_s(day: PortDay) -> float:
    """Return for how long something must last to count [s]; in a short audit, a tenth of it."""
    return min(LASTING_S, day.seconds_known / 10)


def _denied(alarms: Sequence[AuditEvent], coverage_percent: float | None) -> list[AuditFinding]:
    count = sum(alarm.kind == "power-denied" for alarm in alarms)
    if count == 0:
        return []
    times = "once" if count == 1 else f"{count} times"
    times = times if is_whole(coverage_percent) else f"at least {times}"
    return [AuditFinding(Weight.ACT, f"Power was denied: the alarm came up {times}.")]


def _feed(facts: PortFacts, day: PortDay) -> AuditFinding:
    below = plain(facts.feeds_unit or "")
    if facts.carried_s is None:
        return AuditFinding(Weight.LOOK, f"Whether this feed ever carried {below} can't be told from its watts.")
    coverage = facts.coverage_percent
    if facts.carried_s == 0:
        if is_whole(coverage):
            return AuditFinding(Weight.KNOW, f"Spare feed of {below}: held, never carried in this period.")
        return AuditFinding(
            Weight.KNOW, f"Spare feed of {below}: held, was not seen to carry {in_what_was_read(coverage)}."
        )
    spell = seen_for(facts.carried_s, coverage)
    return AuditFinding(Weight.KNOW, f"Carried {below} for {spell}, up to {watts(day.max_w)}.")


def _quality(shares: dict[Basis, float], coverage_percent: float | None) -> list[AuditFinding]:
    found = []
    weak = sum(share for basis, share in shares.items() if basis in NOT_A_READING)
    if weak > 0.5:
        main = next(iter(shares))
        found.append(
            AuditFinding(Weight.KNOW, f"Not measured: watts are {main.value}, the true draw is lower or equal.")
        )
    if coverage_percent is not None and coverage_percent < WELL_COVERED_PERCENT:
        weight = Weight.KNOW if coverage_percent >= HALF_PERCENT else Weight.LOOK
        found.append(AuditFinding(weight, f"Read for {share_text(coverage_percent)} of the period only."))
    return found


def leg_verdict(
    leg: str,
    budget_w: float | None,
    kept_free_percent: float,
    p95_w: float | None,
    max_w: float | None,
    coverage_percent: float | None,
) -> LegVerdict:
    """Hold a unit's draw against the budget of one leg [W], of which `kept_free_percent` is to stay free.

    Where part of the period was not read, what fits is said to fit so far as read.
    """
    if budget_w is None or max_w is None:
        words = "budget unknown" if budget_w is None else "draw unknown"
        return LegVerdict(leg, budget_w, kept_free_percent, None, None, words, Weight.LOOK)
    p95_share = None if p95_w is None or budget_w <= 0 else p95_w / budget_w
    max_share = None if budget_w <= 0 else max_w / budget_w
    usable_w = budget_w * (1 - kept_free_percent / 100)
    fits = "fits" if is_whole(coverage_percent) else "fits so far as read"
    if max_w > budget_w:
        words, weight = f"over by {watts(max_w - budget_w)}", Weight.ACT
    elif max_w > usable_w:
        words, weight = (
            f"{fits}, but {watts(max_w - usable_w)} into the margin of {kept_free_percent:g} %",
            Weight.LOOK,
        )
    else:
        return LegVerdict(
            leg,
            budget_w,
            kept_free_percent,
            p95_share,
            max_share,
            f"{fits}, {watts(usable_w - max_w)} above the margin",
            None,
        )
    return LegVerdict(leg, budget_w, kept_free_percent, p95_share, max_share, words, weight)


def unit_findings(
    readable: bool,
    legs: Sequence[LegVerdict],
    shares: dict[Basis, float],
    coverage_percent: float | None,
    drift: DriftRow | None,
) -> tuple[AuditFinding, ...]:
    """Return the findings of a unit's sum, the weightiest first."""
    if not readable:
        return (AuditFinding(Weight.KNOW, "Not readable by design."),)
    if not coverage_percent:
        return (AuditFinding(Weight.LOOK, "Its draw was never read in this period; nothing is known of it."),)
    found = [
        AuditFinding(verdict.weight, f"On {verdict.leg}: {verdict.words}, of {limit(verdict.budget_w)}.")
        for verdict in legs
        if verdict.weight is not None
    ]
    if drift is not None and drift.rising:
        found.append(AuditFinding(Weight.LOOK, drift.sentence))
    return _in_order([*found, *_quality(shares, coverage_percent)])


def lost_leg(event: AuditEvent, timezone: str) -> AuditFinding:
    """Return what a loss of local AC means: from when to when, so far as it was seen."""
    from_s, to_s = event.from_s, event.to_s
    began = "since before the period" if from_s is None else f"at {clock(from_s, timezone, 0.0)[:16]}"
    if to_s is None:
        return AuditFinding(Weight.ACT, f"Local AC lost {began}; it was not seen to return by the end of the period.")
    if from_s is not None and not event.began_seen:
        began = f"before the first reading, which was {began}"
    back = clock(to_s, timezone, 0.0)[:16]
    if event.ended_seen:
        returned = f"it returned at {back}"
    elif event.last_seen_s is None:
        returned = f"it had returned when next read at {back}"
    else:
        seen = clock(event.last_seen_s, timezone, 0.0)[:16]
        returned = f"last seen lost at {seen}; had returned when next read at {back}"
    span = lasted_words(event)
    lasted = f", after {span}" if span else ""
    alarm = "" if event.raised else "; no alarm, as it was over before the on-delay"
    if not event.raised and not event.ended_seen:
        alarm = "; no alarm, as it was not seen for as long as the on-delay"
    return AuditFinding(Weight.LOOK, f"Local AC lost {began}; {returned}{lasted}{alarm}.")


def lasted_words(event: AuditEvent) -> str:
    """Return "10 min", "at least 10 min", "between 1 min and 41 min"; "" where beginning or end is not known."""
    least_s, most_s = event.lasted_s, event.at_most_s
    if least_s is None:
        return ""
    if event.ended_seen:
        return age(least_s) if event.began_seen else f"at least {age(least_s)}"
    if most_s is None:
        return f"at least {age(least_s)}"
    return f"between {age(least_s)} and {age(most_s)}" if least_s > 0 else f"at most {age(most_s)}"


def _in_order(found: Sequence[AuditFinding]) -> tuple[AuditFinding, ...]:
    order = list(Weight)
    return tuple(sorted(found, key=lambda finding: order.index(finding.weight)))
