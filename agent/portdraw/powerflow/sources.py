"""Circuits, panels, incomers and generators: which circuits have power when something above them is gone."""

from __future__ import annotations

from collections.abc import Collection

from portdraw.plan.site import Site


def backed_panels(site: Site) -> frozenset[str]:
    """Panels that a generator carries, directly or through the panel above."""
    direct = {panel for generator in site.generators.values() for panel in generator.feeds}
    return frozenset(name for name in site.panels if any(panel in direct for panel in _chain(site, name)))


def unbacked_circuits(site: Site) -> tuple[str, ...]:
    """Circuits with no generator above them, in the file's order."""
    backed = backed_panels(site)
    return tuple(name for name, circuit in site.circuits.items() if circuit.panel not in backed)


def dead_circuits(site: Site, lost: Collection[str], *, generators_run: bool) -> frozenset[str]:
    """Circuits without power where incomers, panels or circuits in `lost` are out.

    A generator carries the panels that it feeds whatever is lost above them, but never a panel that is out itself.
    """
    direct = (
        {panel for generator in site.generators.values() for panel in generator.feeds} if generators_run else set()
    )
    return frozenset(
        name
        for name, circuit in site.circuits.items()
        if name in lost or not _live(site, circuit.panel, lost, direct)
    )


def generator_start_s(site: Site, panel: str) -> float | None:
    """Seconds until a generator carries a panel, None where none does."""
    chain = _chain(site, panel)
    found = [one.start_s for one in site.generators.values() if any(name in one.feeds for name in chain)]
    return min(found, default=None)


def incomer_of(site: Site, panel: str) -> str | None:
    """The incomer above a panel, None where the file leads to none."""
    chain = _chain(site, panel)
    above = site.panels[chain[-1]].fed_from if chain else panel
    return above if above in site.incomers else None


def _live(site: Site, panel: str, lost: Collection[str], carried: Collection[str]) -> bool:
    for name in _chain(site, panel):
        if name in lost:
            return False
        if name in carried:
            return True
        if site.panels[name].fed_from in lost:
            return False
    return True


def _chain(site: Site, panel: str) -> tuple[str, ...]:
    """A panel and those above it, lowest first; ends where panels form a ring."""
    found: list[str] = []
    while panel in site.panels and panel not in found:
        found.append(panel)
        panel = site.panels[panel].fed_from
    return tuple(found)
