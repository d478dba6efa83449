"""One pass over the days says what the merged days and the single days said."""

from __future__ import annotations

from datetime import date, timedelta

from portdraw.history.port_day import HOURS, PortDay, merge
from portdraw.observation.record import Basis, PortState
from portdraw.reporting.audit.period_days import period_days

FIRST = date(2026, 3, 2)
HOUR_MS = 3_600_000


def port_day(number: int, port: str | None, ms_at: dict[int, int]) -> PortDay:
    day = FIRST + timedelta(days=number)
    return PortDay(
        unit="core",
        port=port,
        first_day=day,
        last_day=day,
        ms_at=ms_at,
        ms_unknown=0,
        ms_in_state={PortState.DELIVERING: sum(ms_at.values())},
        ms_on_basis={Basis.MEASURED: sum(ms_at.values())},
        peak_s=number * 86_400.0,
        hour_max_dw=(max(ms_at),) * HOURS,
    )


def test_what_an_audit_keeps_of_three_days() -> None:
    """By hand: of 24 h at 5.0 W but two at 9.0 W the 95th percentile is 9.0 W, the median 5.0 W; 6 h are no day."""
    ports = [
        port_day(0, "1", {50: 22 * HOUR_MS, 90: 2 * HOUR_MS}),
        port_day(1, "1", {50: 6 * HOUR_MS}),
        port_day(2, "1", {60: 24 * HOUR_MS}),
    ]
    totals = [port_day(number, None, {100 + number: 24 * HOUR_MS}) for number in range(3)]
    found = period_days(iter([day for pair in zip(totals, ports, strict=True) for day in pair]))
    assert found.merged == {("core", "1"): merge(ports), ("core", None): merge(totals)}
    monday = FIRST.toordinal()
    assert found.points["core", "1"] == [(monday, 9.0), (monday + 2, 6.0)]
    assert [one.max_w for one in found.unit_days["core"]] == [10.0, 10.1, 10.2]
    assert [one.day for one in found.unit_days["core"]] == [FIRST + timedelta(days=number) for number in range(3)]


def test_no_day_is_nothing() -> None:
    found = period_days(iter(()))
    assert (found.merged, found.points, found.unit_days) == ({}, {}, {})
