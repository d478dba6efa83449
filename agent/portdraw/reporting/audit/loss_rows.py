"""What the next loss of AC would do, on the draws of the period and on the plan: who goes dark, which limit binds."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import isfinite

from portdraw.history.port_day import PortDay
from portdraw.judgement.live_load import AsSeen, admits_by_draw, site_as_seen
from portdraw.judgement.plan_sheet import STEADY_CASES, PlanSheet
from portdraw.judgement.silent_ports import silent_draws
from portdraw.judgement.wording import list_text
from portdraw.plan.load_case import Case, declared_w
from portdraw.plan.site import Site, Unit
from portdraw.plan.tree import Tree, reach
from portdraw.powerflow.failure import FailureKind, all_unbacked_ac, single_failures
from portdraw.powerflow.failure_result import FailureResult, Outcome
from portdraw.powerflow.failure_study import study_failures
from portdraw.powerflow.limit_state import LimitState
from portdraw.powerflow.load import Load, Reading, live_load, planned_load
from portdraw.powerflow.network import Network, network_of
from portdraw.powerflow.port_link import PortId
from portdraw.powerflow.port_power import class_limit_w, port_class
from portdraw.powerflow.two_legs import budget_on_ac_w
from portdraw.reporting.audit.audit_rows import AuditFinding, LossNeed, LossRow, LossStudy, Weight
from portdraw.reporting.audit.unseen import Days
from portdraw.reporting.wording import limit, watts

NOTHING_MOVES = "nothing moves"
NOTHING_READ = "unknown: no watts were read"
_LEAST_SHORT_W = 0.05  # less does not show in figures of 0.1 W
_OF_AC = (FailureKind.CIRCUIT, FailureKind.ALL_UNBACKED_AC)
_FIELDS = {Case.FROST_NIGHT: "frost_night_w", Case.NIGHT: "night_w"}


@dataclass(frozen=True)
class _Drawn:
    """Draws of all device ports [W at the PSE output]; `planned` are those that the plan had to give."""

    draws: Mapping[PortId, float]
    planned: tuple[PortId, ...]
    shared: tuple[str, ...]
    told: bool
    seen: AsSeen


def loss_study(site: Site, tree: Tree, sheet: PlanSheet, days: Days) -> LossStudy:
    """Return what the loss of each circuit, and of all local AC without a generator, would do; worst first.

    Any other failure that breaks the site's promise in its own way is told too. `days` are the merged days of the
    period. Ports that told no watts count their largest planned ones.
    """
    p95, largest = (_drawn(site, sheet, days, percent) for percent in (95.0, 100.0))
    case = largest_declared_case(site)
    keep_percent = site.policy.margin_after_failure_percent
    network = network_of(site, tree)
    live = network_of(site_as_seen(site, largest.seen))
    failures = [*single_failures(network)]
    everything = all_unbacked_ac(network)
    failures += [] if everything is None else [everything]
    studies = (
        study_failures(live, _load(live, "drawn p95", p95, case), failures=failures),
        study_failures(live, _load(live, "drawn max", largest, case), failures=failures),
        study_failures(network, planned_load(network, case), failures=failures),
    )
    rows = []
    said: set[object] = set()
    found = list(zip(*(study.results for study in studies), strict=True))
    for on_p95, on_largest, on_plan in sorted(found, key=lambda results: results[0].failure.kind not in _OF_AC):
        of_ac = on_p95.failure.kind in _OF_AC
        told = [on_plan] + ([on_p95, on_largest] if p95.told else [])
        does = tuple((result.dark, result.may_go_dark) for result in told)
        if not of_ac and (does in said or not any(_breaks(result) for result in told)):
            continue
        said.add(does)
        rows.append(
            LossRow(
                on_p95.what,
                on_p95.failure.parts or ((on_p95.failure.subject,) if of_ac else ()),
                on_p95.dark_units,
                _need(site, tree, on_p95, keep_percent, Weight.ACT, p95),
                _need(site, tree, on_largest, keep_percent, Weight.LOOK, largest),
                _need(site, tree, on_plan, keep_percent, Weight.LOOK, None),
            )
        )
    return LossStudy(
        planned_case=case.value,
        keep_percent=keep_percent,
        planned_ports=tuple(_place(port) for port in p95.planned),
        shared_units=p95.shared,
        rows=tuple(sorted(rows, key=_rank, reverse=True)),
    )


def largest_declared_case(site: Site) -> Case:
    """Return the frost night where any device declares its watts, else night, else typical."""
    ports = [port for unit in site.units.values() for port in unit.ports.values() if port.device is not None]
    for case, field in _FIELDS.items():
        if any(declared_w(site, port, field) is not None for port in ports):
            return case
    return Case.TYPICAL


def loss_findings(study: LossStudy) -> list[tuple[str, AuditFinding]]:
    """Return what is short, or can't be said, with the loss that it is about."""
    found: list[tuple[str, AuditFinding]] = []
    for row in study.rows:
        where = f"loss of {row.what}"
        if row.dark_units:
            sentence = f"No live leg is left for {', '.join(row.dark_units)}."
            found.append((where, AuditFinding(Weight.LOOK, sentence)))
        drawn_short = row.drawn_p95.weight is Weight.ACT
        for load, need in (
            ("As drawn, 95th percentile", row.drawn_p95),
            ("On the largest draws, an upper bound", row.drawn_max),
            (f"On the plan's {study.planned_case} case", row.planned),
        ):
            if need.weight is None or (need is row.drawn_max and drawn_short):
                continue
            asks = "" if need.need_w is None else f", {watts(need.need_w)} of {limit(need.limit_w)}"
            rests_on = f" {counts_plan(need.planned_ports)}" if need.planned_ports else ""
            dark = f"; {dark_words(need)}" if need.dark or need.may_go_dark else ""
            said = f"{load}: {need.limit}{asks}: {need.words}{dark}.{rests_on}"
            found.append((where, AuditFinding(need.weight, said)))
    return found


def counts_plan(ports: Iterable[str]) -> str:
    """Return "Counts planned watts for kiosk ports 1, 2, pier port 3: not told."; the ports as "kiosk port 1"."""
    by_unit: dict[str, list[str]] = {}
    for place in ports:
        unit, _, key = place.partition(" port ")
        by_unit.setdefault(unit, []).append(key)
    said = [f"{unit} {'port' if len(keys) == 1 else 'ports'} {', '.join(keys)}" for unit, keys in by_unit.items()]
    return f"Counts planned watts for {'; '.join(said)}: not told."


def _drawn(site: Site, sheet: PlanSheet, days: Days, percent: float) -> _Drawn:
    draws: dict[PortId, float] = {}
    planned: list[PortId] = []
    shared: list[str] = []
    told_ports = 0
    unplanned: set[PortId] = set()
    by_draw: set[str] = set()
    for name, unit in site.units.items():
        told: dict[str, float] = {}
        for (owner, key), day in days.items():
            watts_w = day.percentile(percent) if owner == name and key is not None else None
            if key is not None and watts_w is not None:
                told[key] = watts_w
        feeds = {key for key, port in unit.ports.items() if port.feeds_unit is not None}
        draws.update({(name, key): watts_w for key, watts_w in told.items() if key not in feeds})
        total_w = _percentile(days.get((name, None)), percent)
        told_ports += len(told) + (total_w is not None)
        silent = {key: _largest_w(site, sheet, name, key) for key in unit.ports if key not in told}
        found = silent_draws(silent, total_w, sum(told.values()))
        stand_in = {key: watts_w for key, watts_w in found.items() if key not in feeds and unit.ports[key].device}
        draws.update({(name, key): watts_w for key, watts_w in stand_in.items()})
        if total_w is None:
            planned += [(name, key) for key in stand_in if silent[key]]
        elif any(silent[key] for key in stand_in):
            shared.append(name)
        classes_w = (
            class_limit_w(port_class(site, name, key)) or 0.0 for key in told if told[key] and key in unit.ports
        )
        if unit.supplies and admits_by_draw(site, name, sum(classes_w), budget_on_ac_w(unit)):
            by_draw.add(name)
        unplanned.update((name, key) for key in told if told[key] and not _planned(unit, key))
    seen = AsSeen(frozenset(unplanned), frozenset(by_draw))
    return _Drawn(draws, tuple(planned), tuple(shared), told_ports > 0, seen)


def _planned(unit: Unit, key: str) -> bool:
    port = unit.ports.get(key)
    return port is not None and port.hangs is not None and not port.off


def _largest_w(site: Site, sheet: PlanSheet, unit: str, key: str) -> float | None:
    by_case = sheet.watts[unit, key]
    known = [watts_w for case in STEADY_CASES if (watts_w := by_case[case]) is not None]
    return max(known) if len(known) == len(STEADY_CASES) else class_limit_w(port_class(site, unit, key))


def _percentile(day: PortDay | None, percent: float) -> float | None:
    return None if day is None else day.percentile(percent)


def _load(network: Network, name: str, drawn: _Drawn, case: Case) -> Load:
    readings = {port: Reading(watts_w, watts_w, watts_w) for port, watts_w in drawn.draws.items()}
    return live_load(network, name, readings, case)


def _breaks(result: FailureResult) -> bool:
    return result.verdict.outcome in (Outcome.NOT_SURVIVED, Outcome.MAY_NOT_SURVIVE)


def _need(
    site: Site, tree: Tree, result: FailureResult, keep_percent: float, if_short: Weight, drawn: _Drawn | None
) -> LossNeed:
    """Return what the loss asks of its fullest limit, and who goes dark by it."""
    if drawn is not None and not drawn.told:
        return LossNeed("nothing was read", None, None, NOTHING_READ, None)
    dark, may = result.dark, result.may_go_dark
    promised = if_short if _breaks(result) else None
    if result.worst is None:
        limit_name = NOTHING_MOVES if not result.dark_units else "nothing else moves"
        return LossNeed(limit_name, 0.0, None, "", promised, (), dark, may)
    worst = result.worst
    below = _below(site, tree, worst)
    planned = () if drawn is None else tuple(_place(port) for port in drawn.planned if port[0] in below)
    words, weight = _verdict(worst, keep_percent, if_short)
    need_w = worst.need_w if isfinite(worst.need_w) else None
    limit_w = worst.limit_w if isfinite(worst.limit_w) else None
    return LossNeed(worst.limit, need_w, limit_w, words, weight or promised, planned, dark, may)


def _verdict(limit_state: LimitState, keep_percent: float, if_short: Weight) -> tuple[str, Weight | None]:
    if not isfinite(limit_state.need_w) or not isfinite(limit_state.limit_w):
        return f"unknown: {limit_state.reason or 'it can not be worked out'}", Weight.LOOK
    spare_w = limit_state.limit_w - limit_state.need_w
    if spare_w <= -_LEAST_SHORT_W:
        return f"short {limit(-spare_w)}", if_short
    if limit_state.need_w > limit_state.limit_w * (1 - keep_percent / 100):
        return f"fits, but less than the {keep_percent:g} % to be kept after a failure", None
    return f"fits, {limit(spare_w)} to spare", None


def dark_words(need: LossNeed, most: int = 8) -> str:
    """Return who goes dark, and who may, by name; "" where nothing does."""
    parts = []
    if need.dark:
        parts.append(f"{list_text(need.dark, most)} {'goes' if len(need.dark) == 1 else 'go'} dark")
    if need.may_go_dark:
        parts.append(f"{list_text(need.may_go_dark, most)} may{'' if need.dark else ' go dark'}")
    return ", ".join(parts)


def _below(site: Site, tree: Tree, load: LimitState) -> set[str]:
    """Return the units whose draws are in a limit's need: its own unit, or those on its source, and all below."""
    if load.subject in site.units:
        units = {load.subject}
    elif load.subject in site.ups:
        units = {
            name for name, unit in site.units.items() if any(one.source == load.subject for one in unit.supplies)
        }
    else:
        units = set(tree.units_on(load.subject))
    return units | reach(units, tree.children)


def _place(port: PortId) -> str:
    return f"{port[0]} port {port[1]}"


def _rank(row: LossRow) -> tuple[float, ...]:
    """Sorts from fine to worst: short as drawn, short or unknown at all, then by the share of the limit as drawn."""
    needs = (row.drawn_p95, row.drawn_max, row.planned)
    grave = 2 * (row.drawn_p95.weight is not None) + any(need.weight is not None for need in needs)
    return (grave, *(_share(need) for need in needs))


def _share(need: LossNeed) -> float:
    if need.limit_w is None:
        return float("inf") if need.need_w is None else 0.0
    if need.need_w is None:
        return float("inf")
    if need.limit_w <= 0:
        return float("inf") if need.need_w > 0 else 0.0
    return need.need_w / need.limit_w
