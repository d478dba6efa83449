"""Seeded small sites for the rehearsal's own tests: the power flow's, larger, with no more ports than used."""

from __future__ import annotations

from tests.powerflow.random_sites import small_site

from portdraw.plan.site import Site


def random_site(seed: int, least: int = 5, most: int = 20, *, plain: bool = False) -> Site:
    """Units in up to four tiers on several circuits and a UPS. `plain`: everything declared, boosted."""
    site = small_site(seed, least, most, plain=plain)
    units = {}
    for name, unit in site.units.items():
        assert unit.pse is not None
        used = max(map(int, unit.ports), default=1)
        units[name] = unit.model_copy(update={"pse": unit.pse.model_copy(update={"ports": used})})
    return site.model_copy(update={"units": units})
