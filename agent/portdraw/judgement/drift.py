"""Drift: in how many days a unit or port meets its margin and its limit, by the trend of its daily watts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from portdraw.judgement.alarm import AlarmKind, Severity
from portdraw.judgement.assessment import PortAssessment, SiteAssessment, UnitAssessment
from portdraw.judgement.condition import Condition
from portdraw.judgement.trend import DaysTo, NoTrend, Trend, days_to, trend
from portdraw.judgement.wording import limit_text, place_text, port_text, watts_text

DailyWatts = Mapping[tuple[str, str | None], Sequence[tuple[float, float]]]

HORIZON_DAYS = 90.0  # common practice: what is further off is seen again in a later audit
SOON_DAYS = 14.0  # common practice: closer than this it is more than a notice
# Common practice: below both a drift is no news, however clear it is.
LEAST_RISE_W = 0.5
LEAST_RISE_PERCENT = 5.0


@dataclass(frozen=True)
class Forecast:
    """What the trend of a unit (port is None) or port says. Watts [W] at the PSE output, days from today.

    `margin_w`: of a unit what its margin leaves of its budget, of a port the largest planned draw.
    `limit_w`: the lesser budget of the two legs; a port's class. `sentence` says it all, or why the data can't say.
    """

    unit: str
    port: str | None
    found: Trend | NoTrend
    margin_w: float | None
    to_margin: DaysTo | NoTrend | None
    limit_w: float | None
    limit_name: str
    to_limit: DaysTo | NoTrend | None
    sentence: str


def forecasts(assessment: SiteAssessment, days: DailyWatts, today: float) -> tuple[Forecast, ...]:
    """Return the forecast of every unit and port that `days` has daily watts of (p95 of whole days)."""
    found: list[Forecast] = []
    for unit in assessment.units:
        points = days.get((unit.unit, None))
        if points is not None:
            found.append(_of_unit(assessment, unit, points, today))
        for port in unit.ports:
            of_port = days.get((unit.unit, port.port))
            if of_port is not None:
                found.append(_of_port(unit, port, of_port, today))
    return tuple(found)


def drift_conditions(assessment: SiteAssessment, days: DailyWatts, today: float) -> list[Condition]:
    """Return a condition for each clear rise that meets margin or limit within 90 days.

    `days` has (day, watts [W]) points by unit and port (None: the unit's sum); `today` counts in the same days. Work
    it out once a day, and hand the result to the alarm book in each update.
    """
    found: list[Condition] = []
    for forecast in forecasts(assessment, days, today):
        ahead = next_mark(forecast)
        if ahead is None or not isinstance(forecast.found, Trend):
            continue
        to_mark, limit_w = ahead
        rise_w = forecast.found.slope_w_per_day * (forecast.found.last_day - forecast.found.first_day)
        if rise_w < max(LEAST_RISE_W, forecast.found.mid_w * LEAST_RISE_PERCENT / 100):
            continue
        soon = to_mark.days < SOON_DAYS
        found.append(
            Condition(
                AlarmKind.DRIFT,
                forecast.unit,
                forecast.port,
                head=forecast.sentence,
                tail="",
                when="",
                value=to_mark.days,
                limit=limit_w,
                measure="days",
                severity=Severity.WARNING if soon else Severity.NOTICE,
                why_severity=_left(to_mark),
            )
        )
    return found


def next_mark(forecast: Forecast) -> tuple[DaysTo, float] | None:
    """Return what is met within 90 days, and its watts [W]: the limit if that is, else the margin, else None."""
    for ahead, watts in ((forecast.to_limit, forecast.limit_w), (forecast.to_margin, forecast.margin_w)):
        if isinstance(ahead, DaysTo) and watts is not None and ahead.days <= HORIZON_DAYS:
            return ahead, watts
    return None


def _of_unit(
    assessment: SiteAssessment, unit: UnitAssessment, points: Sequence[tuple[float, float]], today: float
) -> Forecast:
    budgets = {"local AC": unit.budget_on_ac_w, "PoE feed": unit.budget_on_feed_w}
    known = {name: watts for name, watts in budgets.items() if watts is not None}
    name = min(known, key=lambda leg: known[leg], default="")
    limit_w = known.get(name)
    limit_name = f"its budget on {name}" if len(known) > 1 else "its budget"
    margin_w = None if limit_w is None else limit_w * (1 - assessment.margin_percent / 100)
    return _forecast(
        unit.unit,
        None,
        place_text(unit.unit, unit.place),
        points,
        (margin_w, f"the margin of {assessment.margin_percent:g} %"),
        (limit_w, limit_name),
        today,
    )


def _of_port(
    unit: UnitAssessment, port: PortAssessment, points: Sequence[tuple[float, float]], today: float
) -> Forecast:
    planned_w = port.planned_max_w or None
    where = f"{place_text(unit.unit, unit.place)} {port_text(port.port, port.label, port.hangs)}"
    return _forecast(
        unit.unit, port.port, where, points, (planned_w, "its plan"), (port.class_limit_w, "its class limit"), today
    )


def _forecast(
    unit: str,
    port: str | None,
    where: str,
    points: Sequence[tuple[float, float]],
    margin: tuple[float | None, str],
    limit: tuple[float | None, str],
    today: float,
) -> Forecast:
    found = trend(points)
    to_margin, to_limit = (
        None if watts is None or isinstance(found, NoTrend) else days_to(found, watts, today)
        for watts in (margin[0], limit[0])
    )
    sentence = _sentence(where, found, ((margin, to_margin), (limit, to_limit)), today)
    return Forecast(unit, port, found, margin[0], to_margin, limit[0], limit[1], to_limit, sentence)


def _sentence(
    where: str,
    found: Trend | NoTrend,
    marks: Sequence[tuple[tuple[float | None, str], DaysTo | NoTrend | None]],
    today: float,
) -> str:
    if isinstance(found, NoTrend):
        return f"{where}: the data can't say whether it drifts. {found.reason}"
    if not found.rises:
        flat = days_to(found, 0.0, today)
        return f"{where}: {flat.reason}" if isinstance(flat, NoTrend) else where
    said = [
        f"{name} ({limit_text(watts)}) {_reached(ahead)}"
        for (watts, name), ahead in marks
        if watts is not None and isinstance(ahead, DaysTo)
    ]
    reaches = f" That reaches {' and '.join(said)}." if said else " No limit of it is known."
    band = f"{found.low_w_per_day:.2f} to {found.high_w_per_day:.2f}"
    return (
        f"{where} has risen by {found.slope_w_per_day:.2f} W a day over {found.days} days (95 % band {band}), "
        f"to {watts_text(found.at_w(today))} at the 95th percentile of the day.{reaches}"
    )


def _reached(ahead: DaysTo) -> str:
    if ahead.days == 0:
        return "already"
    if ahead.days < 0.5:
        return "within a day"
    first, last = f"{ahead.earliest:.0f}", f"{ahead.latest:.0f}"
    band = "" if first == last else f" ({first} to {last})"
    return f"in about {_days(ahead.days)}{band}"


def _left(ahead: DaysTo) -> str:
    return "no day is left to act" if ahead.days < 0.5 else f"time left to act: about {_days(ahead.days)}"


def _days(days: float) -> str:
    return "1 day" if round(days) == 1 else f"{days:.0f} days"
