"""Who carries a unit: its local AC, its feeds, or both; and what its feeder sees of it meanwhile."""

from __future__ import annotations

from collections.abc import Sequence

from portdraw.rehearsal.state import UnitState

Leg = tuple[str, tuple[int, ...]]
"""Which leg carries ("ac", "feed", "both", "none"), and by which PoE inputs."""


def carried_by(unit: UnitState, ac: bool, feeds: Sequence[int], feeds_v: Sequence[float]) -> Leg:
    """Return who carries a unit with these PoE inputs alive [volts at their feeders' ports].

    Of several inputs the first alive is the main one, or all of them share. What the unit prefers counts where both
    legs are there; where it does not say it is AC. By volts, AC has the unit's own and wins a tie.
    """
    if not feeds:
        return ("ac", ()) if ac else ("none", ())
    inputs = tuple(feeds) if unit.plan.feeds_mode == "shared" else (feeds[0],)
    if not ac:
        return "feed", inputs
    prefers = unit.fed.prefers
    if prefers == "shared":
        return "both", inputs
    if prefers == "feed" or (prefers == "higher-voltage" and max(feeds_v) > unit.port_v):
        return "feed", inputs
    return "ac", ()


def shows_itself(unit: UnitState, ac: bool) -> bool:
    """Say whether a unit shows its feeders a signature: a hidden spare feed does not while AC is there."""
    return not unit.failed and not (ac and unit.fed.spare_feed == "hidden")


def has_a_gap(unit: UnitState, after: Leg, ac: bool, feeds: Sequence[int]) -> bool:
    """Say whether all that carried a unit is gone, so that another leg has to catch the whole of it.

    A unit that takes up a leg which it prefers, while the old one is still alive, changes over without a gap.
    """
    before = _sources(unit.leg, unit.carrying)
    alive: set[int | str] = {"ac", *feeds} if ac else set(feeds)
    return bool(before) and after[0] != "none" and not before & alive


def drops_all(unit: UnitState) -> bool:
    """Say whether a transfer takes the power off all ports; a unit that does not say does so."""
    return unit.fed.on_transfer != "sheds-in-time"


def inputs_w(unit: UnitState, granted_w: Sequence[float]) -> list[float]:
    """Return what a unit takes at each of its PoE inputs [W at the PD], which grant it `granted_w`.

    Inputs that carry share by their grants; on both legs AC has half. The others stand by.
    """
    hidden = unit.leg in ("ac", "both") and unit.fed.spare_feed == "hidden"
    taken = [0.0 if hidden or unit.leg == "none" else unit.standby_w] * len(unit.feeders)
    if not unit.carrying:
        return taken
    need_w = (unit.own_use_w + unit.outputs_w / unit.fed.efficiency) * (1 - ac_share(unit))
    whole_w = sum(granted_w[at] for at in unit.carrying)
    for at in unit.carrying:
        taken[at] = need_w * (granted_w[at] / whole_w if whole_w > 0 else 1 / len(unit.carrying))
    return taken


def ac_share(unit: UnitState) -> float:
    """Return which share of the unit's load its local AC carries."""
    return {"ac": 1.0, "both": 0.5}.get(unit.leg, 0.0)


def _sources(leg: str, carrying: tuple[int, ...]) -> set[int | str]:
    return ({"ac"} if leg in ("ac", "both") else set()) | set(carrying)
