"""What the period did not show: the night, the frost, a feed that carried. Silence of the readings, said aloud."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import time

from portdraw.history.port_day import HOURS, PortDay
from portdraw.plan.load_case import Case, declared_w
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree
from portdraw.powerflow.port_power import planned_port_w
from portdraw.powerflow.two_legs import own_use_w, standby_feeder_w
from portdraw.reporting.audit.audit_rows import Unseen
from portdraw.reporting.audit.findings import LASTING_S, NOT_A_READING
from portdraw.reporting.wording import age, is_whole, share_text

HEATER_SHARE = 0.15  # less than this above the warm cases can't be told from noise: common practice

Days = Mapping[tuple[str, str | None], PortDay]


def unseen(site: Site, tree: Tree, days: Days, period_s: float) -> tuple[Unseen, ...]:
    """Return what the merged days of a period of `period_s` [s] did not show, each with why it matters."""
    found = [*_night(site, days), *_frost(site, tree, days, period_s)]
    found += _feeds(site, tree, days, period_s)
    found += _unread(site, days)
    return tuple(found)


def carried_s(site: Site, tree: Tree, days: Days, unit: str) -> float | None:
    """Return for how long a unit's feed carried it [s], None where the feeder's readings can't tell.

    A feed that carries gives at least the unit's own use; a spare one gives only its standby, so anything above
    own use and twice the standby counts.
    """
    feeder = tree.feeder_of(unit)
    day = None if feeder is None else days.get(feeder)
    if day is None or day.max_w is None:
        return None
    weak = sum(share for basis, share in day.basis_shares.items() if basis in NOT_A_READING)
    if weak > 0.5:
        return None  # an allocation says nothing of what flows
    standby_w = standby_feeder_w(site, tree, unit) or 0.0
    return day.seconds_at_or_above(max(own_use_w(site.units[unit]), 2 * standby_w))


def _night(site: Site, days: Days) -> list[Unseen]:
    night = site.site.night
    if night is None:
        return []
    start, end = time.fromisoformat(night.start).hour, time.fromisoformat(night.end).hour
    span = (end - start) % HOURS or HOURS
    hours = [(start + offset) % HOURS for offset in range(1, span)]  # whole hours of night only
    totals = [day for (_, port), day in days.items() if port is None]
    if any(day.hour_max_dw[hour] >= 0 for day in totals for hour in hours):
        return []
    sentence = f"No reading falls between {night.start} and {night.end}: lamps and infra-red were never seen at work."
    return [Unseen("Night", sentence)]


def _frost(site: Site, tree: Tree, days: Days, period_s: float) -> list[Unseen]:
    heated, seen, least_read = 0, 0, 100.0
    for name, unit in site.units.items():
        for key, port in unit.ports.items():
            frost_pd_w = declared_w(site, port, "frost_night_w")
            if port.device is None or port.off or frost_pd_w is None:
                continue
            cases = (Case.FROST_NIGHT, Case.NIGHT, Case.TYPICAL)
            frost_w, *warm_w = (planned_port_w(site, tree, name, key, case).pse_w or 0.0 for case in cases)
            rise_w = frost_w - max(warm_w)
            if rise_w < frost_w * HEATER_SHARE:
                continue
            heated += 1
            day = days.get((name, key))
            if day is not None and day.seconds_at_or_above(frost_w - rise_w / 4) >= LASTING_S:
                seen += 1
            else:
                least_read = min(least_read, _read_percent(day, period_s))
    if heated == 0 or seen == heated:
        return []
    who = f"Only {seen}" if seen else "None"
    of = "one device" if heated == 1 else f"{heated} devices"
    near = f"{who} of {of} with a heater's figure came near it for {age(LASTING_S)}"
    near += "" if is_whole(least_read) else " in what was read"
    sentence = f"{near}: the frost night is planned, not seen."
    return [Unseen("Frost", sentence)]


def _feeds(site: Site, tree: Tree, days: Days, period_s: float) -> list[Unseen]:
    never, unseen_to, untold = [], [], []
    for name, unit in site.units.items():
        feeder = tree.feeder_of(name)
        if feeder is None or not unit.supplies:
            continue
        spell_s = carried_s(site, tree, days, name)
        if spell_s is None:
            untold.append(f"{name} from {feeder[0]} port {feeder[1]}")
        elif spell_s == 0:
            read = _read_percent(days.get(feeder), period_s)
            told = f"{name} from {feeder[0]} port {feeder[1]}"
            if is_whole(read):
                never.append(told)
            else:
                unseen_to.append(f"{told} (read for {share_text(read)} of the period)")
    found = []
    if never:
        sentence = f"Never carried, so that it could is planned, not seen: {', '.join(never)}."
        found.append(Unseen("PoE feed", sentence))
    if unseen_to:
        sentence = f"Not seen to carry in what was read, so that it could is planned: {', '.join(unseen_to)}."
        found.append(Unseen("PoE feed", sentence))
    if untold:
        found.append(Unseen("PoE feed", f"Whether it ever carried can't be told from readings: {', '.join(untold)}."))
    return found


def _read_percent(day: PortDay | None, period_s: float) -> float:
    return 0.0 if day is None or period_s <= 0 else min(100.0, 100 * day.seconds_known / period_s)


def _unread(site: Site, days: Days) -> list[Unseen]:
    found = []
    for name, unit in site.units.items():
        day = days.get((name, None))
        if not unit.readable:
            found.append(Unseen("Unit", f"{name} is not readable by design; its ports are not in this audit."))
        elif day is None or day.max_w is None:
            found.append(Unseen("Unit", f"{name} told no watts in this period."))
    return found
