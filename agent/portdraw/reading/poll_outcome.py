"""How a poll of a unit ended, in words for people."""

from __future__ import annotations

from collections.abc import Mapping

from portdraw.observation.unit_observation import Outcome
from portdraw.reading.engine import Failure, ReadError

MOST_NAMES_IN_A_REASON = 3


def reason_of(cut: Mapping[str, str | None]) -> str:
    """Return one sentence for each reason, with the objects that it cost."""
    by_why: dict[str, list[str]] = {}
    for name, why in cut.items():
        by_why.setdefault(why or "", []).append(name.partition("@")[0])
    parts = []
    for why, names in by_why.items():
        shown = ", ".join(names[:MOST_NAMES_IN_A_REASON])
        more = f" and {len(names) - MOST_NAMES_IN_A_REASON} more" if len(names) > MOST_NAMES_IN_A_REASON else ""
        parts.append(f"{shown}{more}: {why}")
    return "; ".join(parts) + "."


def outcome_of(error: ReadError) -> tuple[Outcome, str]:
    """Return how a poll ended that brought nothing, and why in one or two sentences."""
    if error.failure.is_credentials:
        return Outcome.REFUSED, f"{error}."
    if error.failure in (Failure.GARBLED, Failure.TIME_WINDOW):
        return Outcome.GARBLED, f"{error}."
    if error.failure is Failure.UNREACHABLE:
        return Outcome.SILENT, f"{error}."
    return Outcome.SILENT, (
        f"{error}. It is off, can't be reached, or refuses these credentials: "
        "a wrong community or privacy secret looks the same as silence."
    )
