"""The failure study in the terminal: a headline in words, then what breaks, what darkens, and what is fine."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from portdraw.powerflow.site_mend import SiteMend
from portdraw.reporting.plain_text import plain
from portdraw.reporting.studies.cautions import STUDY_CAUTION
from portdraw.reporting.studies.failure_words import alike, count_of, fine_by_kind, fine_words, more_words
from portdraw.reporting.studies.site_study import FailureRow, Grade, SiteStudy
from portdraw.reporting.studies.study_text import parts_text, print_parts, text_table
from portdraw.reporting.studies.study_words import (
    GRADE_TITLES,
    HEADS,
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
    nothing_mends_words,
    promise_words,
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
_FINE_SHOWN = 40
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
        if line.startswith("  ") and "not surviv" not in line:
            style = ""
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


def _settings(mend: SiteMend) -> str:
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
        for line in more_words(row, _NAMES_SHOWN):
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
            yield Text(plain(nothing_mends_words(row), 600))
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
    for what, row in alike(rows):
        counts = [count_of(result) for _, result in row.results]
        _, result = row.worst
        said = names(dark_names(result), _NAMES_SHOWN)
        if result.may_go_dark:
            said = f"{said}; may: {names(may_names(result), _NAMES_SHOWN)}".removeprefix("; ")
        if result.unreachable:
            said += f"\nunreachable, powered: {names(result.unreachable, 4)}"
        text = "\n".join(plain(line, 600) for line in said.split("\n"))
        table.add_row(plain(what), text, *counts)
    yield table


def _fine(study: SiteStudy) -> Iterator[RenderableType]:
    kinds = fine_by_kind(study)
    if not kinds:
        return
    count = sum(len(some) for _, some in kinds)
    yield Text(f"\n{GRADE_TITLES[Grade.FINE]}: {count} failures, nothing dark", style="bold")
    table = text_table("kind", "what may fail")
    table.columns[0].no_wrap = True
    for kind, some in kinds:
        table.add_row(kind, plain(names(some, _FINE_SHOWN), 4000))
    yield table
    for line in fine_words(study):
        yield Text(plain(line))


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
