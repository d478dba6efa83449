"""What promtool plays against the alerting rules: series in, alerts out, minute by minute. Worked by hand."""

from __future__ import annotations

from dataclasses import dataclass

from portdraw.judgement.alarm import AlarmKind

Labels = dict[str, str]


@dataclass(frozen=True)
class Play:
    """Series as promtool writes them, a value a minute; what is alarmed on at which minute, with its summary."""

    told: str
    series: dict[str, str]
    alert: str
    at: dict[str, list[tuple[Labels, str]]]


QUAY = {"site": "Quay"}
HOST = {"job": "portdraw", "instance": "host:1"}
ON_HOST = 'job="portdraw",instance="host:1"'


def alarm(kind: str, unit: str, severity: str, port: str = "") -> str:
    """Return the series of one alarm."""
    return f'portdraw_alarm_active{{site="Quay",kind="{kind}",unit="{unit}",port="{port}",severity="{severity}"}}'


def failure(metric: str, load: str = "now", more: str = "") -> str:
    """Return a series of what the next failure would do."""
    return f'portdraw_failure_{metric}{{site="Quay",failure="circuit quay-3",load="{load}"{more}}}'


def of_host(summary: str, severity: str, **more: str) -> list[tuple[Labels, str]]:
    """Return the one alert of that agent."""
    return [({**HOST, **more, "severity": severity}, summary)]


PLAYS = [
    Play(
        "local AC is lost at two units, each with the agent's severity; two minutes after their return it is over",
        {
            alarm("local-ac-lost", "berth-1", "urgent"): "0 1 1 1 0 0 0 0 0",
            alarm("local-ac-lost", "berth-2", "warning"): "0 1 1 1 0 0 0 0 0",
            alarm("poe-feed-lost", "berth-3", "warning"): "1 1 1 1 1 1 1 1 1",
        },
        "local-ac-lost",
        {
            "0m": [],
            "1m": [
                ({**QUAY, "unit": "berth-1", "severity": "urgent"}, "berth-1: local AC lost (Quay)"),
                ({**QUAY, "unit": "berth-2", "severity": "warning"}, "berth-2: local AC lost (Quay)"),
            ],
            "5m": [
                ({**QUAY, "unit": "berth-1", "severity": "urgent"}, "berth-1: local AC lost (Quay)"),
                ({**QUAY, "unit": "berth-2", "severity": "warning"}, "berth-2: local AC lost (Quay)"),
            ],
            "7m": [],
        },
    ),
    Play(
        "the agent starts again: for a minute there is no series, and the alarm does not blink",
        {alarm("poe-feed-lost", "berth-1", "warning"): "1 stale 1 1"},
        "poe-feed-lost",
        {
            minute: [({**QUAY, "unit": "berth-1", "severity": "warning"}, "berth-1: PoE feed lost (Quay)")]
            for minute in ("0m", "1m", "2m")
        },
    ),
    Play(
        "an alarm that was set aside is not passed on",
        {alarm("reading-stale", "berth-1", "warning"): "0 0 0"},
        "reading-stale",
        {"2m": []},
    ),
    Play(
        "two scrapers of one agent give one alert, and a port is named",
        {
            alarm("drift", "berth-1", "notice", "4").replace("}", ',instance="a"}'): "1 1",
            alarm("drift", "berth-1", "notice", "4").replace("}", ',instance="b"}'): "1 1",
        },
        "drift",
        {"1m": [({**QUAY, "unit": "berth-1", "port": "4", "severity": "notice"}, "berth-1 port 4: drift (Quay)")]},
    ),
    Play(
        "an alarm of no unit is the site's",
        {alarm("watts-untold", "", "notice"): "1"},
        "watts-untold",
        {"0m": [({**QUAY, "severity": "notice"}, "the site: watts untold (Quay)")]},
    ),
    *(
        Play(
            f"{kind.value} is passed on",
            {alarm(kind.value, "berth-1", "notice"): "0 1"},
            kind.value,
            {"0m": [], "1m": [({**QUAY, "unit": "berth-1", "severity": "notice"}, f"berth-1: {words} (Quay)")]},
        )
        for kind, words in {
            AlarmKind.UNIT_NEAR_BUDGET: "unit near budget",
            AlarmKind.UNIT_OVER_BUDGET: "unit over budget",
            AlarmKind.READING_STALE: "reading stale",
            AlarmKind.CREDENTIALS_REFUSED: "credentials refused",
            AlarmKind.POWER_DENIED: "power denied",
            AlarmKind.UNIT_REPLACED: "unit replaced",
        }.items()
    ),
    Play(
        "a failure has been unsafe by design for an hour; one that is unsafe now is the agent's own alarm",
        {
            failure("unsafe", "design"): "0 1x80",
            failure("unsafe", "tonight"): "0x80",
            failure("unsafe"): "1x80",
        },
        "next-failure-unsafe-later",
        {
            "60m": [],
            "61m": [
                (
                    {**QUAY, "failure": "circuit quay-3", "load": "design", "severity": "notice"},
                    "Unsafe on the load design: circuit quay-3 (Quay)",
                )
            ],
        },
    ),
    Play(
        "two failures are not worked out from readings for half an hour",
        {
            failure("known"): "0x40",
            failure("known").replace("quay-3", "hall-2"): "0x40",
            failure("known").replace("quay-3", "pier-7"): "1x40",
        },
        "next-failure-not-known",
        {
            "29m": [],
            "30m": [
                (
                    {**QUAY, "severity": "notice"},
                    "2 of the failures that may come next are not worked out from readings (Quay)",
                )
            ],
        },
    ),
    Play(
        "a unit is over its budget on the spare leg only; the leg that carries is the agent's own alarm",
        {
            'portdraw_unit_headroom_watts{site="Quay",unit="berth-1",leg="feed"}': "-4.5x10",
            'portdraw_unit_headroom_watts{site="Quay",unit="berth-1",leg="ac"}': "26x10",
            'portdraw_unit_headroom_watts{site="Quay",unit="berth-2",leg="feed"}': "-9x10",
            'portdraw_leg_carrying{site="Quay",unit="berth-1",leg="ac",source="quay-3",state="all"}': "1x10",
            'portdraw_leg_carrying{site="Quay",unit="berth-1",leg="feed",source="core port 2",state="all"}': "0x10",
            'portdraw_leg_carrying{site="Quay",unit="berth-2",leg="feed",source="core port 3",state="all"}': "1x10",
        },
        "spare-leg-over-budget",
        {
            "4m": [],
            "5m": [
                (
                    {**QUAY, "unit": "berth-1", "leg": "feed", "severity": "warning"},
                    "berth-1 draws more than its budget on leg feed, which does not carry it now: -4.5 W left (Quay)",
                )
            ],
        },
    ),
    Play(
        "a unit is over its budget on local AC, while the feed carries it",
        {
            'portdraw_unit_headroom_watts{site="Quay",unit="berth-1",leg="ac"}': "-2x10",
            'portdraw_leg_carrying{site="Quay",unit="berth-1",leg="feed",source="core port 2",state="all"}': "1x10",
        },
        "spare-leg-over-budget",
        {
            "5m": [
                (
                    {**QUAY, "unit": "berth-1", "leg": "ac", "severity": "warning"},
                    "berth-1 draws more than its budget on leg ac, which does not carry it now: -2.0 W left (Quay)",
                )
            ],
        },
    ),
    Play(
        "the feeder's port could not give what the unit would take; 90 W of 90 W is not too much",
        {
            'portdraw_feed_need_watts{site="Quay",unit="berth-1"}': "93.2x10",
            'portdraw_feed_limit_watts{site="Quay",unit="berth-1"}': "90x10",
            'portdraw_feed_need_watts{site="Quay",unit="berth-2"}': "90x10",
            'portdraw_feed_limit_watts{site="Quay",unit="berth-2"}': "90x10",
        },
        "feeder-port-too-small",
        {
            "4m": [],
            "5m": [
                (
                    {**QUAY, "unit": "berth-1", "severity": "warning"},
                    "berth-1 would take 93.2 W at its feeder's port, more than that can give (Quay)",
                )
            ],
        },
    ),
    Play(
        "one of two agents dies",
        {
            f'portdraw_emulated{{site="Quay",{ON_HOST}}}': "0x10 stale _x10",
            'portdraw_emulated{site="Hall",job="portdraw",instance="host:2"}': "0x30",
        },
        "agent-silent",
        {
            "10m": [],
            "12m": [],
            "13m": of_host("No news of Quay: the agent at host:1 tells nothing", "urgent", **QUAY),
        },
    ),
    Play(
        "no agent has told anything for a day",
        {'up{job="portdraw",instance="host:1"}': "0x10"},
        "agent-silent",
        {
            "1m": [],
            "2m": [({"severity": "urgent"}, "No news of any site: the agent at an unknown address tells nothing")],
        },
    ),
    Play(
        "an agent runs, and never ends a cycle",
        {f"portdraw_ready{{{ON_HOST}}}": "0x10"},
        "agent-not-ready",
        {"4m": [], "5m": of_host("The agent at host:1 runs, but has ended no cycle", "warning")},
    ),
    Play(
        "an agent has stopped judging: 180 s is not late yet",
        {f"portdraw_cycle_age_seconds{{{ON_HOST}}}": "10 180 200 260 320"},
        "cycle-late",
        {
            "1m": [],
            "2m": [],
            "3m": of_host("The agent at host:1 last judged its site 4m 20s ago", "urgent"),
        },
    ),
    Play(
        "three units are polled late for ten minutes",
        {f"portdraw_overdue_units{{{ON_HOST}}}": "3x20"},
        "polls-late",
        {"9m": [], "10m": of_host("3 units are polled late by the agent at host:1", "notice")},
    ),
    Play(
        "the disk is full",
        {f"portdraw_history_ok{{{ON_HOST}}}": "1 0 0 0"},
        "history-not-written",
        {"1m": [], "2m": of_host("The agent at host:1 can't write its history", "warning")},
    ),
    Play(
        "one of two receivers is dead",
        {
            f'portdraw_receiver_ok{{receiver="desk",{ON_HOST}}}': "1 0 0 0",
            f'portdraw_receiver_ok{{receiver="phone",{ON_HOST}}}': "1 1 1 1",
        },
        "receiver-not-reached",
        {
            "1m": [],
            "2m": of_host("Alarms do not reach desk from the agent at host:1", "warning", receiver="desk"),
        },
    ),
]
