"""The one line over everything: how the site stands, and what the next failure would mean. Calm and exact."""

from __future__ import annotations

from portdraw.judgement.assessment import NOT_ASKED, Availability, Carrying, SiteAssessment, UnitAssessment
from portdraw.judgement.failure_words import dark_count_words
from portdraw.judgement.legs import LOCAL_AC, POE_FEED
from portdraw.judgement.next_failure import Outlook, StudiedLoad
from portdraw.judgement.unit_legs import leg_of
from portdraw.judgement.wording import count_text, list_text
from portdraw.observation.unit_observation import Outcome
from portdraw.powerflow.failure import FailureKind

EMULATED = "EMULATED: "


def headline(assessment: SiteAssessment) -> str:
    """Return the headline of an assessment, marked where the site is emulated."""
    units = assessment.units
    waiting = [unit for unit in units if unit.stale and unit.reason == NOT_ASKED]
    silent = [unit for unit in units if unit.stale and unit.outcome is not Outcome.REFUSED and unit not in waiting]
    refused = [unit for unit in units if unit.stale and unit.outcome is Outcome.REFUSED]
    on_feed = [unit for unit in units if on_feed_only(unit)]
    spare_lost = [unit for unit in units if not on_feed_only(unit) and _lost(unit, POE_FEED)]
    over = [unit for unit in units if unit.share is not None and unit.share > 1]
    parts: list[str] = []
    if silent:
        parts.append(f"{_names(silent, 'is', 'are')} not heard")
    if waiting:
        parts.append(f"{_names(waiting, 'is', 'are')} not asked yet")
    if refused:
        parts.append(f"{_names(refused, 'refuses', 'refuse')} our credentials")
    untold = [unit for unit in units if not unit.stale and unit.read_s is not None and _tells_nothing(unit)]
    if untold:
        parts.append(f"{_names(untold, 'tells', 'tell')} no watts")
    if over:
        parts.append(f"{_names(over, 'is', 'are')} over budget")
    if on_feed:
        what = "unit runs on its PoE feed" if len(on_feed) == 1 else "units run on their PoE feed"
        parts.append(f"{len(on_feed)} {what}")
    if spare_lost:
        parts.append(f"{_names(spare_lost, 'has', 'have')} lost the PoE feed")
    if not parts:
        readable = [unit for unit in units if unit.outcome is not Outcome.NOT_READABLE]
        parts.append(_all_well(readable) if readable else "No unit can be read")
    first = ", ".join(parts)
    mark = EMULATED if assessment.emulated else ""
    read = not any(unit.stale or not unit.draw_complete for unit in units)
    return f"{mark}{first}{_ahead(assessment, some_lost=bool(on_feed), all_read=read)}."


def on_feed_only(unit: UnitAssessment) -> bool:
    """Say whether a unit that has local AC lost it and runs on its PoE feed."""
    feed = leg_of(unit, POE_FEED)
    return _lost(unit, LOCAL_AC) and feed is not None and feed.carrying is Carrying.ALL


def _tells_nothing(unit: UnitAssessment) -> bool:
    return unit.draw_w is None and any(port.planned for port in unit.ports)


def _lost(unit: UnitAssessment, name: str) -> bool:
    leg = leg_of(unit, name)
    return leg is not None and leg.availability is Availability.LOST


def _names(units: list[UnitAssessment], one: str, many: str) -> str:
    """Return "north-pier is" or "3 units are": a name where it is one or two, else how many."""
    if len(units) > 2:
        return f"{count_text(len(units), 'unit')} {many}"
    return f"{list_text([unit.unit for unit in units])} {one if len(units) == 1 else many}"


def _all_well(units: list[UnitAssessment]) -> str:
    unknown = [unit for unit in units if any(leg.carrying is Carrying.UNKNOWN for leg in unit.legs)]
    if unknown:
        return f"All {len(units)} units answer; which leg carries {_whom(unknown)} is not known"
    return f"All {len(units)} units answer and none has lost a leg" if len(units) > 1 else "The unit answers"


def _whom(units: list[UnitAssessment]) -> str:
    return list_text([unit.unit for unit in units]) if len(units) < 3 else count_text(len(units), "unit")


def _ahead(assessment: SiteAssessment, *, some_lost: bool, all_read: bool) -> str:
    """Return what the loss of all local AC that no generator backs would mean."""
    whole = next((one for one in assessment.next_failures if one.kind is FailureKind.ALL_UNBACKED_AC), None)
    outlook = None if whole is None else whole.on(StudiedLoad.NOW)
    if outlook is None:
        return ""
    if_it_goes = f"; if {'the rest of the' if some_lost else 'all'} local AC goes, "
    return f"{if_it_goes}{verdict(outlook, all_read=all_read)}"


def verdict(outlook: Outlook, *, all_read: bool = True) -> str:
    """Return what a failure means: "core is 20 W short, foyer-sign goes dark and 3 more may".

    Where not all is read the largest planned watts stand for it, so that a shortfall is the most there can be.
    """
    dark = dark_count_words(outlook)
    if not outlook.limit:
        return dark or "nothing changes"
    headroom_w = outlook.headroom_w
    if headroom_w is None:
        return f"nobody knows what is left: it can't be worked out{f', and {dark}' if dark else ''}"
    what = outlook.limit.removesuffix(" budget")
    if headroom_w < 0:
        said = f"{what} is {'' if all_read else 'up to '}{_whole(-headroom_w)} short"
    else:
        said = f"{what} still has {'' if all_read else 'at least '}{_whole(headroom_w)} to spare"
    return f"{said}: {dark}" if dark else said


def _whole(watts: float) -> str:
    return f"{watts:.0f} W" if watts >= 1 else f"{watts:.1f} W"
