"""The unit's dashboard: both legs of one unit, and its ports against the plan."""

from __future__ import annotations

from grafana_foundation_sdk.builders import dashboard as build
from grafana_foundation_sdk.builders import stat, statetimeline, table, timeseries
from tests.tools.dashboards import expressions as ask
from tests.tools.dashboards import look, shared_panels, variables
from tests.tools.dashboards.panels import Column, Line, Sheet, bands, chart, figures, sheet_panel
from tests.tools.dashboards.shared_panels import row
from tests.tools.dashboards.variables import OF_THE_AGENT, UNIT

PORT = "site, unit, port, label"
OF_UNIT = "{" + UNIT + "}"


def unit_dashboard(page: build.Dashboard) -> build.Dashboard:
    """Return the page with its variables, rows and panels."""
    for variable in (variables.data_source(), variables.site(), variables.zone(), variables.one_unit()):
        page = page.with_variable(variable)
    page = page.with_row(row("What is wrong at this unit?"))
    page = page.with_panel(_where()).with_panel(_age_of_the_news())
    page = page.with_panel(shared_panels.alarms(UNIT, (24, 6), whole_site=False))
    page = page.with_row(row("What carries it?"))
    page = page.with_panel(shared_panels.legs(UNIT, (12, 6), whole_site=False)).with_panel(_carrier())
    page = page.with_row(row("Could each leg carry it alone?"))
    page = page.with_panel(_budgets()).with_panel(_draw()).with_panel(_feeder())
    page = page.with_row(row("How long?"))
    page = page.with_panel(shared_panels.trends(UNIT, (12, 6), whole_site=False))
    page = page.with_panel(shared_panels.time_on_one_leg(UNIT, (12, 6), whole_site=False))
    page = page.with_row(row("Which port?"))
    page = page.with_panel(_ports()).with_panel(_port_draws()).with_panel(_denied())
    page = page.with_row(row("How sure is this?"))
    return page.with_panel(shared_panels.readings(UNIT, (14, 7), whole_site=False)).with_panel(_age())


def _where() -> table.Panel:
    return sheet_panel(
        Sheet(
            "Where it stands",
            "The place to send somebody to, and the unit that feeds it: what is done to that one is felt here.",
            {"A": ask.largest(f"portdraw_unit_info{OF_UNIT}", "site, unit, zone, place, fed_by")},
            (
                Column("place", "place"),
                Column("zone", "zone", width=140),
                Column("fed_by", "fed by", missing="no other unit", width=180),
            ),
            "place",
            (18, 4),
        )
    )


def _age_of_the_news() -> stat.Panel:
    return figures(
        "Age of the news",
        "How long ago the agent last judged the site. Above three minutes nothing on this page is news.",
        (Line(f"portdraw_cycle_age_seconds {OF_THE_AGENT}", "since the newest cycle"),),
        (6, 4),
        unit="s",
        above=((90, look.OCHRE), (180, look.ROSE)),
    )


def _carrier() -> statetimeline.Panel:
    return bands(
        "Which leg carried it",
        "Each change is a transfer. One that nobody ordered has a cause: look at the same hour on the other units of "
        "its circuit.",
        Line(ask.carrier(UNIT), "{{unit}}"),
        look.CARRIER,
        (12, 6),
    )


def _budgets() -> table.Panel:
    def of(metric: str) -> str:
        return ask.largest(f"{metric}{OF_UNIT}", "site, unit, leg")

    headroom, budget = of("portdraw_unit_headroom_watts"), of("portdraw_unit_budget_watts")
    share = ((0.8, look.OCHRE), (1.0, look.ROSE))
    return sheet_panel(
        Sheet(
            "Both budgets",
            "What the unit may give on its ports while this leg carries, and what is left of it at the draw of now. "
            "Less than nothing left on the spare leg: devices go dark when it has to carry. One line: it has one "
            "leg, or the other's budget is not known.",
            {"A": budget, "B": headroom, "C": f"1 - {headroom} / {budget}"},
            (
                Column("leg", "leg", words=look.LEGS, width=90),
                Column("A", "budget", unit="watt", decimals=1),
                Column("B", "left", unit="watt", decimals=1),
                Column("C", "used", unit="percentunit", decimals=0, above=share),
            ),
            "leg",
            (8, 9),
        )
    )


def _draw() -> timeseries.Panel:
    return chart(
        "Draw against both budgets",
        "The draw should lie under both dashed budgets at every hour, not only under the one that carries. Above the "
        "plan: somebody added a device, or one draws more than it should; see the ports below. Watts are at the "
        "unit's ports.",
        (
            Line(ask.largest(f"portdraw_unit_draw_watts{OF_UNIT}"), "draw", look.PLAIN),
            Line(ask.largest(f"portdraw_unit_planned_now_watts{OF_UNIT}"), "planned for the hour", "#66AABB"),
            Line(ask.largest(f"portdraw_unit_planned_max_watts{OF_UNIT}"), "planned at most", "#AA88BB"),
            Line(_budget("ac"), "budget on local AC", look.BLUE, dashed=True),
            Line(_budget("feed"), "budget on PoE feed", look.OCHRE, dashed=True),
        ),
        "watt",
        (8, 9),
    )


def _budget(leg: str) -> str:
    return ask.largest(f'portdraw_unit_budget_watts{{{UNIT},leg="{leg}"}}')


def _feeder() -> timeseries.Panel:
    return chart(
        "What its feeder's port would have to give",
        "If local AC went at this hour the feeder's port would give this much, cable loss included. Near its limit: "
        "raise the port's class, shorten the cable, or take load off. Nothing here: the unit has no feed, or what it "
        "draws is not known.",
        (
            Line(ask.largest(f"portdraw_feed_need_watts{OF_UNIT}"), "would give", look.PLAIN),
            Line(ask.largest(f"portdraw_feed_limit_watts{OF_UNIT}"), "can give", look.OCHRE, dashed=True),
        ),
        "watt",
        (8, 9),
    )


def _ports() -> table.Panel:
    def of(metric: str) -> str:
        return ask.largest(f"{metric}{OF_UNIT}", PORT)

    draw, most = of("portdraw_port_draw_watts"), of("portdraw_port_planned_max_watts")
    return sheet_panel(
        Sheet(
            "Ports",
            "A port above its largest plan: ask what was added there. A port that draws without a plan carries a "
            "device that nobody planned. Planned but without watts and not delivering: the device is dark, or gone. "
            "Granted watts are only what the switch has allowed, not what flows.",
            {
                "A": ask.largest(f"portdraw_port_state{OF_UNIT} == 1", f"{PORT}, state"),
                "B": ask.largest(f"portdraw_port_draw_watts{OF_UNIT}", f"{PORT}, basis"),
                "C": of("portdraw_port_planned_now_watts"),
                "D": most,
                "E": f"{draw} - {most}",
                "F": of("portdraw_port_class_limit_watts"),
                "G": of("portdraw_port_denied_total"),
            },
            (
                Column("port", "port", width=70),
                Column("label", "label", missing="none", width=110),
                Column("state", "state", words=look.PORT_STATE, width=120),
                Column("B", "draws", unit="watt", decimals=1),
                Column("basis", "watts are", width=110),
                Column("C", "planned for the hour", unit="watt", decimals=1, missing="no plan"),
                Column("D", "planned at most", unit="watt", decimals=1, missing="no plan"),
                Column("E", "above the largest plan", unit="watt", decimals=1, above=((0.5, look.OCHRE),)),
                Column("F", "its class allows", unit="watt", decimals=1),
                Column("G", "denied, in all", decimals=0, missing="not counted"),
            ),
            "port",
            (24, 11),
        )
    )


def _port_draws() -> timeseries.Panel:
    return chart(
        "Draw of each port",
        "Steps are devices that came or went; a slow climb over weeks is wear. Compare dusk and frost with noon.",
        (Line(ask.largest(f"portdraw_port_draw_watts{OF_UNIT}", PORT), "port {{port}} {{label}}"),),
        "watt",
        (14, 9),
    )


def _denied() -> timeseries.Panel:
    return chart(
        "Times a port was denied power, in the hour before",
        "Anything above nothing: a device asks for power and does not get it. See the unit's budget and the port's "
        "class; do not restart the unit to make room.",
        (
            Line(
                ask.largest(f"increase(portdraw_port_denied_total{OF_UNIT}[1h])", PORT),
                "port {{port}} {{label}}",
            ),
        ),
        "none",
        (10, 9),
    )


def _age() -> timeseries.Panel:
    return chart(
        "Age of its readings",
        "A saw is normal: it falls at each poll. A line that climbs: the unit has stopped answering.",
        (Line(ask.largest(f"portdraw_reading_age_seconds{OF_UNIT}"), "age"),),
        "s",
        (10, 7),
    )
