"""How the studies are put into words: limits, loads, failures, verdicts. Alike in the terminal and on paper."""

from __future__ import annotations

import math
from collections.abc import Sequence

from portdraw.plan.load_case import Case
from portdraw.powerflow.failure import FailureKind
from portdraw.powerflow.failure_result import FailureResult, Outcome, Place
from portdraw.powerflow.limit_state import LimitKind, LimitState
from portdraw.powerflow.site_mend import MendedCase, SiteMend
from portdraw.reporting.studies.site_study import FailureRow, Grade, SiteStudy, overloads
from portdraw.reporting.wording import age, limit, watts

WHEN = {
    Case.TYPICAL: "on a typical day",
    Case.NIGHT: "at night",
    Case.FROST_NIGHT: "on a frost night",
    Case.STARTUP: "while all start up",
    Case.MAXIMUM: "with all at maximum",
}
HEADS = {
    Case.TYPICAL: "typical",
    Case.NIGHT: "night",
    Case.FROST_NIGHT: "frost",
    Case.STARTUP: "start-up",
    Case.MAXIMUM: "maximum",
}
LEAST_TOLD_W = 0.05  # less reads as 0.0 W
COMFORTABLE = 0.8  # of a limit; common practice
GRADE_TITLES = {
    Grade.BREAKS: "Not survived: the site's promise is broken",
    Grade.MAY_BREAK: "May not be survived: undeclared behaviour leaves it open",
    Grade.OVERLOADS: "Nothing goes dark, but a limit is exceeded",
    Grade.USES_MARGIN: "Survived, but the margin after a failure is not kept",
    Grade.SHEDS: "Survived by shedding what the promise lets go",
    Grade.DARKENS: "Darkens what hangs on it: listed, not judged",
    Grade.FINE: "Survived with the margin kept",
}


def percent(share: float) -> str:
    """Return a share in whole percent; rounded up past a limit, so that 100.2 % never reads as 100 %."""
    if not math.isfinite(share):
        return "over"
    return f"{math.ceil(share * 100 - 1e-6) if share > 1 + 1e-9 else round(share * 100)} %"


def limit_words(found: LimitState | None) -> str:
    """Return a limit with its figures: "core budget: 460.4 of 440 W (105 %), 20.4 W short"."""
    if found is None:
        return "no limit is touched"
    if found.limit_w == math.inf or not math.isfinite(found.need_w):
        return f"{found.limit}: can't be worked out{f', {found.reason}' if found.reason else ''}"
    ledger = "set aside" if found.booked_w > found.drawn_w + 1e-6 else ""
    said = f"{found.limit}: {found.need_w:.1f} of {limit(found.limit_w)}"
    if found.limit_w > 0:
        said += f" ({percent(found.share)})"
    if ledger:
        said += f" {ledger}"
    if not found.over:
        return said
    return f"{said}, just over" if found.short_w < LEAST_TOLD_W else f"{said}, {watts(found.short_w)} short"


def dark_names(result: FailureResult) -> tuple[str, ...]:
    """Return the devices that go dark, the most critical first."""
    return _by_criticality(result, result.dark_ports)


def may_names(result: FailureResult) -> tuple[str, ...]:
    """Return the devices that may go dark, the most critical first."""
    return _by_criticality(result, result.may_ports)


def _by_criticality(result: FailureResult, places: Sequence[Place]) -> tuple[str, ...]:
    ports = [result.network.units[at].ports[port] for at, port in places]
    return tuple(port.device or "" for port in sorted(ports, key=lambda port: port.criticality))


def minutes_words(result: FailureResult) -> str:
    """Return how long the first battery lasts, "" where none gives."""
    if result.minutes is None:
        return ""
    if math.isinf(result.minutes):
        return f"{result.battery} has no load"
    return f"{result.battery} lasts {age(round(result.minutes) * 60)}"


def names(found: Sequence[str], most: int) -> str:
    """Return names, those past the first `most` as a count."""
    more = f" and {len(found) - most} more" if len(found) > most else ""
    return ", ".join(found[:most]) + more


def devices(count: int) -> str:
    """Return "1 device" or "3 devices"."""
    return f"{count} device" if count == 1 else f"{count} devices"


def verdict_words(result: FailureResult) -> str:
    """Return the outcome in a word or two."""
    if result.verdict.outcome is Outcome.SURVIVED and overloads(result):
        return "over a limit"
    if result.verdict.outcome is Outcome.SURVIVED and result.dark_ports and result.degraded_numbers:
        return "survived by shedding"
    if result.verdict.outcome is Outcome.SURVIVED and result.margin_used:
        return "survived, margin used"
    return result.verdict.outcome.value


def normal_words(study: SiteStudy) -> list[str]:
    """Say how normal running looks: the top unit's share, and the highest of all others, under the heaviest load."""
    lines: list[str] = []
    dark = {name: normal.case for normal in study.normal for name in (*normal.dark, *normal.may_be_dark)}
    if dark:
        lines.append(
            f"In normal running {devices(len(dark))} can't be powered or may not be: {names(list(dark), 6)}."
        )
    for case, found in study.normal_findings:
        if not found.over:
            lines.append(
                f"In normal running, {WHEN[case]}, the margin of {study.margin_percent:g} % is not kept: "
                f"{limit_words(found)}."
            )
        else:
            lines.append(f"In normal running, {WHEN[case]}, a limit is exceeded: {limit_words(found)}.")
    figures = normal_figures(study)
    if lines or study.incomplete:
        return [
            *lines[:4],
            *([f"and {len(lines) - 4} more."] if len(lines) > 4 else []),
            *study.network.uncomputed.values(),
        ]
    look = "looks comfortable" if figures[1] <= COMFORTABLE else "fits"
    return [f"Normal running {look}: {figures[0]}."]


def normal_figures(study: SiteStudy) -> tuple[str, float]:
    """Return "core 20 %, no unit above 62 %" for the heaviest load of each, and the largest share."""
    roots = [unit.name for unit in study.network.units if not unit.feeds and unit.feed_ports]
    shares: dict[str, float] = {}
    for normal in study.normal:
        for found in normal.limits:
            if found.kind is LimitKind.BUDGET:
                shares[found.subject] = max(shares.get(found.subject, 0.0), found.share)
    top = [name for name in roots if name in shares]
    highest = max(shares.values(), default=0.0)
    parts = [f"{name} {percent(shares[name])}" for name in top[:3]]
    return ", ".join([*parts, f"no unit above {percent(highest)}"]), highest


def worst_words(study: SiteStudy) -> list[str]:
    """Say what the worst failure does under each load, one sentence a load."""
    row = next((row for row in study.rows if row.finding), None)
    if row is None:
        judged = [row for row in study.rows if row.results[0][1].verdict.outcome is not Outcome.NOT_JUDGED]
        shed = sum(row.grade is Grade.SHEDS for row in study.rows)
        how = f", {shed} of them by shedding what the promise lets go" if shed else ", with the margin kept"
        return [f"All {len(judged)} failures that the site promises to survive are survived{how}."]
    lines = [f"The worst failure: {row.what}."]
    return [*lines, *(f"  {WHEN[case]}: {case_words(result, 6)}." for case, result in row.results)]


def case_words(result: FailureResult, most_names: int) -> str:
    """Return what one failure does under one load: verdict, who goes dark, the limit that binds, minutes."""
    parts = [verdict_words(result)]
    if result.dark:
        parts.append(f"{devices(len(result.dark))} dark ({names(dark_names(result), most_names)})")
    if result.may_go_dark:
        parts.append(f"{devices(len(result.may_go_dark))} may go dark ({names(may_names(result), most_names)})")
    if not result.dark and not result.may_go_dark:
        parts.append("nothing dark")
    if result.worst is not None:
        parts.append(limit_words(result.worst))
    lasting = minutes_words(result)
    if lasting:
        parts.append(lasting)
    return "; ".join(parts)


def count_words(study: SiteStudy) -> str:
    """Return how many failures there are of each kind of outcome."""
    counts = {grade: sum(row.grade is grade for row in study.rows) for grade in Grade}
    words = {
        Grade.BREAKS: "not survived",
        Grade.MAY_BREAK: "may not be survived",
        Grade.OVERLOADS: "over a limit",
        Grade.USES_MARGIN: "with the margin used",
        Grade.SHEDS: "survived by shedding",
        Grade.DARKENS: "that darken only what hangs on them",
        Grade.FINE: "fine",
    }
    said = ", ".join(f"{counts[grade]} {words[grade]}" for grade in Grade if counts[grade])
    return f"{len(study.rows)} failures: {said}."


def promise_words(study: SiteStudy) -> str:
    """Return what the site promises to survive."""
    promise = study.site.policy.must_survive
    single = {"all": "every device", "none": "nothing promised"}.get(
        str(promise.any_single), f"devices of criticality {promise.any_single} and above"
    )
    said = f"Promise: any single failure, {single}"
    after = promise.all_unbacked_ac
    if after is None:
        return f"{said}; loss of all local AC, nothing promised."
    level = "criticality 1" if after.criticality_up_to == 1 else f"criticality 1 to {after.criticality_up_to}"
    return f"{said}; loss of all AC without a generator, {level} for {after.minutes:g} min."


def mend_case_words(mend: SiteMend, case: MendedCase) -> str:
    """Return what a change does under one load: "survived; core 440.1 of 660 W (67 %); nothing dark"."""
    share = case.need_w / case.limit_w if case.limit_w > 0 else math.inf
    unit = mend.unit
    parts = [verdict_words(case.after), f"{unit} {case.need_w:.1f} of {limit(case.limit_w)} ({percent(share)})"]
    if case.after.dark or case.after.may_go_dark:
        gone = len(case.after.dark) + len(case.after.may_go_dark)
        kept = f", keeps {names(case.kept, 4)}" if case.kept else ""
        parts.append(f"{gone} dark{kept}")
    else:
        parts.append("nothing dark")
    lasting = minutes_words(case.after)
    if lasting:
        parts.append(lasting)
    return "; ".join(parts)


def nothing_mends_words(row: FailureRow) -> str:
    """Say that nothing known mends a failure, and what is short, where anything is."""
    said = "No setting, supply or declaration that this study knows of keeps more."
    short = {found.limit: found for _, result in row.results for found in (*result.shed_by, *result.over)}
    if not short:
        return f"{said} Every limit is kept by the likely figures: nothing says that more watts would help."
    worst = max(short.values(), key=lambda found: found.share)
    return f"{said} Fewer devices there ease what is short: {limit_words(worst)}."


def mend_title(mend: SiteMend) -> str:
    """Return whether a change mends it, or only helps."""
    return "mends it" if mend.mends else "helps, does not mend it"


def subject_words(row: FailureRow) -> str:
    """Return the failed thing without its kind, for lists under one head."""
    prefixes = ("circuit ", "panel ", "incomer ", "input of ", "unit ", "PoE controller of ", "feed cable of ")
    for prefix in prefixes:
        if row.what.startswith(prefix):
            return row.what.removeprefix(prefix)
    if row.failure.kind is FailureKind.FEEDER_PORT:
        return row.what.partition(",")[0]
    if row.failure.kind is FailureKind.SUPPLY_MODULE:
        return row.what.removeprefix("supply of ").removeprefix("supply ")
    return row.what


def capital(text: str) -> str:
    """Return a sentence's beginning with a capital, leaving names as they are."""
    return (
        text[:1].upper() + text[1:]
        if text.startswith(("all ", "circuit", "panel", "feed", "input", "supply"))
        else text
    )
