"""Who is up and which ports are on, at one moment of a course; with what each unit's devices ask then."""

from __future__ import annotations

from collections.abc import Iterable

from portdraw.powerflow.load import DARK, Load, UnitLoad
from portdraw.powerflow.network import NetPort
from portdraw.powerflow.solution import Solution
from portdraw.powerflow.start_up import StartUp, mixed
from portdraw.powerflow.state import Outage

_NONE: frozenset[int] = frozenset()


class OnState:
    """Units and ports, by their numbers. `lit` has power at its input, `up` has started and gives power.

    `off` are ports that are not on, `starting` ports whose device starts, `never` ports that stay off whatever
    happens. `hung` are the ports of each unit that something hangs on.
    """

    def __init__(self, before: Solution, outage: Outage, start_up: StartUp) -> None:
        units = before.network.units
        self._start_up = start_up
        self.hung: list[tuple[NetPort, ...]] = [
            tuple(port for port in unit.ports if port.device is not None or port.child >= 0) for unit in units
        ]
        self.never: list[frozenset[int]] = [
            outage.off_ports.get(unit.index, _NONE)
            | {port.at for port in self.hung[unit.index] if port.off or port.refused}
            for unit in units
        ]
        self.lit = [before.power(unit.index) != DARK for unit in units]
        self.up = list(self.lit)
        self.off: list[set[int]] = []
        for unit in units:
            at = unit.index
            on = {
                port.at
                for port in self.hung[at]
                if self.up[at] and port.at not in self.never[at] and before.port_state(at, port.at) != DARK
            }
            self.off.append({port.at for port in self.hung[at]} - on)
        self.starting: list[set[int]] = [set() for _ in units]
        self.newly: dict[int, set[int]] = {}
        self.loads: list[UnitLoad] = list(start_up.steady.units)
        self.off_ports: dict[int, frozenset[int]] = {}
        self._powered = [0] * len(units)
        self._sum = 0
        self._stirred: set[int] = set(range(len(units)))

    @property
    def stirred(self) -> bool:
        """Whether anything differs from the last solved moment."""
        return bool(self._stirred)

    def stir(self, units: Iterable[int]) -> None:
        """Note units that have to be solved anew."""
        self._stirred.update(units)

    def can_start(self, at: int, port: int) -> bool:
        """Whether the device on a port can be powered, at start and after."""
        steady, starting = self._start_up.steady.units[at], self._start_up.starting.units[at]
        return steady.status[port] != DARK and starting.status[port] != DARK

    def reason(self, at: int, port: int) -> str:
        """Why the device on a port can't be powered, empty where it can."""
        found = self._start_up.steady.units[at].reasons.get(port)
        return found or self._start_up.starting.units[at].reasons.get(port, "")

    def switch_on(self, at: int, port: NetPort) -> None:
        """A port gives power; a device on it starts."""
        self.off[at].discard(port.at)
        self.newly.setdefault(at, set()).add(port.at)
        if port.device is not None:
            self.starting[at].add(port.at)
        self._stirred.add(at)

    def started(self, at: int, port: int) -> None:
        """A device has started and takes its steady watts."""
        self.starting[at].discard(port)
        self._stirred.add(at)

    def switch_off(self, at: int, port: int) -> None:
        """A port gives no power any more."""
        self.off[at].add(port)
        self.starting[at].discard(port)
        self._stirred.add(at)

    def all_off(self, at: int) -> tuple[int, ...]:
        """A unit gives no power any more; returns the ports that did."""
        gone = tuple(port.at for port in self.hung[at] if port.at not in self.off[at])
        self.up[at] = False
        self.off[at] = {port.at for port in self.hung[at]}
        self.starting[at] = set()
        self.newly.pop(at, None)
        self._stirred.add(at)
        return gone

    def freshen(self) -> tuple[Load, dict[int, frozenset[int]], frozenset[int]]:
        """Return what is asked now, which ports are off, and the units that differ since the last call."""
        stirred, self._stirred = frozenset(self._stirred), set()
        steady, starting = self._start_up.steady, self._start_up.starting
        for at in stirred:
            off = self.off[at]
            if off:
                self.off_ports[at] = frozenset(off)
            else:
                self.off_ports.pop(at, None)
            self.loads[at] = mixed(steady.units[at], starting.units[at], self.starting[at])
            powered = sum(port.device is not None and port.at not in off for port in self.hung[at])
            self._sum += powered - self._powered[at]
            self._powered[at] = powered
        return Load(steady.name, tuple(self.loads), steady.exact, steady.granted_w), dict(self.off_ports), stirred

    def counts(self) -> tuple[int, int, int]:
        """Units that are up, devices with power, devices in service."""
        return sum(self.up), self._sum, self._sum - sum(map(len, self.starting))
