"""The load schedule as people read and print it: tables that fit 100 columns, findings, and a caution."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from io import StringIO

from rich import box
from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from portdraw.plan.finding import Finding, FindingSeverity
from portdraw.plan.load_case import Case
from portdraw.plan.planned_load import (
    STEADY,
    Held,
    LoadSchedule,
    PlannedPort,
    PlannedUnit,
    Sum,
    Verdict,
)
from portdraw.reporting.plain_table import PlainTable
from portdraw.reporting.plain_text import plain
from portdraw.reporting.wording import limit

WIDTH = 100
CAUTION = (
    "This is arithmetic on a drawing, no electrical inspection. A unit with two legs stays live from the other one "
    "when one is off, its ports too (up to 57 V DC): isolate both and test before you touch. Surge protection, "
    "bonding and bundle heating follow local code and the makers' instructions."
)
_HEADS = {
    Case.TYPICAL: "typical",
    Case.NIGHT: "night",
    Case.FROST_NIGHT: "frost",
    Case.STARTUP: "start-up",
    Case.MAXIMUM: "maximum",
}
_MARKS = {Verdict.FITS: " ", Verdict.MARGIN_USED: "*", Verdict.OVER: "!", Verdict.UNKNOWN: "?"}
_STYLES = {Verdict.FITS: "", Verdict.MARGIN_USED: "yellow", Verdict.OVER: "bold red", Verdict.UNKNOWN: "magenta"}
_SEVERITY_STYLES = {
    FindingSeverity.ERROR: "bold red",
    FindingSeverity.WARNING: "yellow",
    FindingSeverity.NOTICE: "cyan",
}
_ASSUMED_SHOWN = 20
_CASES_SHOWN = 2  # of one sum, each in a line of its own
_NAME_WIDTH = 26


def stands(schedule: LoadSchedule, findings: Iterable[Finding]) -> bool:
    """Say whether the plan holds: no error in its structure, every load powered, every sum within its margin."""
    errors = any(finding.severity is FindingSeverity.ERROR for finding in findings)
    return not errors and all(held.stands for held in schedule.held()) and not list(unpowered(schedule))


def unpowered(schedule: LoadSchedule) -> Iterator[str]:
    """Yield why planned loads can't be powered, once for each port, with the cases that count: steady, start-up."""
    for unit in schedule.units:
        for port in unit.ports:
            counted = {
                reason: [case.value for case in cases if case is not Case.MAXIMUM]
                for reason, cases in port.reasons.items()
            }
            told = [(reason, cases) for reason, cases in counted.items() if cases]
            if told:
                also = list(dict.fromkeys(case for _, cases in told[1:] for case in cases if case not in told[0][1]))
                more = f"; also {', '.join(also)}" if also else ""
                yield f"{told[0][0]} ({', '.join(told[0][1])}{more})"


def exceeded(schedule: LoadSchedule) -> Iterator[str]:
    """Yield one sentence for each sum that counts and does not stand, with the figure that is short."""
    for held in schedule.held():
        if not held.stands:
            yield _sentence(held, schedule)


def _short(schedule: LoadSchedule) -> Iterator[tuple[str, Verdict]]:
    """Yield the sums that do not stand: of one sum short in many cases the worst, and the other cases by name."""
    short: dict[str, list[Held]] = {}
    for held in schedule.held():
        if not held.stands:
            short.setdefault(held.what, []).append(held)
    for cases in short.values():
        if len(cases) <= _CASES_SHOWN:
            yield from ((_sentence(held, schedule), held.verdict) for held in cases)
            continue
        worst = max(cases, key=lambda held: (held.verdict is Verdict.OVER, held.total.watts))
        others = ", ".join(held.case.value for held in cases if held is not worst)
        yield f"{_sentence(worst, schedule)} Also: {others}.", worst.verdict


def not_judged(schedule: LoadSchedule) -> str | None:
    """Say what the file declares and this schedule does not judge, None where it declares nothing such."""
    names = schedule.not_judged
    if not names:
        return None
    listed = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
    verb = "are" if len(names) > 1 or names == ("generators",) else "is"
    return f"{listed} {verb} not judged here: `portdraw failures` does."


def assumptions(schedule: LoadSchedule) -> list[str]:
    """Return what undeclared figures rest on, each once; what several places share is one line with their number."""
    said = [assumed for unit in schedule.units for port in unit.ports for assumed in port.assumed]
    once = dict.fromkeys(said)
    alike = Counter(sentence.partition(": ")[2] for sentence in once)
    lines: dict[str, None] = {}
    for sentence in once:
        what = sentence.partition(": ")[2]
        lines.setdefault(f"{what} ({alike[what]} places)" if alike[what] > 1 else sentence)
    return list(lines)


def print_schedule(console: Console, schedule: LoadSchedule, findings: list[Finding]) -> None:
    """Print the whole load schedule on a terminal."""
    for part in schedule_parts(schedule, findings):
        console.print(part, highlight=False)


def schedule_text(schedule: LoadSchedule, findings: list[Finding]) -> str:
    """Return the load schedule as plain text of 100 columns, for printing and for files."""
    page = StringIO()
    print_schedule(Console(file=page, width=WIDTH, color_system=None), schedule, findings)
    return "\n".join(line.rstrip() for line in page.getvalue().splitlines())


def schedule_parts(
    schedule: LoadSchedule,
    findings: list[Finding],
    instead_of_ports: Sequence[RenderableType] | None = None,
    more: Sequence[tuple[str, Verdict]] = (),
) -> Iterator[RenderableType]:
    """Yield the parts of the printed form; other tables may stand in place of those of the ports.

    `more` is what is not kept beside the sums of the schedule, as sentences.
    """
    yield Text(f"{plain(schedule.site)}: load schedule of the plan", style="bold")
    yield Text(
        "Watts. Devices at the PD input; ports, units and budgets at the PSE output; circuits and UPS at AC.\n"
        f"Kept free: {schedule.margin_percent:g} % of every limit in normal running, "
        f"{schedule.margin_after_failure_percent:g} % after a failure.\n"
        "* uses the margin   ! over the limit   ? can't be said. Maximum is shown, not judged."
    )
    if schedule.units:
        yield from _figures(schedule)
        if instead_of_ports is None:
            yield from (_ports(unit) for unit in schedule.units if unit.ports)
        else:
            yield from instead_of_ports
    yield from _ending(schedule, findings, more)


def _figures(schedule: LoadSchedule) -> Iterator[RenderableType]:
    yield _units(
        "Units in normal running: every local AC present, spare feeds standing by",
        schedule,
        ((unit, unit.normal, unit.normal_budget_w, schedule.margin_percent) for unit in schedule.units),
    )
    yield _units(
        "Units with all feeds carrying: no local AC at any unit that has a feed",
        schedule,
        (
            (unit, unit.carrying, unit.carrying_budget_w, schedule.margin_after_failure_percent)
            for unit in schedule.units
        ),
    )
    if schedule.sources:
        yield _sources(schedule)
    yield _tiers(schedule)
    yield _devices(schedule)


def _titled(title: str, table: Table | PlainTable) -> RenderableType:
    return Group(Text(f"\n{title}", style="bold"), table)


def _table(*heads: str, numbers: Iterable[str]) -> Table:
    table = Table(
        box=box.SIMPLE_HEAD,
        show_edge=False,
        pad_edge=False,
        padding=(0, 1, 0, 0),
    )
    for head in heads:
        table.add_column(head, overflow="fold", max_width=_NAME_WIDTH)
    for head in numbers:
        table.add_column(head, justify="right", no_wrap=True)
    return table


def _units(
    title: str,
    schedule: LoadSchedule,
    rows: Iterable[tuple[PlannedUnit, dict[Case, Sum], float | None, float]],
) -> RenderableType:
    table = _table("unit", numbers=("tier", *(f"{head} " for head in _HEADS.values()), "budget"))
    table.add_column("leg")
    for unit, sums, limit_w, margin_percent in rows:
        on_feed = limit_w is not None and limit_w == unit.budget_on_feed_w and sums is unit.carrying
        leg = "PoE feed" if on_feed or not unit.supplied_by else "local AC" if unit.fed_by else "its supplies"
        cells = _cells(sums, limit_w, margin_percent)
        table.add_row(plain(unit.unit), str(unit.tier or "-"), *cells, limit(limit_w), leg)
    return _titled(title, table)


def _sources(schedule: LoadSchedule) -> RenderableType:
    table = _table(
        "source",
        numbers=(*(f"{head} " for head in _HEADS.values()), "limit", "other load"),
    )
    for source in schedule.sources:
        name = plain(f"{source.kind} {source.name}")
        usual = _cells(source.normal, source.limit_w, schedule.margin_percent)
        table.add_row(name, *usual, limit(source.limit_w), limit(source.other_load_w))
        if any(source.carrying[case].watts > source.normal[case].watts for case in Case):
            after = _cells(source.carrying, source.limit_w, schedule.margin_after_failure_percent)
            table.add_row("  all feeds carrying", *after, "", "")
    return _titled("UPS and AC circuits at AC: normal running, and all feeds carrying where that is more", table)


def _tiers(schedule: LoadSchedule) -> RenderableType:
    table = _table("tier", numbers=("units", *_HEADS.values()))
    for tier in schedule.tiers:
        figures = (_figure(tier.devices[case]) for case in Case)
        table.add_row(str(tier.tier or "-"), str(len(tier.units)), *figures)
    return _titled("Tiers: devices at the PD input", table)


def _devices(schedule: LoadSchedule) -> RenderableType:
    table = _table("type", numbers=("class", *_HEADS.values(), "count"))
    kinds: Counter[tuple[str, str, tuple[float | None, ...]]] = Counter()
    for port in (port for unit in schedule.units for port in unit.ports if port.kind == "device"):
        name = port.device_type or port.hangs
        kinds[name, _class(port), tuple(port.pd_w[case] for case in Case)] += 1
    for (name, kind, watts), count in sorted(kinds.items(), key=lambda item: item[0][0]):
        table.add_row(plain(name), kind, *("?" if one is None else f"{one:g}" for one in watts), str(count))
    return _titled("Devices: each at its PD input", table)


def _ports(unit: PlannedUnit) -> RenderableType:
    legs = []
    if unit.supplied_by:
        legs.append(f"{'local AC' if unit.fed_by else 'AC'} from {', '.join(unit.supplied_by)}")
    if unit.fed_by:
        legs.append(f"PoE feed from {unit.fed_by}")
    where = f" ({unit.place})" if unit.place else ""
    title = plain(f"Ports of {unit.unit}{where}: {'; '.join(legs) or 'no source'}")
    table = PlainTable(("port", "label", "on it", "priority"), ("class", "m", *_HEADS.values()), _NAME_WIDTH)
    for port in unit.ports:
        length = "" if port.length_m is None else f"{port.length_m:g}"
        priority = port.priority if port.hangs else ""
        figures = [_watts(port.pse_w, case) for case in Case] if port.hangs else [""] * len(Case)
        hangs = plain(port.hangs) if port.hangs else "(spare)"
        table.add_row(port.port, plain(port.label), hangs, priority, _class(port), length, *figures)
        if port.kind == "feed" and port.carrying_w != port.pse_w:
            table.add_row("", "", "  carrying", "", "", "", *(_watts(port.carrying_w, case) for case in Case))
    return _titled(title, table)


def _ending(
    schedule: LoadSchedule, findings: list[Finding], more: Sequence[tuple[str, Verdict]]
) -> Iterator[RenderableType]:
    yield Text("\nStructure", style="bold")
    if not findings:
        yield Text("Nothing to say.")
    for finding in findings:
        label = (f"{finding.severity.value}: ", _SEVERITY_STYLES[finding.severity])
        yield Text.assemble(label, plain(f"{finding.where}: {finding.sentence}"))
    assumed = assumptions(schedule)
    kept = not_judged(schedule)
    if assumed or kept:
        yield Text("\nAssumed, as not declared" if assumed else "\nDeclared, but not judged", style="bold")
        for sentence in assumed[:_ASSUMED_SHOWN]:
            yield Text(plain(sentence))
        if len(assumed) > _ASSUMED_SHOWN:
            yield Text(f"and {len(assumed) - _ASSUMED_SHOWN} more; --json lists all.")
        if kept:
            yield Text(kept)
    yield Text("\nResult", style="bold")
    if stands(schedule, findings) and not more:
        yield Text("The plan fits its limits with the margins kept.", style="green")
    for sentence in unpowered(schedule):
        yield Text(plain(f"Can't be powered as drawn: {sentence}."), style=_STYLES[Verdict.OVER])
    for sentence, verdict in (*_short(schedule), *more):
        yield Text(plain(sentence), style=_STYLES[verdict])
    if any(finding.severity is FindingSeverity.ERROR for finding in findings):
        yield Text("The structure has errors; see above.", style=_STYLES[Verdict.OVER])
    yield Text(f"\n{CAUTION}", style="dim")


def _sentence(held: Held, schedule: LoadSchedule) -> str:
    where = f"{held.what}, {held.case.value}"
    if held.verdict is Verdict.UNKNOWN or held.limit_w is None:
        missing = ", ".join(held.total.missing[:3]) or "a limit that is not declared"
        more = f" and {len(held.total.missing) - 3} more" if len(held.total.missing) > 3 else ""
        return f"{where}: can't be said; what lacks is {missing}{more}."
    share = f" ({held.total.watts / held.limit_w * 100:.0f} %)" if held.limit_w > 0 else ""
    drawn = f"{where}: {held.total.watts:.1f} W of {limit(held.limit_w)}{share}"
    if held.verdict is Verdict.OVER:
        return f"{drawn}, {held.total.watts - held.limit_w:.1f} W short."
    after = held.what.endswith("carrying")
    margin = schedule.margin_after_failure_percent if after else schedule.margin_percent
    return f"{drawn}; the margin of {margin:g} % is not kept."


def _cells(sums: Mapping[Case, Sum], limit_w: float | None, margin_percent: float) -> list[Text]:
    cells = []
    for case in Case:
        verdict = sums[case].held_against(limit_w, margin_percent if case in STEADY else 0.0)
        style = "dim" if case is Case.MAXIMUM else _STYLES[verdict]
        cells.append(Text(_figure(sums[case]) + _MARKS[verdict], style=style))
    return cells


def _figure(total: Sum) -> str:
    return f"{'>' if total.missing else ''}{total.watts:.1f}"


def _watts(figures: Mapping[Case, float | None], case: Case) -> str:
    watts = figures[case]
    return "?" if watts is None else f"{watts:.1f}"


def _class(port: PlannedPort) -> str:
    if port.device_class is None:
        return ""
    return "+".join(map(str, port.device_class)) if isinstance(port.device_class, tuple) else str(port.device_class)
