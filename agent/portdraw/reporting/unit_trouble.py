"""What is most wrong with each unit, in one or two words, for sites too large to show every unit in full."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from portdraw.judgement.alarm import Severity
from portdraw.judgement.assessment import SiteAssessment, UnitAssessment
from portdraw.observation.unit_observation import Outcome
from portdraw.reporting.wording import SEVERITY_RANK, SHOWN_STATES, LegShape, known, leg_shape

QUIET = 9
BY_DESIGN = 8


@dataclass(frozen=True)
class Trouble:
    """The worst of a unit: `rank` from 0 (worst) to 9 (quiet), `words` for people, "" where it is quiet."""

    rank: int
    words: str
    tone: str

    @property
    def needs_a_look(self) -> bool:
        """True but for what is quiet or not readable by design."""
        return self.rank < BY_DESIGN


NONE = Trouble(QUIET, "", "quiet")


def unit_troubles(site: SiteAssessment) -> Mapping[str, Trouble]:
    """Return the trouble of each unit by its name."""
    worst: dict[str, Severity] = {}
    for alarm in site.alarms:
        if alarm.state in SHOWN_STATES:
            known_before = worst.get(alarm.unit, Severity.NOTICE)
            worst[alarm.unit] = min(known_before, alarm.severity, key=SEVERITY_RANK.__getitem__)
    return {unit.unit: unit_trouble(unit, worst.get(unit.unit), site.margin_percent) for unit in site.units}


def unit_trouble(unit: UnitAssessment, alarm: Severity | None, margin_percent: float) -> Trouble:
    """Return the worst of what legs, draw, readings and alarms (`alarm`: the most severe that is up) say."""
    shapes = [leg_shape(leg) for leg in unit.legs]
    lost = [leg.name for leg in unit.legs if leg_shape(leg) is LegShape.LOST]
    share = known(unit.share)
    if lost and len(lost) == len(shapes):
        return Trouble(0, "every leg lost", "urgent")
    if share is not None and share > 1:
        return Trouble(1, "over budget", "urgent")
    if alarm is Severity.URGENT:
        return Trouble(2, f"{lost[0]} lost" if lost else "urgent alarm", "urgent")
    if unit.outcome is Outcome.NOT_READABLE:
        return Trouble(BY_DESIGN, "not readable by design", "unknown")
    if unit.stale or unit.read_s is None:
        return Trouble(3, "unknown" if unit.read_s is None else "stale", "unknown")
    if lost:
        return Trouble(4, f"{lost[0]} lost", "urgent")
    if not shapes or LegShape.UNKNOWN in shapes:
        return Trouble(5, "a leg unknown" if shapes else "legs unknown", "unknown")
    if share is None or not unit.draw_complete:
        return Trouble(5, "draw unknown" if share is None else "draw in part unknown", "unknown")
    if share > 1 - margin_percent / 100:
        return Trouble(6, "margin used", "warning")
    if alarm is Severity.WARNING:
        return Trouble(6, "warning", "warning")
    return Trouble(7, "notice", "notice") if alarm is Severity.NOTICE else NONE
