"""Conditions of the next failure: unsafe now, by the unit whose limit binds, the worst failure of each in words."""

from __future__ import annotations

from collections.abc import Mapping

from portdraw.judgement.alarm import AlarmKind, Severity
from portdraw.judgement.assessment import SiteAssessment
from portdraw.judgement.condition import Condition, unjudged
from portdraw.judgement.failure_words import dark_words, limit_words, outlook_words, worst_under
from portdraw.judgement.next_failure import Finding, NextFailure, Outlook, StudiedLoad
from portdraw.judgement.wording import capital, count_text, list_text, place_text
from portdraw.powerflow.failure_result import Outcome

_KIND = AlarmKind.NEXT_FAILURE_UNSAFE
_MOST_FINDINGS = 3  # under one load; of the others only their number is told
_SAID = {Outcome.NOT_SURVIVED: "would not be survived", Outcome.MAY_NOT_SURVIVE: "may not be survived"}


def failure_conditions(assessment: SiteAssessment) -> list[Condition]:
    """Return one condition for each unit at which the next failure is unsafe now.

    Where a draw is not known, or a unit is not heard, what only may happen can't be judged: it begins no alarm and
    ends none.
    """
    unheard = any(unit.stale for unit in assessment.units)
    by_unit: dict[str, list[tuple[NextFailure, Outlook]]] = {}
    where = _units_of_devices(assessment)
    for failure, outlook in worst_under(assessment.next_failures, StudiedLoad.NOW):
        if not outlook.rings:
            continue
        by_unit.setdefault(_unit(assessment, failure, outlook, where), []).append((failure, outlook))
    found = []
    for unit, unsafe in by_unit.items():
        failure, outlook = unsafe[0]
        may_only = outlook.outcome is Outcome.MAY_NOT_SURVIVE
        if may_only and (outlook.assumed or unheard):
            found.append(unjudged(_KIND, unit))
        else:
            found.append(_condition(assessment, unit, failure, outlook, [one.what for one, _ in unsafe[1:]]))
    return found


def standing_findings(failures: tuple[NextFailure, ...], tonight_rests_on: str) -> tuple[Finding, ...]:
    """Return what is unsafe tonight and in the plan's worst case, and what may be so now: it stands until changed."""
    found: list[Finding] = []
    heads = {
        StudiedLoad.NOW: "Now, for all that readings and plan leave open",
        StudiedLoad.TONIGHT: f"Tonight ({tonight_rests_on})",
        StudiedLoad.DESIGN: "In the plan's worst case",
    }
    for load, head in heads.items():
        unsafe = [pair for pair in worst_under(failures, load) if load is not StudiedLoad.NOW or not pair[1].rings]
        more = len(unsafe) - _MOST_FINDINGS
        for place, (failure, outlook) in enumerate(unsafe[:_MOST_FINDINGS]):
            said = _SAID.get(outlook.outcome, "would leave a limit over")
            sentence = f"{head}: if {failure.what} fails, this {said}: {outlook_words(outlook)}."
            if more > 0 and place == _MOST_FINDINGS - 1:
                sentence += (
                    f" {capital(count_text(more, 'other failure'))} {'is' if more == 1 else 'are'} unsafe too."
                )
            found.append(Finding(load, failure.what, sentence))
    return tuple(found)


def _condition(
    assessment: SiteAssessment, unit: str, failure: NextFailure, outlook: Outlook, others: list[str]
) -> Condition:
    of_unit = assessment.unit(unit)
    who = place_text(unit, "" if of_unit is None else of_unit.place)
    limit = limit_words(outlook)
    more = f" The same holds for {list_text(others, 3)}." if others else ""
    severity, why = _severity(outlook)
    return Condition(
        _KIND,
        unit,
        None,
        head=f"{who} has not been safe against the next failure",
        tail=f": if {failure.what} fails, {dark_words(outlook)}{f' ({limit})' if limit else ''}.{more}",
        value=outlook.need_w,
        limit=outlook.limit_w,
        measure="W" if outlook.need_w is not None else "",
        severity=severity,
        why_severity=why,
        consequence=f"If {failure.what} fails, {outlook_words(outlook)}.",
    )


def _severity(outlook: Outlook) -> tuple[Severity, str]:
    """By what goes dark, how critical it is, and how sure that is."""
    if outlook.outcome not in _SAID:
        return Severity.WARNING, f"nothing the site promised goes dark, but {list_text(outlook.over)} stays over"
    sure = outlook.outcome is Outcome.NOT_SURVIVED
    goes = "goes" if sure else "may go"
    if outlook.highest is None:
        return Severity.WARNING, list_text(outlook.why) or "the site's promise is not kept"
    why = f"a device of criticality {outlook.highest} {goes} dark with one more failure"
    if outlook.highest == 1:
        return (Severity.URGENT if sure else Severity.WARNING), why
    return (Severity.WARNING if sure else Severity.NOTICE), why


def _unit(assessment: SiteAssessment, failure: NextFailure, outlook: Outlook, where: Mapping[str, str]) -> str:
    """Return the unit at which a failure is unsafe: whose limit binds, else that of what goes dark first."""
    if assessment.unit(outlook.subject) is not None:
        return outlook.subject
    for device in (*outlook.dark, *outlook.may_go_dark):
        if device in where:
            return where[device]
    return next(iter((*failure.moved_units, *(unit.unit for unit in assessment.units))), "")


def _units_of_devices(assessment: SiteAssessment) -> dict[str, str]:
    return {port.hangs: unit.unit for unit in assessment.units for port in unit.ports if port.hangs}
