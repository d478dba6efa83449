"""One unit as it is shown: both legs, each with its budget, and every port."""

from __future__ import annotations

from dataclasses import dataclass, replace

from portdraw.judgement.assessment import Leg, PortAssessment, SiteAssessment, UnitAssessment
from portdraw.observation.record import PortState
from portdraw.observation.unit_observation import Outcome
from portdraw.reporting.budget_bar import BudgetBar, budget_bar, reading_words
from portdraw.reporting.plain_text import plain
from portdraw.reporting.wording import (
    UNKNOWN,
    LegShape,
    age,
    clock,
    figure,
    known,
    leg_shape,
    leg_words,
    limit,
    watts,
)

POE_FEED = "PoE feed"
GRAIN_W = 0.1  # readings are no finer
CLASS_4 = 4
CLASS_4_W = 30.0  # PSE output of class 4, IEEE 802.3-2022 table 145-11


@dataclass(frozen=True)
class LegView:
    """A leg: its line piece, its words, and the draw against the budget that holds on it."""

    name: str
    source: str
    line: str
    shape: LegShape
    words: str
    bar: BudgetBar
    note: str
    note_tone: str
    evidence_for: tuple[str, ...]
    evidence_against: tuple[str, ...]
    sure: bool


@dataclass(frozen=True)
class PortView:
    """A port: plan beside reading, all in words. Watts at the PSE output."""

    port: str
    label: str
    hangs: str
    kind: str
    feeds_unit: str | None
    planned: bool
    plan_now: str
    plan_max: str
    class_words: str
    draw: str
    draw_known: bool
    give_or_take: str
    basis: str
    source: str
    age: str
    state: str
    neighbour: str
    remark: str
    tone: str


@dataclass(frozen=True)
class UnitView:
    """A unit as a strip of the overview, and the head of its own page."""

    unit: str
    place: str
    zone: str
    depth: int
    draw: str
    plan: str
    reading: str
    reading_tone: str
    reason: str
    notes: tuple[str, ...]
    legs: tuple[LegView, ...]
    ports: tuple[PortView, ...]


def unit_view(
    site: SiteAssessment, unit: UnitAssessment, depth: int, now_s: float, with_ports: bool = False
) -> UnitView:
    """Return how a unit is shown at `now_s` (site clock, seconds since the epoch)."""
    told = unit.outcome in (Outcome.ANSWERED, Outcome.NOT_READABLE)
    reading = reading_words(unit.read_s, unit.stale, site.timezone, now_s)
    if unit.outcome is Outcome.NOT_READABLE:
        reading = Outcome.NOT_READABLE.value
    elif not told:
        reading = f"{unit.outcome.value}; {reading}"
    draw = known(unit.draw_w)
    draw_words = "draw unknown" if draw is None else f"draws {'' if unit.draw_complete else 'at least '}{watts(draw)}"
    if draw is not None and unit.draw_basis is not None:
        draw_words += f", {unit.draw_basis.value}"
    plan = f"plan {figure(unit.planned_now_w)} W now, {figure(unit.planned_max_w)} W at most"
    return UnitView(
        unit=plain(unit.unit),
        place=plain(unit.place),
        zone=plain(unit.zone),
        depth=min(depth, 6),
        draw=draw_words,
        plan=plan,
        reading=reading,
        reading_tone="quiet" if told and not unit.stale else "unknown",
        reason=plain(unit.reason),
        notes=tuple(plain(note) for note in unit.notes),
        legs=tuple(_leg_view(site, unit, leg, plan, now_s) for leg in unit.legs),
        ports=tuple(port_view(port, now_s) for port in unit.ports) if with_ports else (),
    )


def _leg_view(site: SiteAssessment, unit: UnitAssessment, leg: Leg, plan: str, now_s: float) -> LegView:
    is_feed = leg.name == POE_FEED
    figures = (unit.budget_on_ac_w, unit.budget_on_feed_w, unit.draw_w)
    scale_w = max((value for value in map(known, figures) if value is not None), default=0.0)
    budget_w = unit.budget_on_feed_w if is_feed else unit.budget_on_ac_w
    note, note_tone = _feed_note(site, unit, leg) if is_feed else (plan, "quiet")
    shape = leg_shape(leg)
    spare = shape is not LegShape.CARRYING
    bar = budget_bar(unit.draw_w, budget_w, scale_w, site.margin_percent, unit.draw_complete, unit.stale, spare)
    if shape is LegShape.LOST:
        bar = replace(bar, verdict="this leg is lost", tone="lost")
    return LegView(
        name=plain(leg.name),
        source=plain(leg.source),
        line="dashed" if is_feed else "solid",
        shape=shape,
        words=leg_words(leg, site.timezone, now_s),
        bar=bar,
        note=note,
        note_tone=note_tone,
        evidence_for=tuple(plain(text) for text in leg.evidence_for),
        evidence_against=tuple(plain(text) for text in leg.evidence_against),
        sure=leg.sure,
    )


def _feed_note(site: SiteAssessment, unit: UnitAssessment, leg: Leg) -> tuple[str, str]:
    need, most = known(unit.feed_need_w), known(unit.feed_limit_w)
    verb = "asks" if leg_shape(leg) is LegShape.CARRYING else "would ask"
    if need is None:
        return f"what it {verb} of {plain(leg.source)} is unknown", "unknown"
    words = f"{verb} {plain(leg.source)} for {figure(need)} of {limit(most)}"
    if most is None:
        return f"{verb} {plain(leg.source)} for {watts(need)}, limit unknown", "unknown"
    if need > most:
        return words + f", short {watts(need - most)}", "urgent"
    return words, "warning" if need > most * (1 - site.margin_percent / 100) else "quiet"


def port_view(port: PortAssessment, now_s: float) -> PortView:
    """Return how a port is shown."""
    draw = known(port.draw_w)
    remark, tone = _remark(port, draw)
    read_s = known(port.read_s)
    return PortView(
        port=plain(port.port),
        label=plain(port.label),
        hangs=plain(port.hangs),
        kind=plain(port.kind),
        feeds_unit=port.feeds_unit,
        planned=port.planned,
        plan_now=figure(port.planned_now_w) if known(port.planned_now_w) is not None else "none",
        plan_max=figure(port.planned_max_w) if known(port.planned_max_w) is not None else "none",
        class_words=_class_words(port),
        draw=figure(draw),
        draw_known=draw is not None,
        give_or_take=_give_or_take(port, draw),
        basis="" if draw is None or port.basis is None else port.basis.value,
        source=plain(port.source),
        age="" if read_s is None else age(now_s - read_s),
        state=UNKNOWN if port.state is None else port.state.value,
        neighbour="" if port.neighbour is None else plain(port.neighbour),
        remark=remark,
        tone=tone,
    )


def _give_or_take(port: PortAssessment, draw: float | None) -> str:
    off_w = known(port.uncertainty_w)
    return "" if draw is None or off_w is None else f"± {figure(off_w)}"


def _class_words(port: PortAssessment) -> str:
    if port.device_class is None:
        return UNKNOWN
    most = known(port.class_limit_w)
    if most is None:
        return f"{port.device_class}"
    # older MIBs have no word for a class above 4 (RFC 3621, pethPsePortPowerClassifications)
    above = " or above" if port.device_class == CLASS_4 and most > CLASS_4_W else ""
    return f"{port.device_class}{above}, {limit(most)}"


def _remark(port: PortAssessment, draw: float | None) -> tuple[str, str]:
    """Return what to say of a port beyond its figures, the worst first."""
    powered = port.state is PortState.DELIVERING or (draw is not None and draw > 0)
    if not port.planned and not powered and port.state is not None:
        return "spare", "quiet"
    if draw is None:
        return (plain(port.missing) if port.missing else "watts were not read"), "unknown"
    class_w, most_w = known(port.class_limit_w), known(port.planned_max_w)
    if class_w is not None and draw - class_w >= GRAIN_W:
        return f"above class by {watts(draw - class_w)}", "urgent"
    if not port.planned:
        return "not in the site file", "warning"
    if most_w is not None and draw - most_w >= GRAIN_W:
        return f"above plan by {watts(draw - most_w)}", "warning"
    return "", "quiet"


def last_read(site: SiteAssessment, unit: UnitAssessment, now_s: float) -> str:
    """Return the time of the newest reading of a unit, with its age."""
    if known(unit.read_s) is None or unit.read_s is None:
        return "never read"
    return f"{clock(unit.read_s, site.timezone, now_s)}, {age(now_s - unit.read_s)} ago"
