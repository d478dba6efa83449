"""Reads the reference tables of this folder: CSV, with the source in lines that begin with #."""

from __future__ import annotations

import csv
from pathlib import Path

FOLDER = Path(__file__).parent


def rows(name: str) -> list[dict[str, str]]:
    """Rows of a table by column name. A table without a source in its first line is refused."""
    lines = (FOLDER / name).read_text(encoding="utf-8").splitlines()
    if not lines or not lines[0].startswith("# Source: "):
        raise ValueError(f"{name} does not begin with its source")
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))
