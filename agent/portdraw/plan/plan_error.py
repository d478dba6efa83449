"""What is wrong in a file that people wrote, and where: the one error that the loaders raise."""

from __future__ import annotations

from dataclasses import dataclass

SHOWN_LINES = 20


@dataclass(frozen=True, order=True)
class Problem:
    """One thing wrong. `line` and `column` count from 1; both are 0 where the whole file is meant."""

    line: int
    column: int
    path: str
    sentence: str

    def text(self, name: str) -> str:
        """Return the problem as one line, such as "site.yaml:10:11: units.core.ports.3.class: ..."."""
        where = f"{name}:{self.line}:{self.column}" if self.line else name
        return f"{where}: {self.path}: {self.sentence}" if self.path else f"{where}: {self.sentence}"


class PlanError(Exception):
    """A file that can't be used. Its text is one line for each problem, in the order of the file."""

    def __init__(self, name: str, problems: list[Problem]) -> None:
        self.name = name
        self.problems = tuple(sorted(set(problems)))
        lines = [problem.text(name) for problem in self.problems[:SHOWN_LINES]]
        more = len(self.problems) - SHOWN_LINES
        if more > 0:
            lines.append(f"{name}: and {more} more")
        super().__init__("\n".join(lines))
