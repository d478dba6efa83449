"""Small drawings for the audit, as SVG with presentation attributes, so that every renderer shows them alike.

All figures are in W at the PSE output. Names and labels are escaped here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from markupsafe import Markup, escape

from portdraw.reporting.audit.audit_rows import PortRow, UnitRow, Weight

INK = "#1b2225"
QUIET = "#525b60"
LINE = "#cfccc2"
MIDDLE = "#56707f"
SPREAD = "#b3c2ca"
OVER = "#a5240f"
_FONT = 'font-family="Liberation Sans, Arial, sans-serif"'

UNIT_WIDTH, UNIT_HEIGHT = 330, 150
_LEFT, _RIGHT, _TOP, _BOTTOM = 34, 62, 10, 22
BAR_WIDTH, BAR_HEIGHT = 150, 15


def scale_top(watts: float) -> float:
    """Return the next round figure [W] at or above `watts` for a scale: 1, 2, 3, 5 or 8 times a power of ten."""
    if watts <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(watts))
    return next(step * power for step in (1.0, 2.0, 3.0, 5.0, 8.0, 10.0) if step * power >= watts * 0.999999)


def unit_chart(unit: UnitRow) -> Markup:
    """Draw a unit's days: p50, p95 and the largest draw of each, with the budgets of both legs as lines."""
    budgets = [leg for leg in (unit.on_ac, unit.on_feed) if leg is not None and leg.budget_w is not None]
    highest = [day.max_w for day in unit.days if day.max_w is not None]
    top = scale_top(max([*(leg.budget_w or 0.0 for leg in budgets), *highest, 1.0]) * 1.02)
    plot_w, plot_h = UNIT_WIDTH - _LEFT - _RIGHT, UNIT_HEIGHT - _TOP - _BOTTOM

    def y(watts: float) -> float:
        return _TOP + plot_h * (1 - watts / top)

    parts = [_svg(UNIT_WIDTH, UNIT_HEIGHT, f"Draw of {unit.unit} by day against its budgets")]
    for share in (0.0, 0.5, 1.0):
        parts.append(_line(_LEFT, y(top * share), _LEFT + plot_w, y(top * share), LINE))
        parts.append(_text(_LEFT - 5, y(top * share) + 3, f"{top * share:g}", "end", QUIET))
    step = plot_w / max(1, len(unit.days))
    width = max(1.0, min(14.0, step * 0.62))
    for place, day in enumerate(unit.days):
        middle = _LEFT + step * (place + 0.5)
        if day.p50_w is None or day.p95_w is None or day.max_w is None:
            parts.append(_text(middle, y(0) - 3, "?", "middle", QUIET))
            continue
        parts.append(_rect(middle - width / 2, y(day.p50_w), width, y(0) - y(day.p50_w), MIDDLE))
        parts.append(_rect(middle - width / 2, y(day.p95_w), width, y(day.p50_w) - y(day.p95_w), SPREAD))
        parts.append(_line(middle - width / 2, y(day.max_w), middle + width / 2, y(day.max_w), INK, 1.4))
    label_y = _apart([y(leg.budget_w or 0.0) for leg in budgets])
    for leg, at in zip(budgets, label_y, strict=True):
        budget_w = leg.budget_w or 0.0
        over = any(watts > budget_w for watts in highest)
        dash = "" if leg.leg == "local AC" else "5 3"
        parts.append(_line(_LEFT, y(budget_w), _LEFT + plot_w, y(budget_w), OVER if over else INK, 1.2, dash))
        name = "AC" if leg.leg == "local AC" else "feed"
        parts.append(_text(_LEFT + plot_w + 5, at + 3, f"{name} {budget_w:.1f}", "start", OVER if over else INK))
    if unit.days:
        parts.append(_text(_LEFT, UNIT_HEIGHT - 7, f"{unit.days[0].day:%d %b}", "start", QUIET))
        if len(unit.days) > 1:
            parts.append(_text(_LEFT + plot_w, UNIT_HEIGHT - 7, f"{unit.days[-1].day:%d %b}", "end", QUIET))
    else:
        parts.append(_text(_LEFT + plot_w / 2, _TOP + plot_h / 2, "no readings", "middle", QUIET))
    return Markup("").join([*parts, Markup("</svg>")])


def port_bar(row: PortRow, top_w: float) -> Markup:
    """Draw a port on a scale up to `top_w`: p50 dark, p95 light, the largest draw as a tick, the plan as a frame."""
    parts = [_svg(BAR_WIDTH, BAR_HEIGHT, f"Port {row.port}: plan, p50, p95 and largest draw")]

    def x(watts: float) -> float:
        return 1 + (BAR_WIDTH - 3) * min(1.0, watts / top_w)

    parts.append(_line(1, BAR_HEIGHT - 1, BAR_WIDTH - 2, BAR_HEIGHT - 1, LINE))
    over = any(finding.weight is not Weight.KNOW for finding in row.findings)
    if row.p95_w is not None and row.p50_w is not None:
        parts.append(_rect(1, 5, x(row.p95_w) - 1, 6, SPREAD))
        parts.append(_rect(1, 5, x(row.p50_w) - 1, 6, MIDDLE))
    if row.max_w is not None:
        parts.append(_line(x(row.max_w), 3, x(row.max_w), 13, OVER if over else INK, 1.6))
    planned_w = row.planned_carrying_max_w or row.planned_max_w
    if planned_w:
        frame = f'fill="none" stroke="{INK}" stroke-width="0.9" stroke-dasharray="2 1.5"'
        parts.append(
            Markup(f'<rect x="1" y="2" width="{x(planned_w) - 1:.1f}" height="11" {frame}/>')  # noqa: S704
        )
    return Markup("").join([*parts, Markup("</svg>")])


def bar_tops(rows: Sequence[PortRow]) -> tuple[float, float]:
    """Return the scales [W] that suit a unit's device ports, and its ports that feed other units."""
    tops = []
    for feeds in (False, True):
        some = [row for row in rows if (row.feeds_unit is not None) is feeds]
        values = [
            watts
            for row in some
            for watts in (row.planned_max_w, row.planned_carrying_max_w, row.max_w)
            if watts is not None
        ]
        tops.append(scale_top(max([*values, 1.0])))
    return tops[0], tops[1]


def _apart(places: Sequence[float], least: float = 11.0) -> list[float]:
    """Return label heights pushed apart so that none covers another, each as near to its line as can be."""
    order = sorted(range(len(places)), key=lambda index: places[index])
    moved = list(places)
    for before, after in pairwise(order):
        moved[after] = max(moved[after], moved[before] + least)
    return moved


def _svg(width: int, height: int, title: str) -> Markup:
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}"'
    return Markup('{} role="img"><title>{}</title>').format(Markup(head), title)  # noqa: S704 - numbers only


def _line(x1: float, y1: float, x2: float, y2: float, stroke: str, width: float = 0.8, dash: str = "") -> Markup:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    ends = f'x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"'
    # numbers and our own colours only
    return Markup(f'<line {ends} stroke="{stroke}" stroke-width="{width}"{dashed}/>')  # noqa: S704


def _rect(x: float, y: float, width: float, height: float, fill: str) -> Markup:
    size = f'width="{max(0.0, width):.1f}" height="{max(0.0, height):.1f}"'
    return Markup(f'<rect x="{x:.1f}" y="{y:.1f}" {size} fill="{fill}"/>')  # noqa: S704 - as above


def _text(x: float, y: float, text: str, anchor: str, fill: str) -> Markup:
    place = f'x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{fill}" font-size="9" {_FONT}'
    return Markup(f"<text {place}>{escape(text)}</text>")  # noqa: S704 - the text is escaped
