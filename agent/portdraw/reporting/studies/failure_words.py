"""What one failure does, line by line, and which failures do the same. Alike in the terminal and on paper."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from portdraw.plan.load_case import Case
from portdraw.powerflow.failure import FailureKind
from portdraw.powerflow.failure_result import FailureResult
from portdraw.reporting.studies.site_study import FailureRow, Grade, SiteStudy
from portdraw.reporting.studies.study_words import (
    WHEN,
    dark_names,
    limit_words,
    may_names,
    minutes_words,
    names,
    subject_words,
)


def more_words(row: FailureRow, most: int) -> Iterator[str]:
    """Yield what goes dark load by load, and what else changes under the worst load; at most `most` names a line."""
    yield from _by_case("dark", most, [(case, dark_names(result)) for case, result in row.results])
    yield from _by_case("may go dark", most, [(case, may_names(result)) for case, result in row.results])
    case, result = row.worst
    single = row.failure.kind is not FailureKind.ALL_UNBACKED_AC
    if result.verdict.alone:
        yield f"Not judged, as nothing else could power them: {names(result.verdict.alone, most)}."
    if result.on_one_leg and single:
        yield f"On one leg then: {names(result.on_one_leg, most)}."
    if result.unreachable:
        yield f"Unreachable, but powered: {names(result.unreachable, most)}."
    if result.restarts:
        yield f"Go off and start again on the way: {names(result.restarts, most)}."
    if result.may_restart:
        yield f"May go off and start again on the way (not declared): {names(result.may_restart, most)}."
    others = [found for found in result.over if found is not result.worst]
    if others:
        yield f"Also over, {WHEN[case]}: {'; '.join(limit_words(found) for found in others[:3])}."
    promised = [line for line in result.verdict.reasons if "lasts" in line or "watts" in line]
    for line in promised:
        yield f"{line}."


def _by_case(kind: str, most: int, found: list[tuple[Case, tuple[str, ...]]]) -> Iterator[str]:
    """Name devices load by load, once where they are the same."""
    if len(found) > 1 and found[0][1] and all(set(devices) == set(found[0][1]) for _, devices in found):
        yield f"{kind[0].upper()}{kind[1:]} under every load: {names(found[0][1], most)}."
        return
    said: set[str] = set()
    for case, devices in found:
        new = [name for name in devices if name not in said]
        if not new:
            continue
        also = "also " if said else ""
        yield f"{kind[0].upper()}{kind[1:]} {WHEN[case]}: {also}{names(new, most)}."
        said.update(devices)


def alike(rows: Sequence[FailureRow]) -> Iterator[tuple[str, FailureRow]]:
    """Yield failures that darken the same devices as one: their names, and the one that says most."""
    found: dict[tuple[tuple[tuple[str, ...], tuple[str, ...]], ...], list[FailureRow]] = {}
    for row in rows:
        key = tuple((result.dark, result.may_go_dark) for _, result in row.results)
        found.setdefault(key, []).append(row)
    for same in found.values():
        told = max(same, key=lambda row: len(row.worst[1].unreachable))
        yield "; ".join(row.what for row in same), told


def count_of(result: FailureResult) -> str:
    """Return how many devices go dark, and with a question mark how many may."""
    may = len(result.may_go_dark)
    return f"{len(result.dark)}+{may}?" if may else str(len(result.dark))


def fine_by_kind(study: SiteStudy) -> list[tuple[str, list[str]]]:
    """Return the failures that darken nothing, kind by kind."""
    rows = [row for row in study.rows if row.grade is Grade.FINE]
    found = [(kind.value, [subject_words(row) for row in rows if row.failure.kind is kind]) for kind in FailureKind]
    return [(kind, some) for kind, some in found if some]


def fine_words(study: SiteStudy) -> Iterator[str]:
    """Yield which of the harmless failures is the tightest, and which leaves a battery the least time."""
    told = [(case, row, result) for row in study.rows if row.grade is Grade.FINE for case, result in row.results]
    tight = max(told, key=lambda one: 0.0 if one[2].worst is None else one[2].worst.share, default=None)
    if tight is not None and tight[2].worst is not None:
        yield f"The tightest of them: {tight[1].what}, {WHEN[tight[0]]}; {limit_words(tight[2].worst)}."
    lasting = [(result.minutes, case, row, result) for case, row, result in told if result.minutes is not None]
    if lasting:
        _, case, row, result = min(lasting, key=lambda one: one[0])
        yield f"The shortest on battery: {row.what}, {WHEN[case]}; {minutes_words(result)}."
