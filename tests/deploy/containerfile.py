"""Reads a Containerfile: instructions in order, continued lines joined. As much of the format as ours uses."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Instruction:
    """One instruction, such as COPY, with what follows it; `stage` counts from 0."""

    word: str
    rest: str
    stage: int

    @property
    def words(self) -> list[str]:
        """Return the parts: of a JSON array its members, else what blanks separate, without options."""
        if self.rest.startswith("["):
            return [str(part) for part in json.loads(self.rest)]
        return [part for part in self.rest.split() if not part.startswith("--")]

    @property
    def options(self) -> list[str]:
        """Return the parts that begin with two dashes."""
        return [part for part in self.rest.split() if part.startswith("--")]


def instructions(path: Path) -> list[Instruction]:
    """Return the instructions of a file. Raises ValueError on a line that is none."""
    joined = path.read_text(encoding="utf-8").replace("\\\n", " ")
    found: list[Instruction] = []
    stage = -1
    for line in joined.splitlines():
        if not line.strip() or line.startswith("#"):
            continue
        match = re.fullmatch(r"([A-Z]+) +(\S.*)", line)
        if match is None:
            raise ValueError(f"{path}: no instruction: {line}")
        stage += match[1] == "FROM"
        found.append(Instruction(match[1], match[2].strip(), stage))
    return found
