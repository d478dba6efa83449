"""What a unit does not declare and how it is counted, as sentences that each result carries."""

from __future__ import annotations

from portdraw.plan.site import Unit
from portdraw.powerflow.two_legs import UNDECLARED_OWN_USE_W, fed_of


def unit_assumptions(name: str, unit: Unit, *, is_fed: bool) -> tuple[str, ...]:
    """Sentences on everything of a unit that power flow counts and the file does not declare."""
    said: list[str] = []
    if unit.own_use_w is None:
        said.append(f"{name}: own_use_w is not declared, {UNDECLARED_OWN_USE_W:g} W counted")
    said.extend(
        f"{name}: the efficiency of the supply from {supply.source} is not declared, {supply.efficiency:g} counted"
        for supply in unit.supplies
        if "efficiency" not in supply.model_fields_set
    )
    if unit.pse is not None and unit.supplies:
        if "output_efficiency" not in unit.pse.model_fields_set:
            said.append(f"{name}: output_efficiency is not declared, {unit.pse.output_efficiency:g} counted")
        if len(unit.supplies) > 1 and any(supply.pse_share_w is None for supply in unit.supplies):
            said.append(f"{name}: not every supply declares its pse_share_w, equal shares counted")
    if unit.derate and unit.place_max_c is None:
        said.append(f"{name}: place_max_c is not declared, derating is not applied")
    if is_fed:
        said.extend(_of_feed(name, unit))
    return tuple(said)


def _of_feed(name: str, unit: Unit) -> list[str]:
    fed = fed_of(unit)
    said: list[str] = []
    if "efficiency" not in fed.model_fields_set:
        said.append(f"{name}: fed efficiency is not declared, {fed.efficiency:g} counted")
    if fed.output == "unknown":
        said.append(f"{name}: output is not declared, counted as following the input")
    if not unit.supplies:
        return said
    if fed.prefers == "unknown":
        said.append(f"{name}: prefers is not declared, both legs counted in full")
    elif fed.prefers in ("higher-voltage", "shared"):
        said.append(f"{name}: prefers {fed.prefers}, how the load divides is not known, both legs counted in full")
    if fed.spare_feed == "unknown":
        said.append(f"{name}: spare_feed is not declared, its standby is counted as held")
    if fed.standby_w is None and fed.spare_feed != "hidden":
        said.append(f"{name}: standby_w is not declared, the maintain current of its class counted")
    if fed.on_transfer == "unknown":
        said.append(f"{name}: on_transfer is not declared, its devices may drop while it changes legs")
    return said
