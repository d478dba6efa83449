"""Shapes of a drawing: lines, boxes, texts. Coordinates in px of the drawing, y downwards; names are plain text."""

from __future__ import annotations

from dataclasses import dataclass, field

INK = "#1b2225"
QUIET = "#525b60"
PAPER = "#ffffff"
WASH = "#f4f2ec"

CHARACTER_WIDTH = 0.56
"""Width of a character for each px of its size: sans-serif letters on average, a little to the wide side."""


@dataclass(frozen=True)
class Line:
    """A line. `dash` is an SVG dash pattern, "" for a solid one."""

    x1: float
    y1: float
    x2: float
    y2: float
    width: float = 1.0
    dash: str = ""


@dataclass(frozen=True)
class Box:
    """A rectangle; `fill` is a colour or "hatch". `title` is its full text for readers that show or speak it."""

    x: float
    y: float
    width: float
    height: float
    fill: str = PAPER
    stroke_width: float = 1.0
    dash: str = ""
    title: str = ""


@dataclass(frozen=True)
class Dot:
    """A filled dot: here lines join, where lines only cross there is none."""

    x: float
    y: float
    radius: float = 2.2


@dataclass(frozen=True)
class Label:
    """A text on one line, with a white ground where it stands on a line or a hatch."""

    x: float
    y: float
    text: str
    size: float = 9.0
    anchor: str = "middle"
    bold: bool = False
    quiet: bool = False
    ground: bool = False

    @property
    def width(self) -> float:
        """About how wide the text is."""
        return len(self.text) * self.size * CHARACTER_WIDTH * (1.06 if self.bold else 1.0)


@dataclass
class Drawing:
    """One drawing: its size, its title, and its shapes in the order in which they are painted."""

    name: str
    title: str
    width: float
    height: float
    lines: list[Line] = field(default_factory=list)
    boxes: list[Box] = field(default_factory=list)
    dots: list[Dot] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)

    def cross(self, x: float, y: float, size: float = 4.0) -> None:
        """Strike a line out at a point."""
        self.lines.append(Line(x - size, y - size, x + size, y + size, 1.8))
        self.lines.append(Line(x - size, y + size, x + size, y - size, 1.8))


def fitted(text: str, width: float, size: float) -> str:
    """Return a text no wider than `width`: where it is cut, in its middle, as names differ at their ends."""
    most = max(3, int(width / (size * CHARACTER_WIDTH)))
    if len(text) <= most:
        return text
    tail = (most - 1) * 2 // 5
    return f"{text[: most - 1 - tail].rstrip()}\N{HORIZONTAL ELLIPSIS}{text[len(text) - tail :].lstrip()}"
