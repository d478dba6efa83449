"""Names and texts from switches, made fit to stand in a site file: legal, unique, and inert as YAML."""

from __future__ import annotations

import json
import re
import unicodedata

from portdraw.plan import patterns
from portdraw.reporting.plain_text import plain

MOST_NAME, MOST_LABEL, MOST_COMMENT = 80, 120, 360
_PLAIN_SCALAR = re.compile(r"^[A-Za-z][A-Za-z0-9._-]*$")
# words that some readers of YAML take for something else (YAML 1.1, bool and null)
_NOT_A_TEXT = frozenset({"y", "n", "yes", "no", "true", "false", "on", "off", "null", "nan", "inf"})
_NAME = re.compile(patterns.NAME)


def inert(text: str, longest: int) -> str:
    """Return a text on one line of characters that YAML may hold (YAML 1.2, section 5.1: no non-characters)."""
    line = plain(text, longest)
    return "".join("\N{REPLACEMENT CHARACTER}" if unicodedata.category(c) == "Cn" else c for c in line)


def legal_name(text: str) -> str:
    """Return a text as a name of the site file, as much of it as can stand; "" where nothing can."""
    kept = re.sub(r"[^A-Za-z0-9 ._-]+", "-", " ".join(plain(text).split()))
    kept = kept.strip(" ._-")[:MOST_NAME].rstrip(" ._-")
    return kept if _NAME.match(kept) else ""


def quoted(text: str, longest: int = MOST_LABEL) -> str:
    """Return a text as a double-quoted YAML scalar on one line; JSON's is one (YAML 1.2, section 5.7)."""
    return json.dumps(inert(text, longest), ensure_ascii=False)


def scalar(name: str) -> str:
    """Return a legal name as YAML, quoted where it could be taken for anything but a text."""
    if _PLAIN_SCALAR.match(name) and name.lower() not in _NOT_A_TEXT:
        return name
    return quoted(name)


def comment(text: str) -> str:
    """Return a comment on one line."""
    return f"# {inert(text, MOST_COMMENT)}"


class Names:
    """Gives each name out once; a second of the same gets a number."""

    def __init__(self) -> None:
        self._taken: set[str] = set()

    def take(self, *wishes: str) -> str:
        """Return the first wish that is legal, made unique."""
        name = next((legal for wish in wishes if (legal := legal_name(wish))), "unnamed")
        unique, number = name, 1
        while unique.lower() in self._taken:
            number += 1
            tail = f"-{number}"
            unique = name[: MOST_NAME - len(tail)] + tail
        self._taken.add(unique.lower())
        return unique
