"""One thing to know about a plan before it is built."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class FindingSeverity(StrEnum):
    """An error can't work as drawn, a warning may not, a notice is to be known and agreed."""

    ERROR = "error"
    WARNING = "warning"
    NOTICE = "notice"


@dataclass(frozen=True)
class Finding:
    """A finding. `where` is a unit, a unit and port ("core port 3") or another named part of the site."""

    severity: FindingSeverity
    where: str
    sentence: str
