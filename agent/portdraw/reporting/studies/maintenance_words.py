"""The maintenance sheet in words: what is gone, what must not be done, what goes dark if it happens anyway."""

from __future__ import annotations

from collections.abc import Iterator

from portdraw.powerflow.failure import Failure, FailureKind
from portdraw.reporting.studies.failure_words import more_words
from portdraw.reporting.studies.maintenance import Danger, MaintenanceSheet
from portdraw.reporting.studies.study_words import (
    HEADS,
    WHEN,
    capital,
    devices,
    limit_words,
    minutes_words,
    names,
)

STANDING_RULES = (
    "Not during boarding or an emergency, and not while another unit of the branch is on one leg.",
    "Devices with a safety duty: arrange for something else first.",
    "Draw no PoE connector under load: turn the port off in the switch's management first.",
    "Never re-close a tripped breaker: call its keeper, find the cause first.",
    "Afterwards check that every unit is back on the legs that it stood on before.",
)

_BY_HAND = {
    FailureKind.CIRCUIT: "switch off circuit {subject}",
    FailureKind.PANEL: "switch off panel {subject}",
    FailureKind.UPS_INPUT: "switch off the input of {subject}",
    FailureKind.SUPPLY_MODULE: "pull {what}",
    FailureKind.FEED_CABLE: "draw the {what}",
    FailureKind.FEEDER_PORT: "turn off {what}",
    FailureKind.CONTROLLER_RESTART: "restart or update {subject}",
    FailureKind.UNIT: "restart or update {subject}",
}


def headline(sheet: MaintenanceSheet) -> list[str]:
    """Return what the work does by itself."""
    most = sheet.row.dark_count
    by_itself = f"darkens {devices(most)} by itself" if most else "darkens nothing by itself"
    case, result = sheet.row.worst
    lines = [f"It {by_itself}."]
    legs = result.on_one_leg
    if legs:
        lines.append(f"Meanwhile on one leg: {names(legs, 20)}.")
    if result.unreachable:
        lines.append(f"Unreachable meanwhile, but powered: {names(result.unreachable, 20)}.")
    if result.worst is not None:
        lines.append(f"The tightest limit then, {WHEN[case]}: {limit_words(result.worst)}.")
    if result.minutes is not None:
        lines.append(f"On battery meanwhile, {WHEN[case]}: {minutes_words(result)}.")
    if not sheet.dangers:
        lines.append("No single failure meanwhile darkens more than it would at any other time.")
    return lines


def own_words(sheet: MaintenanceSheet, most: int) -> list[str]:
    """Return what goes dark through the work itself, load by load."""
    return [line for line in more_words(sheet.row, most) if line.startswith(("Dark", "May", "Go off"))]


def forbidden(sheet: MaintenanceSheet) -> list[str]:
    """Return what nobody may do meanwhile: "Do not switch off circuit pier-7: breakwater-cam and 3 more go dark"."""
    said: dict[str, Danger] = {}
    for danger in sheet.dangers:
        action = _by_hand(danger.failure)
        if action and (action not in said or len(danger.more) > len(said[action].more)):
            said[action] = danger
    return [f"Do not {action}: {names(danger.more, 4)} would go dark." for action, danger in said.items()]


def _by_hand(failure: Failure) -> str:
    pattern = _BY_HAND.get(failure.kind, "")
    return pattern.format(subject=failure.subject, what=failure.what)


def dangers_alike(sheet: MaintenanceSheet) -> Iterator[tuple[str, Danger, str]]:
    """Yield failures that darken the same devices meanwhile as one: their names, one of them, counts by load."""
    found: dict[tuple[str, ...], list[Danger]] = {}
    for danger in sheet.dangers:
        found.setdefault(danger.more, []).append(danger)
    for same in found.values():
        first = same[0]
        counts = {case: len(more) for danger in same for case, _, more in danger.cases}
        if len(set(counts.values())) == 1 and len(counts) == len(sheet.cases):
            said = str(next(iter(counts.values())))
        else:
            said = ", ".join(f"{HEADS[case]} {count}" for case, count in counts.items())
        yield capital("; ".join(danger.failure.what for danger in same)), first, said
