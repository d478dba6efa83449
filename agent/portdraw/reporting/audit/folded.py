"""Findings that say the same of many places, as one line."""

from __future__ import annotations

from collections.abc import Iterable

from portdraw.judgement.wording import list_text
from portdraw.reporting.audit.audit_rows import AuditFinding


def folded(findings: Iterable[tuple[str, AuditFinding]], most: int = 5) -> list[tuple[str, AuditFinding]]:
    """Return findings with those of the same sentence as one, its places counted and up to `most` of them named."""
    places: dict[AuditFinding, list[str]] = {}
    for place, finding in findings:
        places.setdefault(finding, []).append(place)
    return [
        (names[0] if len(names) == 1 else f"{len(names)} places: {list_text(names, most)}", finding)
        for finding, names in places.items()
    ]
