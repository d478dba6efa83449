"""What each kind of alarm is: delays, dead-band, severity, and the words for consequence and action.

All delays and dead-bands are common practice for PoE sites, not from a standard. Each alarm has a consequence and an
action, else it would be only an event (ISA-18.2 / IEC 62682, from memory). Rules may say more than this table where
they know more.
"""

from __future__ import annotations

from dataclasses import dataclass

from portdraw.judgement.alarm import AlarmKind, Severity


@dataclass(frozen=True)
class AlarmRule:
    """One kind of alarm.

    `on_delay_s` and `off_delay_s` [s]: how long a condition must be there, or gone, before the alarm comes up or
    returns. `dead_band_percent` of the limit: how far a value must fall below it before the condition is gone.
    """

    kind: AlarmKind
    on_delay_s: float
    off_delay_s: float
    dead_band_percent: float
    severity: Severity
    why_severity: str
    consequence: str
    action: str

    def clear_below_w(self, limit_w: float) -> float:
        """Return the watts [W] below which the condition of a limit [W] is gone."""
        return limit_w * (1 - self.dead_band_percent / 100)


_RULES = (
    AlarmRule(
        AlarmKind.UNIT_NEAR_BUDGET,
        on_delay_s=120,
        off_delay_s=300,
        dead_band_percent=3,
        severity=Severity.WARNING,
        why_severity="all devices have power; what is kept free for dusk, frost and a start-up is in use",
        consequence="The next rise in load, or one more device, can bring the unit over its budget.",
        action="Add no device to this unit. See which ports draw more than their plan and tell the integrator. "
        "Do not restart the unit: start-up takes more watts than running.",
    ),
    AlarmRule(
        AlarmKind.UNIT_OVER_BUDGET,
        on_delay_s=30,
        off_delay_s=300,
        dead_band_percent=3,
        severity=Severity.URGENT,
        why_severity="the unit may cut devices off at any moment",
        consequence="The unit may switch ports off by its shedding rule, and may refuse devices that restart.",
        action="Call the network engineer: least needed ports off, by agreement, before the unit chooses. "
        "Do not restart the unit or its devices: they may not come back.",
    ),
    AlarmRule(
        AlarmKind.PORT_ABOVE_PLAN,
        on_delay_s=120,
        off_delay_s=300,
        dead_band_percent=3,
        severity=Severity.NOTICE,
        why_severity="the device has power; the plan no longer holds for this port",
        consequence="The sums for both legs rest on the plan and are too low by this much.",
        action="Ask whether a heater, a lamp or another device was added. Have cable and connectors looked at "
        "by day. Do not pull the plug under load.",
    ),
    AlarmRule(
        AlarmKind.PORT_ABOVE_CLASS,
        on_delay_s=60,
        off_delay_s=120,
        dead_band_percent=2,
        severity=Severity.WARNING,
        why_severity="the switch may cut this port off, as the load is above what its class allows",
        consequence="The switch may turn the port off as overloaded, and may do so again after each restart.",
        action="Tell the network engineer: wrong device, a faulty device, or a lossy cable. "
        "Do not restart the port again and again.",
    ),
    AlarmRule(
        AlarmKind.LOCAL_AC_LOST,
        on_delay_s=60,
        off_delay_s=60,
        dead_band_percent=0,
        severity=Severity.WARNING,
        why_severity="all is powered, on one leg only",
        consequence="One leg is left. If that goes too, everything on this unit goes dark.",
        action="Find the cause first; do not re-close a tripped breaker. Test before touch: the unit and its "
        "ports stay live from the PoE feed. Do not restart the feeder or the feeding port.",
    ),
    AlarmRule(
        AlarmKind.POE_FEED_LOST,
        on_delay_s=60,
        off_delay_s=60,
        dead_band_percent=0,
        severity=Severity.WARNING,
        why_severity="all is powered, on one leg only",
        consequence="One leg is left. If its local AC goes, everything on this unit goes dark.",
        action="Call the network engineer: is the feeder port off, faulty or refused power, or the cable unplugged? "
        "Allow no work on this unit's AC until the feed is back. Do not draw connectors under load.",
    ),
    AlarmRule(
        AlarmKind.DEVICE_MISSING,
        on_delay_s=120,
        off_delay_s=60,
        dead_band_percent=0,
        severity=Severity.WARNING,
        why_severity="a planned device is without power from this port",
        consequence="What this device does is not being done.",
        action="Ask whether someone works there. Then check plug, cable and device. "
        "Test before touch: a port without power now may come on by itself.",
    ),
    AlarmRule(
        AlarmKind.DEVICE_UNPLANNED,
        on_delay_s=60,
        off_delay_s=120,
        dead_band_percent=0,
        severity=Severity.NOTICE,
        why_severity="it has power; the sums do not know of it",
        consequence="Its watts are in no sum: the budget after a loss of AC may not hold.",
        action="Find out who put it there and why; have it added to the site file or taken away. "
        "Do not switch it off before you know what it does.",
    ),
    AlarmRule(
        AlarmKind.POWER_DENIED,
        on_delay_s=0,
        off_delay_s=60,
        dead_band_percent=0,
        severity=Severity.WARNING,
        why_severity="a device asks for power and does not get it",
        consequence="The device on this port stays dark until watts are free or its class is allowed.",
        action="See the unit's budget and the port's class; call the network engineer. "
        "Do not restart the unit to make room: others may be refused then.",
    ),
    AlarmRule(
        AlarmKind.WATTS_UNTOLD,
        on_delay_s=120,
        off_delay_s=30,
        dead_band_percent=0,
        severity=Severity.WARNING,
        why_severity="the switch answers, but its draw is not known: nothing can be judged by it",
        consequence="The unit may be over its budget and nobody would see it; every sum above it rests on the plan.",
        action="Probe the switch: does it have PoE, and does this user's view show its power tables? "
        "Do not take the silence of other alarms as a sign that its load is fine.",
    ),
    AlarmRule(
        AlarmKind.UNIT_REPLACED,
        on_delay_s=0,
        off_delay_s=0,
        dead_band_percent=0,
        severity=Severity.NOTICE,
        why_severity="it has power and answers; what was proven and learned was of another switch",
        consequence="Its settings, ports and supplies may differ from the plan; earlier proofs of its legs are over.",
        action="Ask whether the switch was exchanged or its address given to another. Check its ports, port "
        "priorities and supplies against the site file, and prove both legs anew.",
    ),
    AlarmRule(
        AlarmKind.READING_STALE,
        on_delay_s=60,
        off_delay_s=30,
        dead_band_percent=0,
        severity=Severity.WARNING,
        why_severity="nothing that is shown of this unit is known to be true now",
        consequence="Whatever goes wrong there will not be seen here; its alarms stay as they were.",
        action="Look at its cameras or call someone on site: is it dark, or only not answering? "
        "Take no reading of it as proof of anything. Do not restart it as a first try.",
    ),
    AlarmRule(
        AlarmKind.CREDENTIALS_REFUSED,
        on_delay_s=60,
        off_delay_s=30,
        dead_band_percent=0,
        severity=Severity.WARNING,
        why_severity="the unit answers, but tells nothing",
        consequence="It has power, but none of its watts or legs are known.",
        action="Call the network engineer: user, secrets or privacy setting differ between the unit and this agent. "
        "Do not try other secrets on it.",
    ),
    AlarmRule(
        AlarmKind.NEXT_FAILURE_UNSAFE,
        on_delay_s=60,
        off_delay_s=300,
        dead_band_percent=0,
        severity=Severity.WARNING,
        why_severity="all is as it was, but one more failure takes what the site promised to keep",
        consequence="With the next failure devices go dark that the site promised to keep.",
        action="Allow no work on AC, feeders or feed cables now. Ask the network engineer what could be switched off "
        "by agreement to make room, and the integrator for the change that mends it. Do not test a leg.",
    ),
    AlarmRule(
        AlarmKind.DRIFT,
        on_delay_s=0,
        off_delay_s=0,
        dead_band_percent=0,
        severity=Severity.NOTICE,
        why_severity="there are days left to act",
        consequence="The limit will be met on a day nobody chose, most likely on a cold night.",
        action="Have the port and its device looked at by day: ageing heater, damp, a poor connector. "
        "Plan the watts before the day is there.",
    ),
)

ALARM_RULES: dict[AlarmKind, AlarmRule] = {rule.kind: rule for rule in _RULES}
