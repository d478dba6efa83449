"""The failure study in the terminal: a headline in words, then what breaks, what darkens, and what is fine."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from portdraw.plan.load_case import Case
from portdraw.powerflow.failure import FailureKind
from portdraw.powerflow.failure_result import FailureResult
from portdraw.powerflow.mend import Mend
from portdraw.reporting.plain_text import plain
from portdraw.reporting.studies.cautions import STUDY_CAUTION
from portdraw.reporting.studies.site_study import FailureRow, Grade, SiteStudy
from portdraw.reporting.studies.study_text import parts_text, print_parts, text_table
from portdraw.reporting.studies.study_words import (
    GRADE_TITLES,
    HEADS,
    WHEN,
    capital,
    count_words,
    dark_names,
    limit_words,
    may_names,
    mend_case_words,
    mend_title,
    minutes_words,
    names,
    normal_words,
    promise_words,
    subject_words,
    verdict_words,
    worst_words,
)

_STYLES = {
    Grade.BREAKS: "bold red",
    Grade.MAY_BREAK: "red",
    Grade.OVERLOADS: "red",
    Grade.USES_MARGIN: "yellow",
    Grade.SHEDS: "",
    Grade.DARKENS: "",
    Grade.FINE: "green",
}
_DETAILED = 8  # failures told in full; the rest of them in a table
_NAMES_SHOWN = 12
_ASSUMED_SHOWN = 12


def print_failures(study: SiteStudy) -> None:
    """Print the whole study on standard output."""
    print_parts(_parts(study))


def failures_text(study: SiteStudy) -> str:
    """Return the whole study as plain text of 100 columns."""
    return parts_text(_parts(study))


def _parts(study: SiteStudy) -> Iterator[RenderableType]:
    loads = ", ".join(case.value for case in study.cases)
    yield Text(f"{plain(study.site.site.name)}: what fails next, on the plan", style="bold")
    yield Text(f"Loads: {loads}. Watts of units at the PSE output, of circuits and UPS at AC.")
    yield Text(promise_words(study))
    yield Text("")
    for line in normal_words(study):
        yield Text(plain(line), style="bold")
    worst = next(iter(study.rows), None)
    for line in worst_words(study):
        style = _STYLES[worst.grade] if worst is not None and worst.finding else "green"
        indent = 2 if line.startswith("  ") else 0
        yield Padding(Text(plain(line.strip(), 600), style=style), (0, 0, 0, indent))
    yield from _first_mend(study)
    yield Text(count_words(study))
    for grade in (Grade.BREAKS, Grade.MAY_BREAK, Grade.OVERLOADS, Grade.USES_MARGIN, Grade.SHEDS):
        yield from _judged(study, grade)
    yield from _mends(study)
    yield from _listed(study)
    yield from _fine(study)
    yield from _ending(study)


def _first_mend(study: SiteStudy) -> Iterator[RenderableType]:
    for row, mends in study.mends:
        whole = [mend for mend in mends if mend.mends]
        if whole:
            ways = ["; ".join(mend.changes) if len(mend.changes) < 2 else _settings(mend) for mend in whole]
            ways.sort(key=len)
            yield Text(plain(f"What mends it under each load: {'. Or: '.join(ways)}.", 900), style="green")
        elif row.finding and mends:
            yield Text("No single setting mends it; see below for what helps.")
        return


def _settings(mend: Mend) -> str:
    return f"{len(mend.changes)} port priorities of {mend.unit}, listed below"


def _judged(study: SiteStudy, grade: Grade) -> Iterator[RenderableType]:
    rows = [row for row in study.rows if row.grade is grade]
    if not rows:
        return
    yield Text(f"\n{GRADE_TITLES[grade]}", style="bold")
    detailed = _DETAILED if grade <= Grade.MAY_BREAK else 0
    for row in rows[:detailed]:
        yield Text(plain(capital(row.what)), style=_STYLES[grade])
        yield Padding(_cases(row), (0, 0, 0, 2))
        for line in _more(row):
            yield Padding(Text(plain(line, 600)), (0, 0, 0, 2))
    if rows[detailed:]:
        yield _worst_only(rows[detailed:])


def _cases(row: FailureRow) -> Table:
    table = text_table("load", "verdict", "the limit that binds")
    table.columns[0].no_wrap = True
    table.add_column("dark", justify="right", no_wrap=True)
    table.add_column("may", justify="right", no_wrap=True)
    table.add_column("stay", justify="right", no_wrap=True)
    for case, result in row.results:
        counts = (len(result.dark), len(result.may_go_dark), len(result.stays))
        words = limit_words(result.worst)
        lasting = minutes_words(result)
        text = plain(f"{words}; {lasting}" if lasting else words)
        table.add_row(HEADS[case], verdict_words(result), text, *map(str, counts))
    return table


def _more(row: FailureRow) -> Iterator[str]:
    yield from _by_case("dark", [(case, dark_names(result)) for case, result in row.results])
    yield from _by_case("may go dark", [(case, may_names(result)) for case, result in row.results])
    case, result = row.worst
    single = row.failure.kind is not FailureKind.ALL_UNBACKED_AC
    if result.verdict.alone:
        yield f"Not judged, as nothing else could power them: {names(result.verdict.alone, _NAMES_SHOWN)}."
    if result.on_one_leg and single:
        yield f"On one leg then: {names(result.on_one_leg, _NAMES_SHOWN)}."
    if result.unreachable:
        yield f"Unreachable, but powered: {names(result.unreachable, _NAMES_SHOWN)}."
    if result.restarts:
        yield f"Go off and start again on the way: {names(result.restarts, _NAMES_SHOWN)}."
    if result.may_restart:
        yield f"May go off and start again on the way (not declared): {names(result.may_restart, _NAMES_SHOWN)}."
    others = [found for found in result.over if found is not result.worst]
    if others:
        yield f"Also over, {WHEN[case]}: {'; '.join(limit_words(found) for found in others[:3])}."
    promised = [line for line in result.verdict.reasons if "lasts" in line or "watts" in line]
    for line in promised:
        yield f"{line}."


def _by_case(kind: str, found: list[tuple[Case, tuple[str, ...]]]) -> Iterator[str]:
    """Name devices load by load, once where they are the same."""
    said: set[str] = set()
    for case, devices in found:
        new = [name for name in devices if name not in said]
        if not new:
            continue
        also = "also " if said else ""
        yield f"{kind[0].upper()}{kind[1:]} {WHEN[case]}: {also}{names(new, _NAMES_SHOWN)}."
        said.update(devices)


def _worst_only(rows: list[FailureRow]) -> Table:
    table = text_table("failure", "load", "the limit that binds")
    table.columns[1].no_wrap = True
    table.add_column("dark", justify="right", no_wrap=True)
    table.add_column("may", justify="right", no_wrap=True)
    for row in rows:
        case, result = row.worst
        counts = (str(len(result.dark)), str(len(result.may_go_dark)))
        table.add_row(plain(row.what), HEADS[case], plain(limit_words(result.worst)), *counts)
    return table


def _mends(study: SiteStudy) -> Iterator[RenderableType]:
    for row, mends in study.mends:
        yield Text(f"\nWhat would mend it: {plain(row.what)}", style="bold")
        if not mends:
            yield Text(
                "No setting or supply that this study knows of keeps more. More watts, or fewer devices, will."
            )
        for number, mend in enumerate(mends, 1):
            yield Text.assemble(
                f"{number}. ", (mend_title(mend), "green" if mend.mends else "yellow"), f": {plain(mend.changes[0])}"
            )
            for change in mend.changes[1:]:
                yield Padding(Text(plain(change)), (0, 0, 0, 3))
            for case in mend.cases:
                yield Padding(Text(f"{HEADS[case.case]:<8}{plain(mend_case_words(mend, case))}"), (0, 0, 0, 3))
            for note in mend.notes:
                yield Padding(Text(plain(note)), (0, 0, 0, 3))


def _listed(study: SiteStudy) -> Iterator[RenderableType]:
    """Yield failures that darken only what hangs on the failed thing; those that do the same share a row."""
    rows = [row for row in study.rows if row.grade is Grade.DARKENS]
    if not rows:
        return
    yield Text(f"\n{GRADE_TITLES[Grade.DARKENS]}", style="bold")
    table = text_table("failure", "goes dark")
    table.columns[0].ratio, table.columns[1].ratio = 2, 3
    for case in study.cases:
        table.add_column(HEADS[case], justify="right", no_wrap=True)
    for what, row in _alike(rows):
        counts = [_count(result) for _, result in row.results]
        _, result = row.worst
        said = names(dark_names(result), _NAMES_SHOWN)
        if result.may_go_dark:
            said = f"{said}; may: {names(may_names(result), _NAMES_SHOWN)}".removeprefix("; ")
        if result.unreachable:
            said += f"\nunreachable, powered: {names(result.unreachable, 4)}"
        text = "\n".join(plain(line, 600) for line in said.split("\n"))
        table.add_row(plain(what), text, *counts)
    yield table


def _alike(rows: list[FailureRow]) -> Iterator[tuple[str, FailureRow]]:
    alike: dict[tuple[tuple[tuple[str, ...], tuple[str, ...]], ...], list[FailureRow]] = {}
    for row in rows:
        key = tuple((result.dark, result.may_go_dark) for _, result in row.results)
        alike.setdefault(key, []).append(row)
    for same in alike.values():
        told = max(same, key=lambda row: len(row.worst[1].unreachable))
        yield "; ".join(row.what for row in same), told


def _count(result: FailureResult) -> str:
    may = len(result.may_go_dark)
    return f"{len(result.dark)}+{may}?" if may else str(len(result.dark))


def _fine(study: SiteStudy) -> Iterator[RenderableType]:
    rows = [row for row in study.rows if row.grade is Grade.FINE]
    if not rows:
        return
    yield Text(f"\n{GRADE_TITLES[Grade.FINE]}: {len(rows)} failures, nothing dark", style="bold")
    table = text_table("kind", "what may fail")
    table.columns[0].no_wrap = True
    for kind in FailureKind:
        found = [row for row in rows if row.failure.kind is kind]
        if found:
            some = ", ".join(subject_words(row) for row in found[:40])
            more = f" and {len(found) - 40} more" if len(found) > 40 else ""
            table.add_row(kind.value, plain(some + more, 2000))
    yield table
    tight = max(
        ((case, row, result) for row in rows for case, result in row.results if result.worst is not None),
        key=lambda found: 0.0 if found[2].worst is None else found[2].worst.share,
        default=None,
    )
    if tight is not None:
        case, row, result = tight
        yield Text(plain(f"The tightest of them: {row.what}, {WHEN[case]}; {limit_words(result.worst)}."))
    lasting = [
        (result.minutes, case, row) for row in rows for case, result in row.results if result.minutes is not None
    ]
    if lasting:
        _, case, row = min(lasting, key=lambda found: found[0])
        result = dict(row.results)[case]
        yield Text(plain(f"On battery: {row.what}, {WHEN[case]}; {minutes_words(result)}."))


def _ending(study: SiteStudy) -> Iterator[RenderableType]:
    reasons = study.reasons()
    if reasons:
        yield Text("\nCan't be powered as drawn, or can't be worked out", style="bold")
        for line in reasons[:_ASSUMED_SHOWN]:
            yield Text(plain(line))
        if len(reasons) > _ASSUMED_SHOWN:
            yield Text(f"and {len(reasons) - _ASSUMED_SHOWN} more; --json lists all.")
    assumed = study.assumed()
    yield Text(
        "\nAssumed, as not declared" if assumed else "\nNothing is assumed: all that counts is declared.",
        style="bold" if assumed else "",
    )
    for line in assumed[:_ASSUMED_SHOWN]:
        yield Text(plain(line))
    if len(assumed) > _ASSUMED_SHOWN:
        yield Text(f"and {len(assumed) - _ASSUMED_SHOWN} more; --json lists all.")
    yield Text(f"\n{STUDY_CAUTION}", style="dim")
