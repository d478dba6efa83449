"""Something that happened at a moment, as history keeps it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Event:
    """One event. `time_s` is on the site clock [s since the epoch]; `data` is whatever the kind carries."""

    time_s: float
    kind: str
    unit: str | None
    port: str | None
    text: str
    data: Mapping[str, Any] = field(default_factory=dict)
