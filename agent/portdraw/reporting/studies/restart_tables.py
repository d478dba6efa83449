"""The restart study in the terminal: what comes back when, which limit is asked how much, which delays help."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from portdraw.powerflow.restart import Restart
from portdraw.powerflow.seconds import said_s
from portdraw.powerflow.start_delay import Mend
from portdraw.reporting.plain_text import plain
from portdraw.reporting.studies.cautions import STUDY_CAUTION
from portdraw.reporting.studies.restart_study import RestartRow, SiteRestart, StepRow, step_gravity
from portdraw.reporting.studies.study_text import parts_text, print_parts, text_table

_MOMENTS_SHOWN = 40
_PEAKS_SHOWN = 12
_DELAYS_SHOWN = 30
_STEPS_SHOWN = 24
_DIFFERENCES_SHOWN = 20
_ASSUMED_SHOWN = 12
_LONGEST = 600


def print_restarts(study: SiteRestart) -> None:
    """Print the whole study on standard output."""
    print_parts(_parts(study))


def restarts_text(study: SiteRestart) -> str:
    """Return the whole study as plain text of 100 columns."""
    return parts_text(_parts(study))


def headline(study: SiteRestart) -> str:
    """The result in one sentence."""
    worst = study.worst
    if not study.findings:
        longest = max((row.restart.course.full_service_s or 0.0 for row in study.rows), default=0.0)
        return f"Everything comes back by itself, within every limit; at the longest after {said_s(longest)}."
    bad = sum(not row.restart.fine for row in study.rows)
    return (
        f"{bad} of {len(study.rows)} courses do not come back cleanly. The worst: {worst.what}, {worst.case.value}."
    )


def _parts(study: SiteRestart) -> Iterator[RenderableType]:
    yield Text(f"{plain(study.site.site.name)}: what happens when power comes back, on the plan", style="bold")
    yield Text(
        "Boot times, start delays and start-up watts as declared; a device takes its start-up watts, or its "
        "steady watts where they are more, until it is in service. Units at the PSE output, circuits and UPS at AC."
    )
    yield Text("")
    yield Text(plain(headline(study), _LONGEST), style="bold red" if study.findings else "bold green")
    for what in dict.fromkeys(row.what for row in study.rows):
        yield from _course_table(what, [row for row in study.rows if row.what == what])
    yield from _steps(study)
    yield from _worst(study.worst)
    for row in study.rows:
        yield from _differences(row)
    for row in study.rows:
        if row.restart.mend is not None:
            yield from _delays(row, row.restart.mend)
    if study.assumed:
        yield Text("\nAssumed, as not declared", style="bold")
        for line in study.assumed[:_ASSUMED_SHOWN]:
            yield Text(plain(line))
        if len(study.assumed) > _ASSUMED_SHOWN:
            yield Text(f"and {len(study.assumed) - _ASSUMED_SHOWN} more; --json lists all.")
    yield Text(f"\n{STUDY_CAUTION}", style="dim")


def _course_table(what: str, rows: list[RestartRow]) -> Iterator[RenderableType]:
    yield Text(f"\n{plain(what[:1].upper() + what[1:])}", style="bold")
    table = text_table("load", "full service", "the most loaded limit")
    for head in ("W", "of W", "at", "not back"):
        table.add_column(head, justify="right", no_wrap=True)
    table.columns[0].no_wrap = table.columns[1].no_wrap = True
    for row in rows:
        course, peak = row.restart.course, next(iter(row.restart.peaks), None)
        back = "never" if course.full_service_s is None else said_s(course.full_service_s)
        figures = ("", "", "", "")
        if peak is not None:
            limit = peak.limit
            figures = (plain(limit.limit), _watts(limit.need_w), _watts(limit.limit_w), said_s(peak.at_s))
        style = "" if row.restart.fine else "red"
        table.add_row(row.case.value, back, *figures, str(len(row.restart.not_back)), style=style)
    yield table


def _steps(study: SiteRestart) -> Iterator[RenderableType]:
    """The changes of legs: one line for each failure, then the worst of them stage by stage."""
    if not study.steps:
        return
    if len(study.steps) > 1:
        yield Text("\nThe change of legs, failure by failure, each under its worst load", style="bold")
        table = text_table("failure", "load", "the most loaded limit on the way")
        for head in ("W", "of W", "start anew", "for a time", "stay dark"):
            table.add_column(head, justify="right", no_wrap=True)
        table.columns[1].no_wrap = True
        for row in study.steps[:_STEPS_SHOWN]:
            table.add_row(*(plain(cell) for cell in step_cells(row)), style="red" if step_bad(row) else "")
        yield table
        if len(study.steps) > _STEPS_SHOWN:
            yield Text(f"and {len(study.steps) - _STEPS_SHOWN} more; --json lists all.")
        yield Text("start anew: units that go off on the way; the others are devices without power.", style="dim")
    step_row = max(study.steps, key=lambda row: step_gravity(row.worst[1]))
    case, step = step_row.worst
    yield Text(f"\nThe change of legs by stages: {plain(step.failure.what)}, {case.value}", style="bold")
    table = text_table("stage", "the most loaded limit")
    for head in ("W", "of W", "units dark", "devices dark"):
        table.add_column(head, justify="right", no_wrap=True)
    table.columns[0].no_wrap = True
    for stage in step.stages:
        worst = stage.worst
        figures = ("", "", "")
        if worst is not None:
            figures = (plain(worst.limit), _watts(worst.need_w), _watts(worst.limit_w))
        table.add_row(stage.name.value, *figures, str(len(stage.dark_units)), str(len(stage.dark)))
    yield table
    for line in step.sentences:
        yield Text(plain(f"- {line}", _LONGEST))


def step_cells(row: StepRow) -> tuple[str, ...]:
    """One change of legs as the cells of a table."""
    case, step = row.worst
    limits = [stage.worst for stage in step.stages if stage.worst is not None]
    worst = max(limits, key=lambda limit: (limit.share, limit.short_w), default=None)
    limit = ("nothing moves", "", "") if worst is None else (worst.limit, _watts(worst.need_w), _watts(worst.limit_w))
    anew = sum(feed.restarts for feed in step.feeds)
    for_good = sum(one.seconds is None for one in step.dark_for)
    return (row.what, case.value, *limit, str(anew), str(len(step.dark_for) - for_good), str(for_good))


def step_bad(row: StepRow) -> bool:
    """Whether a device loses power on the way, or a limit is exceeded."""
    step = row.worst[1]
    return bool(step.dark_for) or any(limit.over for stage in step.stages for limit in stage.limits)


def _worst(row: RestartRow) -> Iterator[RenderableType]:
    restart, course = row.restart, row.restart.course
    yield Text(f"\nFrom second to second: {plain(row.what)}, {row.case.value}", style="bold")
    tiers = len(course.moments[0].tier_w) if course.moments else 0
    table = text_table("after")
    for head in (*(f"tier {tier + 1} W" for tier in range(tiers)), "units up", "with power", "in service"):
        table.add_column(head, justify="right", no_wrap=True)
    for moment in course.moments[:_MOMENTS_SHOWN]:
        watts = (f"{tier_w:.1f}" for tier_w in moment.tier_w)
        counts = (moment.units_up, moment.devices_powered, moment.devices_in_service)
        table.add_row(said_s(moment.at_s), *watts, *map(str, counts))
    yield table
    if len(course.moments) > _MOMENTS_SHOWN:
        yield Text(f"and {len(course.moments) - _MOMENTS_SHOWN} more moments; --json lists all.")
    yield from _peaks(restart)
    yield Text("")
    for line in restart.sentences:
        yield Text(plain(f"- {line}", _LONGEST), style="" if restart.fine else "yellow")


def _differences(row: RestartRow) -> Iterator[RenderableType]:
    """What does not come back as it was in normal running."""
    found = row.restart.not_as_before
    if not found:
        return
    yield Text(f"\nNot as it was before: {plain(row.what)}, {row.case.value}", style="bold")
    for one in found[:_DIFFERENCES_SHOWN]:
        yield Text(plain(f"- {one.sentence}", _LONGEST))
    if len(found) > _DIFFERENCES_SHOWN:
        yield Text(f"and {len(found) - _DIFFERENCES_SHOWN} more; --json lists all.")


def _peaks(restart: Restart) -> Iterator[RenderableType]:
    yield Text("\nPeak of each limit", style="bold")
    table = text_table("limit")
    for head in ("W", "of W", "%", "at"):
        table.add_column(head, justify="right", no_wrap=True)
    for peak in restart.peaks[:_PEAKS_SHOWN]:
        limit = peak.limit
        share = f"{limit.share * 100:.0f}" if limit.share < float("inf") else "?"
        style = "red" if limit.over else ""
        figures = (_watts(limit.need_w), _watts(limit.limit_w), share, said_s(peak.at_s))
        table.add_row(plain(limit.limit), *figures, style=style)
    yield table
    if len(restart.peaks) > _PEAKS_SHOWN:
        yield Text(f"and {len(restart.peaks) - _PEAKS_SHOWN} more; --json lists all.")


def _delays(row: RestartRow, mend: Mend) -> Iterator[RenderableType]:
    back_s = mend.course.full_service_s
    back = "not everything in service" if back_s is None else f"full service after {said_s(back_s)}"
    yield Text(f"\nStart delays that help: {plain(row.what)}, {row.case.value}", style="bold")
    yield Text(f"Tried on the same course: no limit is exceeded, {back}.")
    table = text_table("unit", "port", "device")
    table.add_column("start_delay_s", justify="right", no_wrap=True)
    table.add_column("now", justify="right", no_wrap=True)
    for delay in mend.delays[:_DELAYS_SHOWN]:
        seconds = (f"{delay.delay_s:g}", f"{delay.now_s:g}")
        table.add_row(plain(delay.unit), delay.port, plain(delay.device), *seconds)
    yield table
    if len(mend.delays) > _DELAYS_SHOWN:
        yield Text(f"and {len(mend.delays) - _DELAYS_SHOWN} more; --json lists all.")


def _watts(watts: float) -> str:
    return "?" if watts == float("inf") else f"{watts:.1f}"
