"""Panels that stand on both dashboards: the alarms that are up, the legs, trends, time on one leg, readings."""

from __future__ import annotations

from grafana_foundation_sdk.builders import dashboard as build
from grafana_foundation_sdk.builders import table
from tests.tools.dashboards import expressions as ask
from tests.tools.dashboards import look
from tests.tools.dashboards.panels import Column, Sheet, Size, sheet_panel

WHOLE_UNIT = "whole unit"


def row(title: str) -> build.Row:
    """Return the heading of a row: the question that its panels answer."""
    return build.Row(title)


def unit_column(opens: bool) -> tuple[Column, ...]:
    """Return the column of the unit; on the site's page it opens the unit's."""
    return (Column("unit", "unit", width=150, opens_unit=True),) if opens else ()


def alarms(chosen: str, size: Size, whole_site: bool) -> table.Panel:
    """Return the alarms that are up, the most severe first."""
    where = (Column("place", "place"),) if whole_site else ()
    return sheet_panel(
        Sheet(
            "Alarms that are up",
            "Begin with the first line. Open the same alarm on the agent's overview: its card says what to do first "
            "and what not to do. An alarm leaves this list when its cause is gone, or when somebody sets it aside.",
            {"A": ask.alarm_ranks(chosen), "B": ask.alarm_ages(chosen)},
            (
                Column("A", "severity", words=look.SEVERITY, width=90),
                Column("kind", "what", words=look.KINDS, width=220),
                *unit_column(whole_site),
                Column("port", "port", missing=WHOLE_UNIT, width=100),
                *where,
                Column("B", "up for", unit="s", decimals=0, width=110),
            ),
            "severity",
            size,
        )
    )


def legs(chosen: str, size: Size, whole_site: bool) -> table.Panel:
    """Return a row for each leg of each unit."""
    return sheet_panel(
        Sheet(
            "Legs",
            "A lost leg means that the unit stands on the other one alone: find the cause before anything else is "
            "switched there. Believed is not proven; not known counts as lost until somebody has looked. No line "
            "here shows that a cable or a circuit is dead: test before touch.",
            {"A": ask.legs(chosen)},
            (
                *unit_column(whole_site),
                Column("leg", "leg", words=look.LEGS, width=90),
                Column("source", "comes from"),
                Column("availability", "could carry", words=look.AVAILABILITY, width=110),
                Column("carrying", "carries now", words=look.CARRYING, width=110),
            ),
            "unit" if whole_site else "leg",
            size,
        )
    )


def trends(chosen: str, size: Size, whole_site: bool) -> table.Panel:
    """Return the trends with the days that are left."""
    return sheet_panel(
        Sheet(
            "Days until a rising draw meets its limit",
            "Have the port and its device looked at by day, before the days are over: an ageing heater, damp, a poor "
            "connector. A cold night can bring the day forward. Trends are worked out once a day, from whole days.",
            {"A": ask.days_left(chosen)},
            (
                *unit_column(whole_site),
                Column("port", "port", missing=WHOLE_UNIT, width=110),
                Column("A", "days left", decimals=0, above=((0, look.ROSE), (14, look.OCHRE), (60, look.PLAIN))),
            ),
            "days left",
            size,
            nothing="no trend that meets a limit, or too few whole days to say",
        )
    )


def time_on_one_leg(chosen: str, size: Size, whole_site: bool) -> table.Panel:
    """Return for how much of the time shown a leg was lost."""
    return sheet_panel(
        Sheet(
            "Share of the time shown with a leg lost",
            "Read it at the change of shift: each line is a unit that stood on one leg for this share of the time "
            "shown above. A leg that is lost again and again has a cause that nobody has found yet.",
            {"A": ask.time_lost(chosen)},
            (
                *unit_column(whole_site),
                Column("leg", "lost leg", words=look.LEGS, width=110),
                Column("A", "share of the time", unit="percentunit", decimals=1),
            ),
            "share of the time",
            size,
            descending=True,
            nothing="no leg was lost in this time, or nothing was known",
        )
    )


def readings(chosen: str, size: Size, whole_site: bool) -> table.Panel:
    """Return how old the readings are and how the newest poll ended."""
    return sheet_panel(
        Sheet(
            "Readings",
            "A unit whose readings are too old is neither fine nor dark: nothing is known of it. Look at its cameras "
            "or call someone on site. Refused credentials are a matter for the network engineer; the unit has power.",
            {
                "A": ask.outcome(chosen),
                "B": ask.largest(f"portdraw_reading_age_seconds{{{chosen}}}"),
                "C": ask.largest(f"portdraw_reading_stale{{{chosen}}}"),
                "D": ask.largest(f"portdraw_unit_draw_complete{{{chosen}}}"),
                "E": ask.largest(f"portdraw_unit_draw_watts{{{chosen}}}", "site, unit, basis"),
            },
            (
                *unit_column(whole_site),
                Column("outcome", "newest poll", words=look.OUTCOME),
                Column("B", "age", unit="s", decimals=0, width=90, missing="never read"),
                Column("C", "readings are", words=look.STALE, width=160),
                Column("D", "sum of the ports", words=look.COMPLETE),
                Column("E", "draws", unit="watt", decimals=1, width=100),
                Column("basis", "watts are", width=110),
            ),
            "age",
            size,
            descending=True,
        )
    )
