"""The audit's tables as CSV, for spreadsheets. An empty cell is unknown; watts at the PSE output."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from portdraw.reporting.audit.audit import Audit
from portdraw.reporting.audit.audit_rows import AuditFinding, LegVerdict
from portdraw.reporting.plain_text import plain
from portdraw.reporting.wording import iso

Cell = str | float | int | None


def ports_csv(audit: Audit) -> str:
    """Return one line a port."""
    head = [
        "unit",
        "port",
        "label",
        "device",
        "type",
        "feeds_unit",
        "planned",
        "planned_now_w",
        "planned_max_w",
        "planned_carrying_max_w",
        "class_limit_w",
        "p50_w",
        "p95_w",
        "max_w",
        "max_at",
        "basis",
        "coverage_percent",
        "delivering_s",
        "findings",
    ]
    rows = (
        (
            row.unit,
            row.port,
            row.label,
            row.hangs,
            row.kind,
            row.feeds_unit,
            "yes" if row.planned else "no",
            row.planned_now_w,
            row.planned_max_w,
            row.planned_carrying_max_w,
            row.class_limit_w,
            row.p50_w,
            row.p95_w,
            row.max_w,
            iso(row.max_s, audit.timezone),
            row.basis,
            row.coverage_percent,
            row.delivering_s,
            _words(row.findings),
        )
        for row in audit.ports
    )
    return _table(audit, head, rows)


def units_csv(audit: Audit) -> str:
    """Return one line a unit."""
    head = [
        "unit",
        "place",
        "readable",
        "planned_now_w",
        "planned_max_w",
        "p50_w",
        "p95_w",
        "max_w",
        "max_at",
        "basis",
        "coverage_percent",
        "ac_budget_w",
        "ac_kept_free_percent",
        "ac_result",
        "feed_budget_w",
        "feed_kept_free_percent",
        "feed_result",
        "findings",
    ]
    rows = (
        (
            row.unit,
            row.place,
            "yes" if row.readable else "no",
            row.planned_now_w,
            row.planned_max_w,
            row.p50_w,
            row.p95_w,
            row.max_w,
            iso(row.max_s, audit.timezone),
            row.basis,
            row.coverage_percent,
            *_leg(row.on_ac),
            *_leg(row.on_feed),
            _words(row.findings),
        )
        for row in audit.units
    )
    return _table(audit, head, rows)


def losses_csv(audit: Audit) -> str:
    """Return three lines a loss of AC: as drawn at the 95th percentile, as drawn at the most, and as planned."""
    head = [
        "loss",
        "circuits",
        "load",
        "limit",
        "need_w",
        "limit_w",
        "result",
        "dark_units",
        "planned_ports",
        "dark",
        "may_go_dark",
    ]
    study = audit.losses
    rows = (
        (
            row.what,
            ", ".join(row.circuits),
            load,
            need.limit,
            need.need_w,
            need.limit_w,
            need.words,
            ", ".join(row.dark_units),
            ", ".join(need.planned_ports),
            ", ".join(need.dark),
            ", ".join(need.may_go_dark),
        )
        for row in study.rows
        for load, need in (
            ("drawn p95", row.drawn_p95),
            ("drawn max", row.drawn_max),
            (f"planned {study.planned_case}", row.planned),
        )
    )
    return _table(audit, head, rows)


def events_csv(audit: Audit) -> str:
    """Return one line an alarm of the period, and one for each leg that was lost too shortly for an alarm."""
    head = [
        "kind",
        "unit",
        "port",
        "from",
        "to",
        "lasted_s",
        "beginning_seen",
        "alarm_raised",
        "sentence",
        "last_seen",
        "end_seen",
        "at_most_s",
    ]
    rows = (
        (
            event.kind,
            event.unit,
            event.port,
            iso(event.from_s, audit.timezone),
            iso(event.to_s, audit.timezone),
            event.lasted_s,
            "yes" if event.began_seen else "no, older",
            "yes" if event.raised else "no, passed before",
            event.sentence,
            iso(event.last_seen_s, audit.timezone),
            "" if event.to_s is None else "yes" if event.ended_seen else "no, between",
            event.at_most_s,
        )
        for event in audit.events
    )
    return _table(audit, head, rows)


def _leg(leg: LegVerdict | None) -> tuple[Cell, Cell, Cell]:
    return (None, None, "no such leg") if leg is None else (leg.budget_w, leg.kept_free_percent, leg.words)


def _words(findings: Iterable[AuditFinding]) -> str:
    return " ".join(f"[{finding.weight.value}] {finding.sentence}" for finding in findings)


def _table(audit: Audit, head: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out)  # RFC 4180: comma, CRLF, quotes doubled
    writer.writerow(["site", "source", *head])
    source = "EMULATED" if audit.emulated else "readings"
    for row in rows:
        writer.writerow([_cell(audit.site), source, *(_cell(cell) for cell in row)])
    return out.getvalue()


def _cell(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, float):
        return f"{round(cell, 3):g}" if abs(cell) < 100_000 else f"{cell:.0f}"
    text = plain(str(cell), longest=2000)
    # a spreadsheet would run a text that begins like this as a formula
    return f"'{text}" if text[:1] in ("=", "+", "-", "@") else text
