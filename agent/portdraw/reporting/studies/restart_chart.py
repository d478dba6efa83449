"""Watts over time against a limit, as SVG with presentation attributes, so that every renderer shows it alike.

A thick line is what is left after each second, a thin stroke above it what was asked in that second before anything
was shed. The limit is a dashed line; what is above it is drawn in the colour of the exceeded and is thicker, so that
it shows without colour too. Watts at the PSE output, of circuits and UPS at AC.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

from markupsafe import Markup, escape

from portdraw.powerflow.course import TracePoint
from portdraw.powerflow.seconds import said_s
from portdraw.reporting.audit.charts import INK, LINE, OVER, QUIET, scale_top

WIDTH, HEIGHT = 330, 150
_LEFT, _RIGHT, _TOP, _BOTTOM = 38, 14, 14, 22
_PLOT_W, _PLOT_H = WIDTH - _LEFT - _RIGHT, HEIGHT - _TOP - _BOTTOM
_TICKS_S = (10.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1800.0, 3600.0, 7200.0)
_MOST_TICKS = 5
_NEAR_TOP, _LABEL_W = 16.0, 72.0
_FONT = 'font-family="Liberation Sans, Arial, sans-serif"'

_Scale = Callable[[float], float]


def limit_chart(name: str, points: Sequence[TracePoint], end_s: float) -> Markup:
    """Draw what is asked of one limit from second 0 to the end of its course."""
    last_s = max(end_s, *(point.at_s for point in points), 10.0) * 1.04
    finite = [point for point in points if point.most_w < float("inf")]
    limits = [point.limit_w for point in points if point.limit_w is not None and point.limit_w < float("inf")]
    top = scale_top(max([*(point.most_w for point in finite), *limits, 1.0]) * 1.04)

    def x(seconds: float) -> float:
        return _LEFT + _PLOT_W * seconds / last_s

    def y(watts: float) -> float:
        return _TOP + _PLOT_H * (1 - min(watts, top) / top)

    parts = [_head(f"{name}: watts from second to second against its limit")]
    for share in (0.0, 0.5, 1.0):
        parts.append(_line(_LEFT, y(top * share), _LEFT + _PLOT_W, y(top * share), LINE))
        parts.append(_text(_LEFT - 5, y(top * share) + 3, f"{top * share:g}", "end", QUIET))
    step_s = next((step for step in _TICKS_S if last_s / step <= _MOST_TICKS), _TICKS_S[-1])
    for count in range(int(last_s / step_s) + 1):
        at = x(count * step_s)
        parts.append(_line(at, y(0), at, y(0) + 3, QUIET))
        parts.append(_text(at, HEIGHT - 8, said_s(count * step_s), "start" if count == 0 else "middle", QUIET))
    end = TracePoint(last_s, 0.0, 0.0, None)
    for point, following in pairwise([*_changes_of_limit(points), end]):
        if point.limit_w is not None and point.limit_w < float("inf"):
            at = y(point.limit_w)
            parts.append(_line(x(point.at_s), at, x(following.at_s), at, INK, 1.0, "5 3"))
    for point, following in pairwise([*points, end]):
        parts.extend(_stretch(point, following, x, y, top))
    parts.extend(_risers(points, x, y, top))
    for watts in dict.fromkeys(limits):
        base = y(watts) + (10 if y(watts) < _NEAR_TOP + _TOP else -4)
        since_s = next(point.at_s for point in points if point.limit_w == watts)
        left = min(x(since_s) + 2, WIDTH - _LABEL_W)
        parts.append(_ground(left, base - 8, _LABEL_W - 6, 10))
        parts.append(_text(left, base, f"limit {watts:.1f} W", "start", INK))
    return Markup("").join([*parts, Markup("</svg>")])


def _stretch(point: TracePoint, following: TracePoint, x: _Scale, y: _Scale, top: float) -> list[Markup]:
    """The watts that hold from one second to the next; nothing while nothing stands on the limit."""
    if point.limit_w is None:
        return []
    over = point.after_w > point.limit_w
    at = y(min(point.after_w, top))
    return [_line(x(point.at_s), at, x(following.at_s), at, OVER if over else INK, 2.6 if over else 1.6)]


def _changes_of_limit(points: Sequence[TracePoint]) -> list[TracePoint]:
    found: list[TracePoint] = []
    for point in points:
        if not found or found[-1].limit_w != point.limit_w:
            found.append(point)
    return found


def _risers(points: Sequence[TracePoint], x: _Scale, y: _Scale, top: float) -> list[Markup]:
    parts: list[Markup] = []
    before_w: float | None = None
    for point in points:
        at = x(point.at_s)
        if before_w is not None:
            parts.append(_line(at, y(min(before_w, top)), at, y(min(point.after_w, top)), INK, 1.0))
        if point.most_w > point.after_w:
            over = point.limit_w is not None and point.most_w > point.limit_w
            most = y(min(point.most_w, top))
            parts.append(_line(at, y(min(point.after_w, top)), at, most, OVER if over else INK, 2.0 if over else 1.0))
            parts.append(_line(at - 3, most, at + 3, most, OVER if over else INK, 1.4))
        before_w = None if point.limit_w is None else point.after_w
    return parts


def _head(title: str) -> Markup:
    size = f'viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}"'
    head = Markup(f'<svg xmlns="http://www.w3.org/2000/svg" {size}')  # noqa: S704 - numbers only
    return Markup('{} role="img"><title>{}</title>').format(head, title)


def _line(x1: float, y1: float, x2: float, y2: float, stroke: str, width: float = 0.8, dash: str = "") -> Markup:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    ends = f'x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"'
    # numbers and our own colours only
    return Markup(f'<line {ends} stroke="{stroke}" stroke-width="{width}"{dashed}/>')  # noqa: S704


def _ground(x: float, y: float, width: float, height: float) -> Markup:
    """White behind a label, so that lines do not run through it."""
    size = f'width="{width:.1f}" height="{height:.1f}"'
    return Markup(f'<rect x="{x:.1f}" y="{y:.1f}" {size} fill="#ffffff"/>')  # noqa: S704 - numbers only


def _text(x: float, y: float, text: str, anchor: str, fill: str) -> Markup:
    place = f'x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{fill}" font-size="9" {_FONT}'
    return Markup(f"<text {place}>{escape(text)}</text>")  # noqa: S704 - the text is escaped
