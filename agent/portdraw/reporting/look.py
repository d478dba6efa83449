"""How a page is to look, as its address says: light or dark whatever the system prefers, and large for a wall."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

THEMES = ("light", "dark")


@dataclass(frozen=True)
class Look:
    """A look. `theme` is "" where the system decides."""

    theme: str = ""
    wall: bool = False

    @property
    def query(self) -> str:
        """What a link to another page carries to keep this look, "" for the plain one."""
        parts = [f"theme={self.theme}"] if self.theme else []
        parts += ["wall"] if self.wall else []
        return "?" + "&".join(parts) if parts else ""

    def others(self) -> tuple[tuple[str, str, bool], ...]:
        """Return each choice as (word, query, whether it is the present one), themes first, then sizes."""
        themes = tuple(
            (theme or "as the system", replace(self, theme=theme).query, theme == self.theme)
            for theme in ("", *THEMES)
        )
        sizes = tuple(
            ("wall" if wall else "desk", replace(self, wall=wall).query, wall == self.wall) for wall in (False, True)
        )
        return themes + sizes


PLAIN = Look()


def look_from(query: Mapping[str, str]) -> Look:
    """Return the look that the query of an address asks for; what it does not know, it leaves out."""
    theme = query.get("theme", "")
    return Look(theme if theme in THEMES else "", "wall" in query)
