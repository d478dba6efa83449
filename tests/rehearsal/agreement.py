"""Holds what the power flow says of every failure against what the emulation, which shares no code with it, does."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from dataclasses import dataclass, field

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.powerflow.failure_study import study_failures
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.network import network_of
from portdraw.rehearsal import failure as fails
from portdraw.rehearsal.failure import Failure, all_unbacked_ac, every_single_failure
from portdraw.rehearsal.site_physics import SitePhysics

WHILE_IT_RESTARTS_S = 4.0  # a PoE controller is back after 5 s in the emulation


@dataclass
class Agreement:
    """What was compared: sites, states (one before and one after each failure) and devices in them.

    `may` are devices of which the power flow leaves it open, `dark` those that are dark in the emulation. `wrong`
    has a sentence for each device that is not as the power flow says.
    """

    sites: int = 0
    states: int = 0
    devices: int = 0
    dark: int = 0
    may: int = 0
    wrong: list[str] = field(default_factory=list)

    @property
    def may_percent(self) -> float:
        """How many of all devices in all states may go dark."""
        return 100 * self.may / self.devices

    def __str__(self) -> str:
        return (
            f"{self.sites} sites, {self.states} states, {self.devices} devices in them: {self.dark} dark,"
            f" {self.may} may go dark ({self.may_percent:.2f} %), {len(self.wrong)} not as the power flow says"
        )

    def add(self, site: Site, case: Case) -> None:
        """Put a site through each of its single failures, and the loss of all unbacked AC."""
        study = study_failures(network_of(site), planned_load(network_of(site), case))
        results = {result.what: result for result in study.results}
        before = SitePhysics(site, case, startup=False)
        before.settle()
        devices = _devices(site)
        everybody = set(devices.values())
        dark_before, may_before = set(study.dark), set(study.may_be_dark)
        well = everybody - dark_before - may_before
        self.sites += 1
        self._compare(f"{site.site.name}, {case.value}, nothing out", before, devices, dark_before, may_before, well)
        for what, things in _failures(site):
            after = _copy(site, before)
            after.fail(*things)
            if isinstance(things[0], fails.ControllerRestart):
                after.step(WHILE_IT_RESTARTS_S)
            else:
                assert after.settle(), f"{site.site.name}: {what} does not come to rest"
            where = f"{site.site.name}, {case.value}, {what}"
            result = results.pop(what, None)
            if result is None:  # nothing hangs on it
                self._compare(where, after, devices, set(), may_before, well)
            else:
                may = (set(result.may_go_dark) | may_before) - set(result.dark)
                stays = set(result.stays)
                if isinstance(things[0], fails.ControllerRestart):  # nobody has booted while it restarts
                    boots = {device for (unit, _), device in devices.items() if unit in result.restarts}
                    stays -= boots
                self._compare(where, after, devices, set(result.dark), may, stays)
        assert not results, f"{site.site.name}: the emulation does not know {sorted(results)}"

    def _compare(
        self,
        where: str,
        physics: SitePhysics,
        devices: dict[tuple[str, str], str],
        dark: set[str],
        may: set[str],
        stays: set[str],
    ) -> None:
        truly_dark = {devices[port] for port in physics.dark()}
        self.states += 1
        self.devices += len(devices)
        self.dark += len(truly_dark)
        self.may += len(may)
        self.wrong.extend(f"{where}: {device} has power" for device in sorted(dark - truly_dark))
        self.wrong.extend(f"{where}: {device} is dark" for device in sorted(stays & truly_dark))


def named(site: Site, thing: Failure) -> str:
    """Name a failure of the emulation as the failure study does."""
    match thing:
        case fails.CircuitLost():
            return f"circuit {thing.circuit}"
        case fails.PanelLost():
            return f"panel {thing.panel}"
        case fails.IncomerLost():
            return f"incomer {thing.incomer}"
        case fails.UpsInputLost():
            return f"input of {thing.ups}"
        case fails.UpsFlat():
            return f"{thing.ups} run flat"
        case fails.ModuleLost():
            supplies = site.units[thing.unit].supplies
            number = f" {thing.module + 1}" if len(supplies) > 1 else ""
            return f"supply{number} of {thing.unit} ({supplies[thing.module].source})"
        case fails.FeedCableLost():
            below = site.units[thing.unit].ports[thing.port].feeds_unit
            return f"feed cable of {below} ({thing.unit} port {thing.port})"
        case fails.FeederPortLost():
            return f"{thing.unit} port {thing.port}, feed of {site.units[thing.unit].ports[thing.port].feeds_unit}"
        case fails.ControllerRestart():
            return f"PoE controller of {thing.unit}"
        case fails.UnitLost():
            return f"unit {thing.unit}"


def _failures(site: Site) -> Iterator[tuple[str, tuple[Failure, ...]]]:
    for failure in every_single_failure(site):
        yield named(site, failure), (failure,)
    if unbacked := all_unbacked_ac(site):
        yield "all local AC without a generator", unbacked


def _devices(site: Site) -> dict[tuple[str, str], str]:
    return {
        (name, key): port.device
        for name, unit in site.units.items()
        for key, port in unit.ports.items()
        if port.device is not None
    }


def _copy(site: Site, physics: SitePhysics) -> SitePhysics:
    """Copy what runs; the plan that it runs by is shared."""
    shared: list[object] = [
        site,
        *site.units.values(),
        *(one for unit in site.units.values() for one in unit.supplies),
    ]
    shared.extend(port.load for unit in physics.units.values() for port in unit.ports.values())
    return copy.deepcopy(physics, {id(one): one for one in shared})
