"""The limits of the table of margins that are not kept, in sentences, as far as the plan's result rests on them.

What is set aside may be more than what is drawn: a limit that the load schedule's sums keep can still bind.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from portdraw.plan.planned_load import LoadSchedule, Verdict
from portdraw.plan.site import Site
from portdraw.powerflow.limit_state import LimitKind, LimitState
from portdraw.reporting.studies.limit_margins import MarginCell, MarginRow, Mark, PowerState
from portdraw.reporting.studies.study_words import limit_words

_WHEN = {
    PowerState.NORMAL: "normal running",
    PowerState.AC_LOST: "all local AC lost",
    PowerState.FEED_LOST: "all PoE feeds lost",
}
_IN_SCHEDULE = {PowerState.NORMAL: "normal running", PowerState.AC_LOST: "all feeds carrying"}
_VERDICTS = {Mark.MARGIN: Verdict.MARGIN_USED, Mark.OVER: Verdict.OVER, Mark.UNKNOWN: Verdict.UNKNOWN}
_OF_SOURCES = (LimitKind.UPS, LimitKind.CIRCUIT)
_LEDGER = {"class": "set aside by class", "granted": "set aside as granted"}


@dataclass(frozen=True)
class NotKept:
    """One limit in one state that is not kept, under one or more loads: the worst in words, then the other loads."""

    sentence: str
    verdict: Verdict


def margins_not_kept(site: Site, rows: Sequence[MarginRow], schedule: LoadSchedule) -> tuple[NotKept, ...]:
    """Return what the result rests on beside the load schedule; what its sums say already is not said again."""
    said = {(held.what, held.case) for held in schedule.held() if not held.stands}
    fed = _fed(site)
    found: list[NotKept] = []
    for row in rows:
        for state in PowerState:
            cells = [
                cell
                for cell in row.broken()
                if cell.state is state and _judged(site, fed, cell) and (_what(row, cell), cell.case) not in said
            ]
            if cells:
                found.append(_told(site, row, cells))
    return tuple(found)


def not_promised(site: Site, rows: Sequence[MarginRow]) -> str | None:
    """Say which marked limits the result does not rest on, as the site promises nothing for that; None for none."""
    fed = _fed(site)
    names = [row.limit for row in rows if any(not _judged(site, fed, cell) for cell in row.broken())]
    if not names:
        return None
    verb = "is" if len(names) == 1 else "are"
    which = ", ".join(names)
    return f"With all local AC lost, {which} {verb} shown, not judged: the site does not promise to outlast it."


def _fed(site: Site) -> frozenset[str]:
    ports = (port for unit in site.units.values() for port in unit.ports.values())
    return frozenset(port.feeds_unit for port in ports if port.feeds_unit is not None)


def _judged(site: Site, fed: frozenset[str], cell: MarginCell) -> bool:
    """All local AC lost: what one lost circuit asks of its units counts always, what all ask together if promised."""
    found = cell.found
    if cell.state is not PowerState.AC_LOST or site.policy.must_survive.all_unbacked_ac is not None or found is None:
        return True
    return found.kind not in _OF_SOURCES and (found.kind is not LimitKind.BUDGET or found.subject in fed)


def _what(row: MarginRow, cell: MarginCell) -> str:
    """How the load schedule calls the same sum, "" where it has none such."""
    found, state = cell.found, _IN_SCHEDULE.get(cell.state)
    if found is None or state is None or found.kind in (LimitKind.CLASS, LimitKind.PORT):
        return ""
    kind = {LimitKind.UPS: "UPS ", LimitKind.CIRCUIT: "circuit "}.get(found.kind, "")
    return f"{kind}{row.subject}, {state}"


def _told(site: Site, row: MarginRow, cells: Sequence[MarginCell]) -> NotKept:
    worst = max(cells, key=lambda cell: (cell.mark is Mark.OVER, 0.0 if cell.found is None else cell.found.share))
    assert worst.found is not None  # a limit with nothing on it is not marked
    others = ", ".join(dict.fromkeys(cell.case.value for cell in cells if cell is not worst))
    also = f" Also: {others}." if others else ""
    return NotKept(f"{_sentence(site, worst, worst.found)}{also}", _VERDICTS[worst.mark])


def _sentence(site: Site, cell: MarginCell, found: LimitState) -> str:
    said = limit_words(found)
    unit = site.units.get(found.subject)
    if unit is not None and unit.pse is not None:
        said = said.replace("set aside", _LEDGER.get(unit.pse.admission, "set aside"))
    where = f"{_WHEN[cell.state]}, {cell.case.value}: {said}"
    if cell.mark is not Mark.MARGIN:
        return f"{where}."
    policy = site.policy
    normal = cell.state is PowerState.NORMAL
    percent = policy.margin_percent if normal else policy.margin_after_failure_percent
    return f"{where}; the margin of {percent:g} % is not kept."
