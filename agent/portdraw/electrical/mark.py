"""How far a tabled figure may be relied on: where it was seen, beside the document it comes from."""

from __future__ import annotations

from enum import StrEnum


class Mark(StrEnum):
    """How a figure came into a table."""

    READ = "read in an open text"
    COMPUTED = "computed from the standard's own figures"
    MEMORY = "from memory: check the text before relying on it"
    PRACTICE = "common practice, no source"
