"""The questions that both dashboards ask, as PromQL. Two scrapers of one agent count once: the larger is taken."""

from __future__ import annotations

ALARM_NAME = "site, unit, port, kind, severity"


def alarm_ages(chosen: str) -> str:
    """Return how long each alarm has been up, with the place of its unit where that is known."""
    age = f"max by ({ALARM_NAME}) (portdraw_alarm_age_seconds{{{chosen}}})"
    place = "max by (site, unit, place) (portdraw_unit_info)"
    return f"{age} * on (site, unit) group_left (place) {place} or on ({ALARM_NAME}) {age}"


def alarm_ranks(chosen: str) -> str:
    """Return 1, 2 or 3 for each alarm that is up: urgent, warning, notice."""
    return " or ".join(
        f'{rank} * (max by ({ALARM_NAME}) (portdraw_alarm_active{{{chosen},severity="{severity}"}}) == 1)'
        for rank, severity in enumerate(("urgent", "warning", "notice"), 1)
    )


def alarms_up(chosen: str, site: str, severity: str) -> str:
    """Return how many alarms of a severity are up; 0 only where the site is being told of."""
    up = f'max by ({ALARM_NAME}) (portdraw_alarm_active{{{chosen},severity="{severity}"}}) == 1'
    return f"count by (site) ({up}) or max by (site) (0 * portdraw_emulated{{{site}}})"


def legs(chosen: str) -> str:
    """Return a row for each leg, its availability and what it carries as labels."""
    availability = _named("portdraw_leg_availability", chosen, "availability")
    carrying = _named("portdraw_leg_carrying", chosen, "carrying")
    return f"{availability} * on (site, unit, leg, source) group_left (carrying) {carrying}"


def _named(metric: str, chosen: str, label: str) -> str:
    held = f'label_replace({metric}{{{chosen}}} == 1, "{label}", "$1", "state", "(.*)")'
    return f"max by (site, unit, leg, source, {label}) ({held})"


def carrier(chosen: str) -> str:
    """Return for each unit 1 where local AC carries all, 2 the PoE feed, 3 where they share, 0 where nobody knows."""
    carrying = "portdraw_leg_carrying{" + chosen
    return f"""max by (site, unit) (
        1 * ({carrying},leg="ac",state="all"}} == 1)
        or 2 * ({carrying},leg="feed",state="all"}} == 1)
        or 3 * ({carrying},state="part"}} == 1)
    ) or max by (site, unit) (0 * portdraw_unit_info{{{chosen}}})"""


def budget_used(chosen: str, leg: str) -> str:
    """Return the share of the leg's budget that the draw of now takes, or would take."""
    of_leg = f'{{{chosen},leg="{leg}"}}'
    return (
        f"1 - {largest('portdraw_unit_headroom_watts' + of_leg)} / {largest('portdraw_unit_budget_watts' + of_leg)}"
    )


def largest(selector: str, by: str = "site, unit") -> str:
    """Return the largest of a selector by its labels."""
    return f"max by ({by}) ({selector})"


def days_left(chosen: str) -> str:
    """Return the days until a trend meets its limit."""
    return largest(f"portdraw_drift_to_limit_seconds{{{chosen}}}", "site, unit, port") + " / 86400"


def time_lost(chosen: str) -> str:
    """Return the share of the time shown in which a leg was lost, where it ever was."""
    lost = f'avg_over_time(portdraw_leg_availability{{{chosen},state="lost"}}[$__range])'
    return largest(lost, "site, unit, leg") + " > 0"


def outcome(chosen: str) -> str:
    """Return how the newest poll of each unit ended, as a label."""
    return largest(f"portdraw_poll_outcome{{{chosen}}} == 1", "site, unit, outcome")
