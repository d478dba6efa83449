"""The site's dashboard: one page in the order of an alarm's card, for the shift."""

from __future__ import annotations

from grafana_foundation_sdk.builders import dashboard as build
from grafana_foundation_sdk.builders import stat, statetimeline, table, timeseries
from tests.tools.dashboards import expressions as ask
from tests.tools.dashboards import look, shared_panels, variables
from tests.tools.dashboards.panels import Column, Line, Sheet, bands, chart, figures, sheet_panel
from tests.tools.dashboards.shared_panels import row
from tests.tools.dashboards.variables import ALARMS, OF_THE_AGENT, SITE, UNITS

FAILURE = "site, failure"
_OF_AC = f'{{{SITE},load="now",failure=~"all .*|circuit .*|panel .*"}}'
_ASKED = f"1 - portdraw_failure_headroom_watts{_OF_AC} / portdraw_failure_limit_watts{_OF_AC}"


def site_dashboard(page: build.Dashboard) -> build.Dashboard:
    """Return the page with its variables, rows and panels."""
    for variable in (variables.data_source(), variables.site(), variables.zone(), variables.units()):
        page = page.with_variable(variable)
    page = page.with_row(row("What is wrong now?"))
    page = page.with_panel(_alarm_counts()).with_panel(_age_of_the_news()).with_panel(_reality())
    page = page.with_panel(shared_panels.alarms(ALARMS, (24, 9), whole_site=True))
    page = page.with_row(row("What carries what?"))
    page = page.with_panel(_carriers()).with_panel(shared_panels.legs(UNITS, (12, 11), whole_site=True))
    page = page.with_row(row("What fails next?"))
    page = page.with_panel(_next_failures()).with_panel(_share_asked()).with_panel(_studied())
    page = page.with_row(row("How long?"))
    page = page.with_panel(shared_panels.trends(UNITS, (12, 7), whole_site=True))
    page = page.with_panel(shared_panels.time_on_one_leg(UNITS, (12, 7), whole_site=True))
    page = page.with_row(row("How near to the limit, on both legs?"))
    page = page.with_panel(_both_legs())
    page = page.with_panel(_used("local AC", "ac")).with_panel(_used("PoE feed", "feed"))
    page = page.with_row(row("How sure is this?"))
    page = page.with_panel(shared_panels.readings(UNITS, (14, 9), whole_site=True)).with_panel(_ages())
    page = page.with_row(row("Is the agent itself well?"))
    for panel in _agent():
        page = page.with_panel(panel)
    return page.with_panel(_cycles()).with_panel(_agent_table())


def _alarm_counts() -> stat.Panel:
    lines = tuple(Line(ask.alarms_up(ALARMS, SITE, name), name) for name in ("urgent", "warning", "notice"))
    return figures(
        "Alarms up",
        "Any urgent one first: somebody has to act now. Three zeros are good news only while the news beside them is "
        "fresh. Units outside the chosen zone are not counted.",
        lines,
        (12, 4),
        above=((1, look.OCHRE),),
    )


def _age_of_the_news() -> stat.Panel:
    return figures(
        "Age of the news",
        "How long ago the agent last judged the site. Above three minutes nothing on this page is news: see the last "
        "row, then the machine that the agent runs on. Not known means that the agent does not answer at all.",
        (Line(f"portdraw_cycle_age_seconds {OF_THE_AGENT}", "since the newest cycle"),),
        (6, 4),
        unit="s",
        above=((90, look.OCHRE), (180, look.ROSE)),
    )


def _reality() -> stat.Panel:
    return figures(
        "Real or emulated",
        "Figures of an emulated site are for training and prove nothing. Choose a real site above.",
        (Line(ask.largest(f"portdraw_emulated{{{SITE}}}", "site"), "{{site}}"),),
        (6, 4),
        words=look.REALITY,
    )


def _carriers() -> statetimeline.Panel:
    return bands(
        "Which leg carries each unit",
        "Units of one circuit that change together: that circuit is out. A single unit that changes: its own supply, "
        "plug or circuit. Compare with the plan of work before calling anybody.",
        Line(ask.carrier(UNITS), "{{unit}}"),
        look.CARRIER,
        (12, 11),
    )


def _next_failures() -> table.Panel:
    def of(metric: str, load: str) -> str:
        return ask.largest(f'portdraw_failure_{metric}{{{SITE},load="{load}"}}', FAILURE)

    return sheet_panel(
        Sheet(
            "What fails next, and who goes dark",
            "Each line is one thing that may fail next, with the devices that go dark then: on the draws of now, on "
            "the largest of the last nights, and in the plan's worst case. Unsafe means that the site does not keep "
            "what it promised: allow no work on that leg, and have load taken off by agreement. The agent's overview "
            "names the devices. What does not rest on readings counts as the worst.",
            {
                "A": f"sum by ({FAILURE}) (max by ({FAILURE}, load) (portdraw_failure_unsafe{{{SITE}}}))",
                "B": of("dark_devices", "now"),
                "C": of("may_go_dark_devices", "now"),
                "D": ask.largest(f'portdraw_failure_headroom_watts{{{SITE},load="now"}}', FAILURE),
                "E": of("dark_devices", "tonight"),
                "F": of("dark_devices", "design"),
                "G": f'min by ({FAILURE}) (portdraw_failure_known{{{SITE},load="now"}})',
            },
            (
                Column("failure", "if this fails"),
                Column("A", "unsafe on", words=look.UNSAFE, above=((1, look.ROSE),), width=110),
                Column("B", "dark now", above=((1, look.ROSE),), width=80),
                Column("C", "may go dark", above=((1, look.OCHRE),), width=90),
                Column("D", "left now", unit="watt", decimals=1, above=(), missing="no limit is touched", width=110),
                Column("E", "dark tonight", above=((1, look.OCHRE),), width=90),
                Column("F", "dark by design", above=((1, look.OCHRE),), width=100),
                Column("G", "rests on", words=look.REST),
            ),
            "unsafe on",
            (15, 9),
            descending=True,
        )
    )


def _share_asked() -> timeseries.Panel:
    return chart(
        "How much of its limit the loss of AC would ask",
        "All local AC at once, and every circuit and panel. A line above 100 % would have had devices shed at that "
        "hour. See at what time of day it comes near, and plan work for another. A gap is an hour in which it could "
        "not be worked out.",
        (Line(ask.largest(_ASKED, FAILURE), "{{failure}}"), Line("vector(1)", "the limit", look.ROSE, dashed=True)),
        "percentunit",
        (9, 9),
    )


def _studied() -> stat.Panel:
    return figures(
        "Failures studied",
        "How many failures the agent studies; of more than sixty it tells the worst. Not known: none has ended yet.",
        (Line(ask.largest(f"portdraw_failures_studied{{{SITE}}}", "site"), "{{site}}"),),
        (24, 3),
    )


def _both_legs() -> table.Panel:
    share = ((0.8, look.OCHRE), (1.0, look.ROSE))
    no_feed = "no feed, or not known"
    return sheet_panel(
        Sheet(
            "Each unit against both of its budgets",
            "The sum that is true for one leg is not true for the other. A unit above 100 % on a leg that does not "
            "carry now sheds devices the moment it has to: take load off, or have the feed raised, while there is "
            "time. Ochre begins at 80 %; the site's own margin is the dashed line below.",
            {
                "A": ask.largest(f"portdraw_unit_draw_watts{{{UNITS}}}"),
                "B": ask.budget_used(UNITS, "ac"),
                "C": ask.largest(f'portdraw_unit_headroom_watts{{{UNITS},leg="ac"}}'),
                "D": ask.budget_used(UNITS, "feed"),
                "E": ask.largest(f'portdraw_unit_headroom_watts{{{UNITS},leg="feed"}}'),
                "F": ask.largest(f"portdraw_feed_need_watts{{{UNITS}}}"),
                "G": ask.largest(f"portdraw_feed_limit_watts{{{UNITS}}}"),
                "H": ask.largest(f"portdraw_unit_budget_used_ratio{{{UNITS}}}"),
            },
            (
                *shared_panels.unit_column(True),
                Column("A", "draws", unit="watt", decimals=1),
                Column("H", "of the budget in force", unit="percentunit", decimals=0, above=share),
                Column("B", "of its local AC budget", unit="percentunit", decimals=0, above=share),
                Column("C", "left on local AC", unit="watt", decimals=1),
                Column("D", "of its PoE feed budget", unit="percentunit", decimals=0, above=share, missing=no_feed),
                Column("E", "left on PoE feed", unit="watt", decimals=1, missing=no_feed),
                Column("F", "feeder port would give", unit="watt", decimals=1, missing=no_feed),
                Column("G", "feeder port can give", unit="watt", decimals=1, missing=no_feed),
            ),
            "of its PoE feed budget",
            (24, 9),
            descending=True,
        )
    )


def _used(words: str, leg: str) -> timeseries.Panel:
    return chart(
        f"Share of the budget on {words}",
        f"What the draw of each hour takes of the budget on {words}, whether or not that leg carried. Above the "
        "dashed margin add no device; above the limit the unit would shed. Look at the coldest and darkest hours.",
        (
            Line(ask.budget_used(UNITS, leg), "{{unit}}"),
            Line(f"1 - max(portdraw_policy_margin_ratio{{{SITE}}})", "the site's margin", look.OCHRE, dashed=True),
            Line("vector(1)", "the limit", look.ROSE, dashed=True),
        ),
        "percentunit",
        (12, 9),
    )


def _ages() -> timeseries.Panel:
    return chart(
        "Age of the readings",
        "A saw is normal: it falls at each poll. A line that climbs is a unit that has stopped answering; several at "
        "once are the path to them, or the agent.",
        (Line(ask.largest(f"portdraw_reading_age_seconds{{{UNITS}}}"), "{{unit}}"),),
        "s",
        (10, 9),
    )


def _agent() -> tuple[stat.Panel, ...]:
    return (
        figures(
            "Agent",
            "Not ready means that no cycle has ended since its start: read its log. Not known: it does not answer.",
            (Line(f"portdraw_ready {OF_THE_AGENT}", "agent"),),
            (6, 4),
            words=look.yes("ready", "NOT READY"),
        ),
        figures(
            "History",
            "Not written: the disk is full or the folder is closed to the agent. It reads and alarms as before, but "
            "the audit will have a gap. Make room, then look here again.",
            (Line(f"portdraw_history_ok {OF_THE_AGENT}", "history"),),
            (6, 4),
            words=look.yes("written", "NOT WRITTEN"),
        ),
        figures(
            "Receivers of alarms",
            "Not reached: alarms are kept and sent again, but nobody is told by this way now. Watch the overview by "
            "eye until it is mended. No receiver here: none is set, or none has been written to yet.",
            (Line(f"portdraw_receiver_ok {OF_THE_AGENT}", "{{receiver}}"),),
            (6, 4),
            words=look.yes("reached", "NOT REACHED"),
            missing="none told yet",
        ),
        figures(
            "Units whose poll is late",
            "More than none for long: the agent's machine is too busy, or many units hang at once.",
            (Line(f"portdraw_overdue_units {OF_THE_AGENT}", "units"),),
            (6, 4),
            above=((1, look.OCHRE),),
        ),
    )


def _cycles() -> timeseries.Panel:
    return chart(
        "The agent's cycle",
        "The cycle's length creeping up is a machine at its limit, or a history on a slow disk. A climbing age is "
        "an agent that has stopped judging.",
        (
            Line(f"portdraw_cycle_duration_seconds {OF_THE_AGENT}", "length of the newest cycle"),
            Line(f"portdraw_cycle_age_seconds {OF_THE_AGENT}", "time since it ended"),
        ),
        "s",
        (14, 7),
    )


def _agent_table() -> table.Panel:
    return sheet_panel(
        Sheet(
            "Version",
            "Two lines are two agents that watch the same site: one of them should not run.",
            {
                "A": f"max by (instance, version) (portdraw_build_info {OF_THE_AGENT})",
                "B": f"max by (instance) (portdraw_uptime_seconds {OF_THE_AGENT})",
            },
            (
                Column("instance", "agent"),
                Column("version", "version", width=110),
                Column("B", "running for", unit="s", decimals=0, width=140),
            ),
            "agent",
            (10, 7),
        )
    )
