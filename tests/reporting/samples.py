"""Hand-built assessments of the ferry terminal, and a source that hands them out. Watts are invented."""

# ruff: noqa: E501 - sentences of the samples stand on one line

from __future__ import annotations

from dataclasses import dataclass, replace

from portdraw.judgement.alarm import Alarm, AlarmKind, AlarmState, Severity
from portdraw.judgement.assessment import (
    Availability,
    Carrying,
    Leg,
    PortAssessment,
    SiteAssessment,
    UnitAssessment,
)
from portdraw.judgement.next_failure import Finding, NextFailure, Outlook, StudiedLoad
from portdraw.observation.record import Basis, PortState
from portdraw.observation.unit_observation import Outcome
from portdraw.powerflow.failure import FailureKind
from portdraw.powerflow.failure_result import Outcome as Failed
from portdraw.reading.notification_gate import Fate, NotificationCounts
from portdraw.reporting.current import AgentHealth, ReceiverHealth

NOW_S = 1_772_460_370.0  # 2026-03-02 14:06:10 in the Atlantic/Faroe zone (UTC+0 in winter)
SITE = "Skarholm ferry terminal"
TIMEZONE = "Atlantic/Faroe"

# PSE output watts of a class, IEEE 802.3-2022 table 145-11 (class 2 rounded up as the site's core books it)
CLASS_W = {1: 4.0, 2: 7.0, 3: 15.4, 4: 30.0, 5: 45.0, 6: 60.0, 7: 75.0, 8: 90.0}
# class, planned now and planned at most at the port, of each kind of device
KINDS = {
    "lane-camera": (3, 6.9, 12.9),
    "ptz": (5, 15.3, 30.6),
    "ap": (4, 12.2, 13.2),
    "intercom": (3, 4.6, 9.7),
    "barrier": (3, 5.1, 8.2),
    "sign": (4, 17.3, 18.4),
    "hall-cam": (2, 4.7, 6.0),
    "phone": (2, 3.2, 3.3),
    "berth-sensor": (1, 2.0, 2.6),
}
# place, zone, circuit, feeder, budget on local AC, budget on PoE feed, devices
UNITS: dict[str, tuple[str, str, str, str, float, float, tuple[str, ...]]] = {
    "north-pier": (
        "mast 3, north pier",
        "pier",
        "pier-7",
        "core port 1",
        90,
        59.6,
        ("lane-camera", "intercom", "ap"),
    ),
    "breakwater": (
        "hut at the breakwater light",
        "pier",
        "pier-7",
        "north-pier port 6",
        30,
        19.8,
        ("hall-cam", "berth-sensor", "berth-sensor", "phone"),
    ),
    "berth-1": (
        "cabinet at berth 1",
        "quay",
        "quay-3",
        "core port 2",
        90,
        59.6,
        ("ptz", "lane-camera", "intercom", "berth-sensor"),
    ),
    "berth-2": (
        "cabinet at berth 2",
        "quay",
        "quay-3",
        "core port 3",
        90,
        59.6,
        ("ptz", "lane-camera", "phone", "berth-sensor"),
    ),
    "entry-lanes": (
        "gate house, entry",
        "gate",
        "gate-5",
        "core port 4",
        90,
        58.2,
        ("lane-camera", "lane-camera", "barrier", "barrier", "intercom"),
    ),
    "exit-lanes": (
        "gate house, exit",
        "gate",
        "gate-5",
        "core port 5",
        90,
        58.2,
        ("lane-camera", "lane-camera", "barrier", "sign"),
    ),
    "ticket-hall": (
        "ticket hall, ceiling void",
        "hall",
        "hall-2",
        "core port 6",
        90,
        58.2,
        ("hall-cam", "hall-cam", "ap", "sign", "phone", "phone"),
    ),
    "waiting-room": (
        "waiting room, ceiling void",
        "hall",
        "hall-2",
        "core port 7",
        90,
        58.2,
        ("hall-cam", "hall-cam", "ap", "sign", "phone"),
    ),
}
CORE_DEVICES = {
    "9": ("desk-phone", "phone"),
    "10": ("stair-cam", "hall-cam"),
    "11": ("quay-door-cam", "hall-cam"),
    "12": ("store-cam", "hall-cam"),
    "13": ("control-ap", "ap"),
    "14": ("office-ap", "ap"),
    "15": ("office-phone-1", "phone"),
    "16": ("office-phone-2", "phone"),
    "17": ("foyer-sign", "sign"),
    "18": ("foyer-cam", "hall-cam"),
}
MEASURED = "a private watt column"
STANDBY_W = 1.3


@dataclass
class SampleSource:
    """A source with a fixed clock; the service's place is taken by plain values."""

    site: SiteAssessment | None
    state: AgentHealth
    clock_s: float = NOW_S

    def assessment(self) -> SiteAssessment | None:
        """Return the sample."""
        return self.site

    def health(self) -> AgentHealth:
        """Return the sample's health."""
        return self.state

    def now_s(self) -> float:
        """Return the fixed clock."""
        return self.clock_s


def healthy() -> AgentHealth:
    """Return an agent that is well."""
    return AgentHealth(
        started_s=NOW_S - 93_600,
        last_cycle_s=NOW_S - 4,
        last_cycle_took_s=0.412,
        cycles=3120,
        overdue_units=(),
        history_ok=True,
        history_error="",
        receivers=(ReceiverHealth("desk", True, ""),),
        version="0.1.0",
        ready=True,
        why_not_ready="",
        polling={"core": (12_480, 374.4)},
        notifications=NotificationCounts(dict.fromkeys(Fate, 3), {"core": 3}),
    )


def source(site: SiteAssessment | None) -> SampleSource:
    """Return a healthy source of a sample."""
    return SampleSource(site, healthy())


def device_port(unit: str, number: str, name: str, kind: str, share: float) -> PortAssessment:
    """Return a port that delivers `share` of its planned watts."""
    device_class, now_w, max_w = KINDS[kind]
    return PortAssessment(
        unit=unit,
        port=number,
        label=f"{unit[:2].upper()}-{int(number):02d}",
        hangs=name,
        kind=kind,
        feeds_unit=None,
        planned=True,
        planned_now_w=now_w,
        planned_max_w=max_w,
        class_limit_w=CLASS_W[device_class],
        device_class=device_class,
        state=PortState.DELIVERING,
        draw_w=round(now_w * share, 1),
        basis=Basis.MEASURED,
        source=MEASURED,
        read_s=NOW_S - 6,
        missing=None,
        denied_count=0,
    )


def feed_port(unit: str, number: str, fed: str, draw_w: float) -> PortAssessment:
    """Return a port that feeds another unit."""
    device_class = 4 if fed == "breakwater" else 8
    return PortAssessment(
        unit=unit,
        port=number,
        label=f"A-{int(number):02d}",
        hangs=fed,
        kind="unit",
        feeds_unit=fed,
        planned=True,
        planned_now_w=STANDBY_W,
        planned_max_w=CLASS_W[device_class],
        class_limit_w=CLASS_W[device_class],
        device_class=device_class,
        state=PortState.DELIVERING,
        draw_w=draw_w,
        basis=Basis.MEASURED,
        source=MEASURED,
        read_s=NOW_S - 6,
        missing=None,
        denied_count=0,
        neighbour=fed,
    )


def legs(circuit: str, feeder: str, on_feed: bool) -> tuple[Leg, Leg]:
    """Return both legs of a fed unit: on local AC with a held spare feed, or on the feed with its AC lost."""
    if on_feed:
        return (
            Leg(
                "local AC",
                circuit,
                Availability.LOST,
                Carrying.NONE,
                evidence_for=(
                    "the unit says it draws from its PoE feed only (LLDP power source)",
                    f"{feeder} rose from 1.3 W to the unit's full draw at 14:02:31",
                ),
                since_s=NOW_S - 219,
            ),
            Leg(
                "PoE feed",
                feeder,
                Availability.BELIEVED,
                Carrying.ALL,
                evidence_for=(f"{feeder} delivers what the unit and its devices need",),
                since_s=NOW_S - 219,
            ),
        )
    return (
        Leg(
            "local AC",
            circuit,
            Availability.PROVEN,
            Carrying.ALL,
            evidence_for=("the unit says it draws from local AC (LLDP power source)",),
        ),
        Leg(
            "PoE feed",
            feeder,
            Availability.BELIEVED,
            Carrying.NONE,
            evidence_for=(f"{feeder} delivers 1.3 W, the standby of a held feed",),
        ),
    )


def fed_unit(name: str, on_feed: bool = False, share: float = 0.98) -> UnitAssessment:
    """Return a unit of the terminal that answers and tells all."""
    place, zone, circuit, feeder, on_ac_w, on_feed_w, devices = UNITS[name]
    ports = [device_port(name, str(n), f"{name}-{kind}-{n}", kind, share) for n, kind in enumerate(devices, start=1)]
    if name == "north-pier":
        ports.append(feed_port(name, "6", "breakwater", STANDBY_W))
    draw_w = round(sum(port.draw_w or 0 for port in ports), 1)
    budget_w = on_feed_w if on_feed else on_ac_w
    return UnitAssessment(
        unit=name,
        place=place,
        zone=zone,
        outcome=Outcome.ANSWERED,
        reason="",
        read_s=NOW_S - 6,
        stale=False,
        draw_w=draw_w,
        draw_basis=Basis.MEASURED,
        draw_complete=True,
        total_w=draw_w,
        planned_now_w=round(sum(port.planned_now_w or 0 for port in ports), 1),
        planned_max_w=round(sum(port.planned_max_w or 0 for port in ports if not port.feeds_unit), 1),
        budget_w=budget_w,
        budget_on_ac_w=on_ac_w,
        budget_on_feed_w=on_feed_w,
        budget_reported_w=budget_w,
        share=draw_w / budget_w,
        feed_need_w=round((draw_w / 0.92 + 7) * 1.09, 1),
        feed_limit_w=25.5 if name == "breakwater" else 90.0,
        legs=legs(circuit, feeder, on_feed),
        ports=tuple(ports),
        fed_by=feeder,
    )


def core(carried: tuple[UnitAssessment, ...] = ()) -> UnitAssessment:
    """Return the core, with the units in `carried` on its feeds and the others on standby."""
    needs = {unit.unit: unit.feed_need_w for unit in carried}
    fed = [name for name, row in UNITS.items() if row[3].startswith("core")]
    ports = [feed_port("core", str(n), name, needs.get(name) or STANDBY_W) for n, name in enumerate(fed, start=1)]
    ports += [device_port("core", number, name, kind, 0.97) for number, (name, kind) in CORE_DEVICES.items()]
    draw_w = round(sum(port.draw_w or 0 for port in ports), 1)
    return UnitAssessment(
        unit="core",
        place="control room, rack 1",
        zone="control",
        outcome=Outcome.ANSWERED,
        reason="",
        read_s=NOW_S - 5,
        stale=False,
        draw_w=draw_w,
        draw_basis=Basis.MEASURED,
        draw_complete=True,
        total_w=draw_w,
        planned_now_w=79.0,
        planned_max_w=87.3,
        budget_w=440,
        budget_on_ac_w=440,
        budget_on_feed_w=None,
        budget_reported_w=440,
        share=draw_w / 440,
        feed_need_w=None,
        feed_limit_w=None,
        legs=(
            Leg(
                "local AC",
                "ups-a",
                Availability.BELIEVED,
                Carrying.ALL,
                evidence_for=("the unit answers, and it has no other leg",),
            ),
        ),
        ports=tuple(ports),
    )


SHED = ("foyer-sign", "office-phone-2", "office-phone-1")
ALL_AC = "all local AC without a generator"


def outlook(load: StudiedLoad, need_w: float | None, reason: str = "") -> Outlook:
    """Return what a failure does under a load: beyond the core's 440 W it sheds."""
    short = need_w is not None and need_w > 440
    outcome = Failed.NOT_SURVIVED if short else Failed.MAY_NOT_SURVIVE if need_w is None else Failed.SURVIVED
    return Outlook(
        load=load,
        outcome=outcome,
        dark=SHED if short else (),
        may_go_dark=("control-ap",) if short else SHED if need_w is None else (),
        limit="core budget",
        subject="core",
        need_w=need_w,
        limit_w=440.0,
        tight=need_w is not None and 418 < need_w <= 440,
        minutes=88.0 if short else None,
        battery="ups-a" if short else "",
        why=(f"goes dark: {', '.join(SHED)}",) if short else (),
        highest=2 if short or need_w is None else None,
        reason=reason if need_w is None else "",
    )


def failure(
    what: str, kind: FailureKind, needs_w: tuple[float | None, float, float], moved: tuple[str, ...], reason: str = ""
) -> NextFailure:
    """Return a failure with what it asks of the core now, tonight and by design."""
    loads = zip(StudiedLoad, needs_w, strict=True)
    return NextFailure(what, kind, moved, tuple(outlook(load, need_w, reason) for load, need_w in loads))


def failures(all_ac_need_w: float | None = 410.3, reason: str = "") -> tuple[NextFailure, ...]:
    """Return what single failures ask of the core, the worst first."""
    circuit = FailureKind.CIRCUIT
    return (
        failure(ALL_AC, FailureKind.ALL_UNBACKED_AC, (all_ac_need_w, 460.4, 562.2), tuple(UNITS), reason),
        failure("circuit hall-2", circuit, (175.2, 190.1, 205.0), ("ticket-hall", "waiting-room")),
        failure("circuit gate-5", circuit, (168.9, 180.3, 210.0), ("entry-lanes", "exit-lanes")),
        failure("circuit pier-7", circuit, (166.8, 171.2, 201.1), ("north-pier", "breakwater")),
        failure("circuit quay-3", circuit, (143.2, 165.9, 215.2), ("berth-1", "berth-2")),
        NextFailure(
            "unit core",
            FailureKind.UNIT,
            (),
            tuple(Outlook(load, Failed.NOT_JUDGED, dark=(*SHED, "desk-phone")) for load in StudiedLoad),
        ),
    )


TONIGHT_FINDING = Finding(
    StudiedLoad.TONIGHT,
    ALL_AC,
    "Tonight (the largest of the last nights): if all local AC without a generator fails, this would not be survived.",
)


def all_fine() -> SiteAssessment:
    """Return the terminal at noon, everything on local AC."""
    return SiteAssessment(
        time_s=NOW_S - 4,
        site=SITE,
        timezone=TIMEZONE,
        emulated=False,
        night=False,
        margin_percent=20,
        units=(core(), *(fed_unit(name) for name in UNITS)),
        next_failures=failures(),
        more_failures=44,
        tonight_rests_on="the largest of the last nights",
        findings=(TONIGHT_FINDING,),
        alarms=(),
        headline="All nine units are on their first leg, and any single loss fits.",
        cycle=3120,
    )


def ac_lost_alarm(unit: str) -> Alarm:
    """Return the alarm of a unit whose local AC went at 14:02:31."""
    feeder = UNITS[unit][3]
    return Alarm(
        kind=AlarmKind.LOCAL_AC_LOST,
        unit=unit,
        port=None,
        state=AlarmState.RAISED,
        severity=Severity.URGENT,
        sentence=f"Local AC lost at {unit}; it runs on its PoE feed from {feeder} since 14:02:31.",
        consequence=f"If {feeder} or its cable fails too, {unit} and its four devices go dark.",
        action="Call the harbour electrician, ext. 204, about breaker 3 of panel P2. Do not re-close it before the cause is found.",
        why_severity="one leg left, and a device of criticality 1 hangs on it",
        began_s=NOW_S - 219,
        raised_s=NOW_S - 217,
        ended_s=None,
    )


def ac_lost() -> SiteAssessment:
    """Return the terminal with circuit quay-3 out: two units on their feeds, EMULATED."""
    calm = all_fine()
    moved = tuple(fed_unit(name, on_feed=True, share=1.72) for name in ("berth-1", "berth-2"))
    by_name = {unit.unit: unit for unit in moved}
    units = (core(moved), *(by_name.get(name) or fed_unit(name) for name in UNITS))
    near = Alarm(
        kind=AlarmKind.UNIT_NEAR_BUDGET,
        unit="berth-1",
        port=None,
        state=AlarmState.ACKNOWLEDGED,
        severity=Severity.WARNING,
        sentence="berth-1 draws 49.5 W of the 59.6 W it may give on its PoE feed: the margin of 20 % is used, since 14:02:40.",
        consequence="A heater or one more device can push ports off, the last port first.",
        action="Turn the heater of berth-1-ptz-1 off, or bring local AC back.",
        why_severity="the margin is used, the budget holds",
        began_s=NOW_S - 210,
        raised_s=NOW_S - 150,
        ended_s=None,
        value=49.5,
        limit=47.7,
        measure="W",
    )
    drift = Alarm(
        kind=AlarmKind.DRIFT,
        unit="exit-lanes",
        port="4",
        state=AlarmState.RAISED,
        severity=Severity.NOTICE,
        sentence="exit-lanes port 4 (sign) has crept up by 0.11 W a day for 14 days; at this pace it reaches its plan in 23 days.",
        consequence="Its share of the feed's budget is then gone.",
        action="Look at the sign's heater and fan.",
        why_severity="more than two weeks away",
        began_s=NOW_S - 7200,
        raised_s=NOW_S - 7200,
        ended_s=None,
        value=23,
        limit=30,
        measure="days",
    )
    back = replace(
        ac_lost_alarm("ticket-hall"),
        state=AlarmState.RETURNED,
        began_s=NOW_S - 40_000,
        ended_s=NOW_S - 39_000,
        sentence="Local AC was lost at ticket-hall for 16 min.",
    )
    return replace(
        calm,
        emulated=True,
        units=units,
        next_failures=failures(460.4),
        alarms=(near, ac_lost_alarm("berth-1"), drift, ac_lost_alarm("berth-2"), back),
        headline="Two units have lost local AC and stand on their PoE feed: berth-1 and berth-2. Losing all other AC would be 20.4 W too much for the core.",
    )


def silent_unit() -> SiteAssessment:
    """Return the terminal with exit-lanes silent for nine minutes and entry-lanes telling only part."""
    calm = all_fine()
    units = []
    for unit in calm.units:
        if unit.unit == "exit-lanes":
            ports = tuple(
                replace(port, draw_w=None, basis=None, state=None, missing="the unit has not answered since 13:57:04")
                for port in unit.ports
            )
            unknown_legs = (
                Leg(
                    "local AC",
                    "gate-5",
                    Availability.UNKNOWN,
                    Carrying.UNKNOWN,
                    evidence_for=("entry-lanes, on the same circuit, still has its AC",),
                ),
                Leg(
                    "PoE feed",
                    "core port 5",
                    Availability.BELIEVED,
                    Carrying.UNKNOWN,
                    evidence_for=("core port 5 delivers 1.3 W",),
                ),
            )
            unit = replace(
                unit,
                outcome=Outcome.SILENT,
                reason="no answer within 8 s, 18 polls in a row: off, unreachable, or its access has changed",
                read_s=NOW_S - 546,
                stale=True,
                budget_w=None,
                share=None,
                feed_need_w=None,
                legs=unknown_legs,
                ports=ports,
                draw_w=None,
                draw_basis=None,
                draw_complete=False,
                total_w=None,
            )
        if unit.unit == "breakwater":
            unit = replace(
                unit,
                stale=True,
                read_s=NOW_S - 200,
                outcome=Outcome.PARTIAL,
                reason="its power columns stopped answering",
            )
        if unit.unit == "entry-lanes":
            first = replace(
                unit.ports[0], draw_w=None, basis=None, missing="its watt column is missing for this port"
            )
            unit = replace(
                unit, draw_w=21.4, draw_complete=False, draw_basis=Basis.ESTIMATED, ports=(first, *unit.ports[1:])
            )
        units.append(unit)
    silent = Alarm(
        kind=AlarmKind.READING_STALE,
        unit="exit-lanes",
        port=None,
        state=AlarmState.RAISED,
        severity=Severity.WARNING,
        sentence="exit-lanes has not answered since 13:57:04; what it draws and which leg carries it is unknown.",
        consequence="A lost leg of exit-lanes would not be noticed.",
        action="Look at the lane: are its barrier and cameras alive? Then check its data link from the core.",
        why_severity="power is evident upstream",
        began_s=NOW_S - 546,
        raised_s=NOW_S - 460,
        ended_s=None,
    )
    return replace(
        calm,
        units=tuple(units),
        next_failures=failures(None, "exit-lanes has no reading, so its part can't be added"),
        alarms=(silent,),
        headline="exit-lanes does not answer, so what its loss would ask is unknown. Eight of nine units are on their first leg.",
    )


def nothing_known() -> SiteAssessment:
    """Return the terminal with no unit ever read."""
    calm = all_fine()
    units = []
    for unit in calm.units:
        ports = tuple(
            replace(
                port,
                draw_w=None,
                basis=None,
                state=None,
                read_s=None,
                missing="the unit has never answered",
                neighbour=None,
            )
            for port in unit.ports
        )
        unknown = tuple(Leg(leg.name, leg.source, Availability.UNKNOWN, Carrying.UNKNOWN) for leg in unit.legs)
        units.append(
            replace(
                unit,
                outcome=Outcome.SILENT,
                reason="no answer within 8 s",
                read_s=None,
                stale=True,
                draw_w=None,
                draw_basis=None,
                draw_complete=False,
                total_w=None,
                budget_w=None,
                budget_reported_w=None,
                share=None,
                feed_need_w=None,
                budget_on_feed_w=None,
                feed_limit_w=None,
                legs=unknown,
                ports=ports,
            )
        )
    why = "no unit has been read"
    not_known = tuple(
        replace(one, outlooks=tuple(outlook(load, None, why) for load in StudiedLoad)) for one in calm.next_failures
    )
    return replace(
        calm, units=tuple(units), next_failures=not_known, headline="Nothing is known: no unit has answered yet."
    )


SCRIPT = "<script>alert(1)</script>"
HOSTILE = f"\"'>{SCRIPT}\x1b[31m\u202e\n{{{{7*7}}}}\\"


def hostile() -> SiteAssessment:
    """Return the terminal with script, terminal escapes and template marks in every text that others set."""
    calm = all_fine()
    unit = calm.units[1]
    port = replace(unit.ports[0], hangs=HOSTILE, label=HOSTILE, kind=HOSTILE, neighbour=HOSTILE, source=HOSTILE)
    silent = replace(unit.ports[1], draw_w=None, basis=None, missing=HOSTILE)
    evil_leg = replace(unit.legs[0], source=HOSTILE, evidence_for=(HOSTILE,))
    unit = replace(
        unit, place=HOSTILE, reason=HOSTILE, ports=(port, silent, *unit.ports[2:]), legs=(evil_leg, unit.legs[1])
    )
    alarm = replace(
        ac_lost_alarm("berth-1"), sentence=HOSTILE, action=HOSTILE, consequence=HOSTILE, why_severity=HOSTILE
    )
    evil = Outlook(
        StudiedLoad.NOW,
        Failed.MAY_NOT_SURVIVE,
        (HOSTILE,),
        (HOSTILE,),
        HOSTILE,
        HOSTILE,
        limit_w=440,
        battery=HOSTILE,
        minutes=5,
        assumed=(HOSTILE,),
        reason=HOSTILE,
    )
    fails = NextFailure(HOSTILE, FailureKind.CIRCUIT, (HOSTILE,), (evil,))
    return replace(
        calm,
        site=f"Skarholm {HOSTILE}",
        headline=HOSTILE,
        units=(calm.units[0], unit, *calm.units[2:]),
        alarms=(alarm,),
        next_failures=(fails, *calm.next_failures),
        findings=(Finding(StudiedLoad.DESIGN, HOSTILE, HOSTILE),),
        tonight_rests_on=HOSTILE,
    )


def many_units(count: int = 120) -> SiteAssessment:
    """Return a site of many units in zones of twenty: each fifteenth has lost its AC, each fortieth is silent."""
    lost, silent = ac_lost(), silent_unit().unit("exit-lanes")
    on_feed = lost.unit("berth-1")
    assert silent is not None
    assert on_feed is not None
    plain_units = [fed_unit(name) for name in UNITS]
    units = list(lost.units)
    for number in range(len(units), count):
        unit = silent if number % 40 == 0 else on_feed if number % 15 == 0 else plain_units[number % len(plain_units)]
        units.append(replace(unit, unit=f"hut-{number:03d}", zone=f"yard {number // 20}", fed_by="core port 24"))
    return replace(lost, units=tuple(units))
