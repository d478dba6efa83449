"""Recording rules: what a team keeps for long, or asks often. No dashboard and no alert needs them."""

from __future__ import annotations

LEG = "site, unit, leg"
RECORDS: dict[str, tuple[str, str]] = {
    "portdraw:unit_leg_used:ratio": (
        "share of each leg's budget that the draw takes, or would take",
        f"1 - max by ({LEG}) (portdraw_unit_headroom_watts) / max by ({LEG}) (portdraw_unit_budget_watts)",
    ),
    "portdraw:unit_draw_watts:max1h": (
        "largest draw of each unit in an hour; absent where nothing was known",
        "max by (site, unit) (max_over_time(portdraw_unit_draw_watts[1h]))",
    ),
    "portdraw:leg_lost:avg1h": (
        "share of the hour in which a leg was lost",
        f'max by ({LEG}) (avg_over_time(portdraw_leg_availability{{state="lost"}}[1h]))',
    ),
    "portdraw:units_on_feed:count": (
        "units that run on their PoE feed; 0 only where the site is being told of",
        'count by (site) (max by (site, unit) (portdraw_leg_carrying{leg="feed",state="all"}) == 1) '
        "or max by (site) (0 * portdraw_emulated)",
    ),
    "portdraw:next_failure_used:max": (
        "share of its limit that the worst of the known next failures would ask, on each load",
        "max by (site, load) (1 - portdraw_failure_headroom_watts / portdraw_failure_limit_watts)",
    ),
    "portdraw:reading_age_seconds:max": (
        "age of the oldest reading of the site",
        "max by (site) (portdraw_reading_age_seconds)",
    ),
    "portdraw:cycles:rate5m": (
        "cycles that the agent ends in a second",
        "rate(portdraw_cycles_total[5m])",
    ),
}


def recording_groups() -> dict[str, object]:
    """Return the one group."""
    rules = [{"record": name, "expr": expr} for name, (_, expr) in RECORDS.items()]
    return {"groups": [{"name": "portdraw-records", "rules": rules}]}


def legend() -> str:
    """Return what each record says, as comments."""
    return "".join(f"#   {name}\n#     {says}\n" for name, (says, _) in RECORDS.items())
