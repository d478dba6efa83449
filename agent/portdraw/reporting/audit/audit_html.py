"""The audit as one HTML file: nothing fetched from elsewhere, ready to print on A4."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from portdraw.reporting.audit.audit import Audit, what_was_read
from portdraw.reporting.audit.audit_rows import AuditFinding, DriftRow, PortRow, UnitRow, Weight
from portdraw.reporting.audit.charts import bar_tops, port_bar, unit_chart
from portdraw.reporting.audit.findings import lasted_words
from portdraw.reporting.audit.folded import folded
from portdraw.reporting.audit.loss_rows import counts_plan, dark_words
from portdraw.reporting.plain_text import plain
from portdraw.reporting.wording import UNKNOWN, figure, in_what_was_read, is_whole, known, limit, share_text, zone

FOLDER = Path(__file__).parent / "pages"
SHOWN_ASSUMPTIONS = 40


@dataclass(frozen=True)
class _UnitPorts:
    unit: UnitRow
    device_top_w: float
    feed_top_w: float | None
    rows: tuple[PortRow, ...]


def audit_html(audit: Audit) -> str:
    """Return the page."""
    templates = Environment(
        loader=FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    where = zone(audit.timezone)

    def moment(time_s: float | None) -> str:
        at_s = known(time_s)
        return UNKNOWN if at_s is None else datetime.fromtimestamp(at_s, where).strftime("%Y-%m-%d %H:%M")

    def short(time_s: float | None) -> str:
        at_s = known(time_s)
        return "" if at_s is None else datetime.fromtimestamp(at_s, where).strftime("%d %b %H:%M")

    templates.filters.update(
        plain=plain,
        moment=moment,
        short=short,
        w=figure,
        limit=limit,
        percent=share_text,
        lasted=lasted_words,
        sign=_sign,
        kind=_kind,
        dark_words=dark_words,
    )
    found = audit.findings()
    share = audit.coverage_percent
    return templates.get_template(
        "audit.html"
    ).render(
        audit=audit,
        style=Markup((FOLDER / "audit.css").read_text(encoding="utf-8")),  # noqa: S704 - our own file
        day_count=(audit.last_day - audit.first_day).days + 1,
        findings=folded((place, finding) for place, finding in found if finding.weight is not Weight.KNOW),
        counts={weight.value: audit.count(weight) for weight in Weight},
        headline=_headline(audit, found),
        what_was_read=what_was_read(audit),
        is_whole=is_whole,
        none_raised="None was raised." if is_whole(share) else f"None was raised {in_what_was_read(share)}.",
        read_share=share_text(audit.coverage_percent),
        groups=[_group(audit, unit) for unit in audit.units],
        rising=[row for row in audit.drift if row.rising],
        steady_count=sum(row.w_per_day is not None and not row.rising for row in audit.drift),
        unsaid=[_where(row) for row in audit.drift if row.w_per_day is None],
        counts_plan=counts_plan(audit.losses.planned_ports) if audit.losses.planned_ports else "",
        unit_chart=unit_chart,
        port_bar=port_bar,
        shown_assumptions=audit.assumptions[:SHOWN_ASSUMPTIONS],
        more_assumptions=max(0, len(audit.assumptions) - SHOWN_ASSUMPTIONS),
    )


def _group(audit: Audit, unit: UnitRow) -> _UnitPorts:
    rows = tuple(row for row in audit.ports if row.unit == unit.unit)
    device_top_w, feed_top_w = bar_tops(rows)
    has_feeds = any(row.feeds_unit is not None for row in rows)
    return _UnitPorts(unit, device_top_w, feed_top_w if has_feeds else None, rows)


def _where(row: DriftRow) -> str:
    return row.unit if row.port is None else f"{row.unit} port {row.port}"


def _headline(audit: Audit, found: list[tuple[str, AuditFinding]]) -> str:
    act, look = audit.count(Weight.ACT), audit.count(Weight.LOOK)
    if not audit.coverage_percent:
        return "Nothing was read in this period: this audit says nothing about the site."
    if act == 0 and look == 0:
        return f"Nothing to act on in what was read{_how_much(audit)}."
    parts = []
    if act:
        parts.append(f"{act} {'finding' if act == 1 else 'findings'} to act on")
    if look:
        parts.append(f"{look} to look at")
    return f"{' and '.join(parts)}{_how_much(audit)}."


def _how_much(audit: Audit) -> str:
    share = audit.coverage_percent
    return "" if share is None or is_whole(share) else f", with {share_text(share)} of the period read"


def _kind(name: str) -> str:
    """Return the kind of an alarm in words: "local AC lost"."""
    return name.replace("-", " ").replace("local ac", "local AC").replace("poe", "PoE")


def _sign(weight: Weight | None) -> str:
    """Return a mark that can be told without colour."""
    return {Weight.ACT: "\N{BLACK SQUARE}", Weight.LOOK: "\N{BLACK DIAMOND}", Weight.KNOW: "\N{WHITE CIRCLE}"}.get(
        weight or Weight.KNOW, ""
    )
