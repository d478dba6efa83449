"""The terminal: one console for all tables, plain where output is not a terminal."""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping

from rich.console import Console

WIDTH_WHEN_PIPED = 100


def console() -> Console:
    """Return a console for standard output: as wide as the terminal, 100 columns and no colour when piped."""
    if sys.stdout.isatty():
        return Console(highlight=False, soft_wrap=False)
    return Console(width=WIDTH_WHEN_PIPED, highlight=False, no_color=True, color_system=None)


def print_json(value: Mapping[str, object]) -> None:
    """Print a mapping as indented JSON."""
    print(json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False))
