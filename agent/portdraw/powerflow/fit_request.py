"""The device that somebody wants to add, and the site with it on every port where it could go."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from portdraw.plan.class_grant import SignatureClasses
from portdraw.plan.load_case import Case
from portdraw.plan.ports import sort_key
from portdraw.plan.site import Cable, Port, Site, Unit
from portdraw.powerflow.load import Load, planned_load, worst_steady_load
from portdraw.powerflow.network import Network, network_of
from portdraw.powerflow.start_up import mixed
from portdraw.powerflow.state import Outage

CASES = (Case.TYPICAL, Case.NIGHT, Case.FROST_NIGHT, Case.STARTUP, Case.MAXIMUM)
STEADY = (Case.TYPICAL, Case.NIGHT, Case.FROST_NIGHT)


@dataclass(frozen=True, slots=True)
class NewDevice:
    """The device. Watts at its own input; what is not given is counted as for any device of the plan.

    `near` is the unit that it stands by; `cable` the run to it from there. Its port is to be `priority`.
    """

    device_class: SignatureClasses
    typical_w: float
    cable: Cable
    night_w: float | None = None
    frost_night_w: float | None = None
    startup_w: float | None = None
    max_w: float | None = None
    near: str | None = None
    priority: str = "low"
    criticality: int | None = None

    def as_port(self, name: str) -> Port:
        """The device on a port, under a name."""
        return Port.model_validate(
            {
                "device": name,
                "class": self.device_class,
                "typical_w": self.typical_w,
                "night_w": self.night_w,
                "frost_night_w": self.frost_night_w,
                "startup_w": self.startup_w,
                "max_w": self.max_w,
                "priority": self.priority,
                "criticality": self.criticality,
                "cable": self.cable,
            }
        )


@dataclass(frozen=True, slots=True)
class Candidate:
    """A free port, as names and as numbers of the network. `ring` is how far off: 0 the unit it stands by, 1 its
    zone, 2 elsewhere; 0 for all where nothing was said."""

    unit: str
    key: str
    at: int
    port: int
    ring: int


@dataclass(frozen=True, slots=True)
class Trial:
    """The site with the device on every free port at once; a state has all of them off but one."""

    network: Network
    candidates: tuple[Candidate, ...]
    loads: dict[Case, Load]

    def without(self, chosen: Candidate | None = None) -> Outage:
        """The device on one free port only, or on none."""
        off: dict[int, set[int]] = {}
        for one in self.candidates:
            if one != chosen:
                off.setdefault(one.at, set()).add(one.port)
        return Outage(off_ports={at: frozenset(ports) for at, ports in off.items()})


def free_ports(unit: Unit) -> Iterator[str]:
    """Printed numbers of ports with nothing on them, in order.

    Numbers that the file does not mention count up to `pse.ports`, where ports are numbered plainly; of stacks with
    member numbers only ports that the file declares.
    """
    if unit.pse is None:
        return
    found = {key for key, port in unit.ports.items() if port.hangs is None and not port.off}
    if not any("/" in key for key in unit.ports):
        found.update(str(number) for number in range(1, unit.pse.ports + 1) if str(number) not in unit.ports)
    yield from sorted(found, key=sort_key)


def try_out(site: Site, wanted: NewDevice) -> Trial:
    """Put the device on every free port. Raises KeyError where the unit that it stands by is not in the file."""
    if wanted.near is not None and wanted.near not in site.units:
        raise KeyError(wanted.near)
    units = dict(site.units)
    places: list[tuple[str, str]] = []
    for name, unit in site.units.items():
        added = {key: wanted.as_port(f"new-device-at-{name}-{key.replace('/', '-')}") for key in free_ports(unit)}
        places.extend((name, key) for key in added)
        if added:
            units[name] = unit.model_copy(update={"ports": {**unit.ports, **added}})
    network = network_of(site.model_copy(update={"units": units}))
    numbers = {(unit.name, port.key): (unit.index, port.at) for unit in network.units for port in unit.ports}
    candidates = tuple(Candidate(unit, key, *numbers[(unit, key)], _ring(site, wanted, unit)) for unit, key in places)
    return Trial(network, candidates, _loads(network, candidates))


def _ring(site: Site, wanted: NewDevice, unit: str) -> int:
    if wanted.near is None or unit == wanted.near:
        return 0
    zone = site.units[wanted.near].zone
    return 1 if zone is not None and site.units[unit].zone == zone else 2


def _loads(network: Network, candidates: tuple[Candidate, ...]) -> dict[Case, Load]:
    """The steady cases; and the new device at its start and at its maximum, with all others at their largest."""
    found = {case: planned_load(network, case) for case in STEADY}
    worst = worst_steady_load(network)
    for case in (Case.STARTUP, Case.MAXIMUM):
        own = planned_load(network, case)
        units = list(worst.units)
        for at in {one.at for one in candidates}:
            ports = [one.port for one in candidates if one.at == at]
            units[at] = mixed(worst.units[at], own.units[at], ports)
        found[case] = Load(case.value, tuple(units), worst.exact and own.exact)
    return found
