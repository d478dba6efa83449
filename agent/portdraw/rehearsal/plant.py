"""The emulated site at one moment: legs, protection, shedding and admission in turn, until all is at rest.

What is true before and after depends on the order: a unit changes legs at once, ports that carry too much are cut,
each unit sheds to its own budget before its feeder counts, and only then is anybody let in, one port of a unit at a
time, so that what it draws is known before the next is asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from portdraw.plan.site import Site
from portdraw.rehearsal import admission, class_power, flow, shedding, supply, transfer
from portdraw.rehearsal.ac_side import AcSide
from portdraw.rehearsal.state import LONG_AGO_S, NEVER, PortState, UnitState
from portdraw.rehearsal.wiring import RehearsalError, build

RETRY_S = 30.0  # a port with a device that was denied asks again this often; common practice is seconds to a minute
DETECT_S = 1.0  # from a signature to the decision about it: detection and classification take up to a second
CONTROLLER_S = 5.0  # a PoE controller's own restart; common practice is a few seconds
BOOT_S = 60.0  # from power to working ports, where a unit does not say; common practice is 30 to 120 s
LLDP_S = 10.0  # until a new allocation is in force: LLDP tells a change at once, and units take it up in seconds
NOTHING_W = float("-inf")  # taken where what is taken does not count

Demand = Callable[[UnitState, PortState, float], float]
"""Watts at the PD input that the device on a port would take at a time [s], with power since `port.since_s`."""


class Plant:
    """Units, sources and what is true at `time_s`. It begins at rest, all booted and started up long ago.

    `class_must_fit`: a unit that books by what is drawn still wants a newcomer's whole class free. Where it does not,
    all that ask come on together as long as anything is free beyond its guard, and it sheds what was too much.
    Makers do either.
    """

    def __init__(
        self, site: Site, time_s: float, demand: Demand, noise_keys: dict[tuple[str, str], int] | None = None
    ):
        """Raises RehearsalError for a site that can't be emulated."""
        self.units = build(site, noise_keys)
        self.ac = AcSide(site)
        self.time_s = time_s
        self.lldp_s = LLDP_S
        self.class_must_fit = False
        self.interrupted: set[tuple[str, str]] = set()
        self._site = site
        self._demand = demand
        self._down = tuple(reversed(self.units.values()))
        self._most_rounds = 20 + 8 * sum(len(unit.ports) for unit in self.units.values())
        self._arrivals = 0
        self._beginning = True

    def begin(self) -> None:
        """Let in all that the plan has, as if it had stood so for long. Called once.

        Units are filled from the sources down. One that books by class lets in what fits; one that books by what is
        drawn has let all in over time, when they drew less, and sheds by its rule what is now too much.
        """
        self.rest(self.time_s)
        self._beginning = False
        self.interrupted.clear()
        for unit in self.units.values():
            for port in unit.ports.values():
                port.denied = port.overloads = port.mps_absent = 0
                port.ask_s = self.time_s + RETRY_S if port.refused else port.ask_s

    def rest(self, time_s: float) -> None:
        """Bring everything to rest at a time. Raises RehearsalError where that does not end."""
        self.time_s = time_s
        self.ac.at(time_s)
        for unit in self.units.values():
            for port in unit.ports.values():
                if port.load is not None:
                    port.device_w = self._demand(unit, port, time_s)
        self._renegotiate()
        for count in range(self._most_rounds):
            moved = self._change_legs()
            flow.settle(self.units, time_s)
            self._weigh()
            if count == 0:
                self._note_what_is_wanted()
            if self._beginning and (self._admit_at_first() or moved):
                continue
            if not (self._protect() or self._let_go() or self._admit() or moved):
                break
        else:
            raise RehearsalError(f"the emulated site does not come to rest at {time_s:.0f} s")
        for unit in self.units.values():
            unit.module_w = supply.drawn_at_ac_w(unit, transfer.ac_share(unit), self.modules_live(unit))
            unit.ac_w = sum(unit.module_w)

    def modules_live(self, unit: UnitState) -> list[bool]:
        """Say of each supply module of a unit whether it gives anything."""
        return [
            not unit.failed and at not in unit.lost_modules and self.ac.live(module.source, self.time_s)
            for at, module in enumerate(unit.plan.supplies)
        ]

    def feeder_port(self, unit: UnitState, at: int = 0) -> PortState:
        """Return the port that feeds a PoE input of a unit."""
        name, key = unit.feeders[at]
        return self.units[name].ports[key]

    def restart_ports(self, unit: UnitState, ready_s: float) -> None:
        """Take the power off all ports of a unit, forget what was shed or cut, and ask again from `ready_s` on."""
        for port in unit.ports.values():
            self.off(unit, port)
            port.latched = port.faulty = False
        unit.ready_s = ready_s

    def off(self, unit: UnitState, port: PortState) -> None:
        """Take the power off a port."""
        if port.on and port.load is not None:
            self.interrupted.add((unit.name, port.key))
        port.switch_off()

    def asks(self, port: PortState) -> bool:
        """Say whether something on a port that may give power shows a signature."""
        if not port.usable:
            return False
        if port.load is not None:
            return True
        if port.feeds is None:
            return False
        below = self.units[port.feeds]
        return transfer.shows_itself(below, any(self.modules_live(below)))

    def next_pending_s(self) -> float:
        """Return when next a port asks for the first time, a start-up ends or a new allocation is in force."""
        return min(self._pending_s(), default=NEVER)

    def next_retry_s(self) -> float:
        """Return when next a port that was refused or let go asks again."""
        return min((port.ask_s for port in self._waiting() if port.refused), default=NEVER)

    def _pending_s(self) -> Iterator[float]:
        yield from (port.ask_s for port in self._waiting() if not port.refused)
        for unit in self.units.values():
            for port in unit.ports.values():
                if not port.on:
                    continue
                if port.load is not None and port.since_s + port.load.startup_s > self.time_s:
                    yield port.since_s + port.load.startup_s
                if port.lldp_pd_w is not None and port.lldp_until_s > self.time_s:
                    yield port.lldp_until_s

    def _waiting(self) -> Iterator[PortState]:
        for unit in self.units.values():
            if unit.powered:
                yield from (port for port in unit.ports.values() if self.time_s < port.ask_s < NEVER and not port.on)

    # The turns of one round.

    def _renegotiate(self) -> None:
        """Let LLDP's new allocations come into force; one that its feeder can't set aside stays as it was."""
        for unit in self.units.values():
            for port in unit.ports.values():
                if (
                    port.granted is None
                    or port.lldp_pd_w is None
                    or not LONG_AGO_S < port.lldp_until_s <= self.time_s
                ):
                    continue
                port.lldp_until_s = NEVER
                others_w = unit.booked_w - admission.booked_w(unit, port, self.time_s)
                more_w = class_power.at_pse_w(port.granted)
                if unit.pse.admission != "granted" or others_w + more_w <= unit.budget_w + admission.FITS_W:
                    port.lldp_until_s = LONG_AGO_S

    def _change_legs(self) -> bool:
        """From the sources down: take up the leg that carries now. True where anything moved."""
        moved = False
        for unit in self._down:
            ac = any(self.modules_live(unit))
            before = unit.leg, unit.carrying
            feeds = [at for at in range(len(unit.feeders)) if self.feeder_port(unit, at).on]
            after = ("none", ()) if unit.failed else self._leg(unit, ac, feeds)
            if after != before:
                moved = True
                self._transfer(unit, after, transfer.has_a_gap(unit, after, ac, feeds))
            for port in unit.ports.values():
                if port.load is None and port.feeds is None and not port.on:
                    continue
                if not unit.powered:
                    self.off(unit, port)
                elif not self.asks(port):
                    if port.on:
                        port.mps_absent += 1
                        moved = True
                    self.off(unit, port)
                elif not port.on and port.ask_s == NEVER:
                    port.ask_s = self.time_s if self._beginning else self._first_ask_s(unit, port)
                    port.first_ask_s = port.ask_s
        return moved

    def _leg(self, unit: UnitState, ac: bool, feeds: list[int]) -> transfer.Leg:
        return transfer.carried_by(unit, ac, feeds, [self.units[unit.feeders[at][0]].live_v for at in feeds])

    def _transfer(self, unit: UnitState, after: transfer.Leg, gap: bool) -> None:
        was_powered = unit.powered
        for at in set(after[1]) - set(unit.carrying):
            self.feeder_port(unit, at).lldp_until_s = LONG_AGO_S if self._beginning else self.time_s + self.lldp_s
        for at in set(unit.carrying) - set(after[1]):
            self.feeder_port(unit, at).lldp_until_s = NEVER
        unit.leg, unit.carrying = after
        if self._beginning:
            if gap and transfer.drops_all(unit):
                self.restart_ports(unit, LONG_AGO_S)
            return
        if not unit.powered:
            for at in range(len(unit.feeders)):  # a feed that was not held is detected at once
                port = self.feeder_port(unit, at)
                port.ask_s = port.ask_s if port.ask_s == NEVER else min(port.ask_s, self.time_s + DETECT_S)
        elif not was_powered:
            unit.boots += 1
            unit.powered_since_s = self.time_s
            self.restart_ports(unit, self.time_s + (BOOT_S if unit.plan.boot_s is None else unit.plan.boot_s))
        elif gap and transfer.drops_all(unit):
            self.restart_ports(unit, self.time_s + DETECT_S)

    def _first_ask_s(self, unit: UnitState, port: PortState) -> float:
        return max(self.time_s + DETECT_S, unit.ready_s + port.start_delay_s)

    def _weigh(self) -> None:
        """Work out each unit's budget and what it has booked."""
        for unit in self.units.values():
            if unit.leg in ("ac", "both"):
                unit.budget_w = supply.on_ac_w(unit, self.modules_live(unit))
            else:
                grants = (supply.granted_pd_w(self.feeder_port(unit, at), self.time_s) for at in unit.carrying)
                unit.budget_w = supply.on_feed_w(unit, sum(grants)) if unit.powered else 0.0
            unit.booked_w = sum(admission.booked_w(unit, port, self.time_s) for port in unit.ports.values())

    def _note_what_is_wanted(self) -> None:
        for unit in self.units.values():
            unit.wanted_w = unit.outputs_w
            unit.wanted_feeder_w = self.feeder_port(unit).draw_w if unit.feeders else 0.0

    def _protect(self) -> bool:
        """From the leaves up: cut the first overload, or shed the first port too many. True where anything went."""
        for unit in self.units.values():
            for port in unit.ports.values():
                if flow.overloads(unit, port):
                    self.off(unit, port)
                    port.faulty = True
                    port.overloads += 1
                    return True
            if max(unit.outputs_w, unit.booked_w) > unit.budget_w + admission.FITS_W:
                carrying = [port for port in unit.ports.values() if port.draw_w > 0]
                for port in shedding.next_to_shed(unit.pse.shed, carrying) if carrying else ():
                    self.off(unit, port)
                    port.latched = True
                    port.denied += 1
                if carrying:
                    return True
        return False

    def _let_go(self) -> bool:
        """Lose all that shuts down for want of volts, and spare feeds that draw too little. They ask again."""
        lost = [
            (unit, port)
            for unit in self.units.values()
            for port in unit.ports.values()
            if flow.starves(port) or flow.is_taken_for_unplugged(self.units, port)
        ]
        for unit, port in lost:
            self.off(unit, port)
            port.mps_absent += 1
            port.refused = True
            port.ask_s, port.first_ask_s = self.time_s + RETRY_S, self.time_s
        return bool(lost)

    def _admit(self) -> bool:
        """Switch on at most one port of each unit that asks now. True where any came on."""
        admitted = False
        for unit in self._down:
            together = unit.pse.admission == "drawn" and not self.class_must_fit
            anything_free = unit.booked_w + unit.pse.guard_w < unit.budget_w
            for port in admission.in_order(unit, list(self._asking(unit))):
                if self._let_in(unit, port, NOTHING_W if together and anything_free else unit.booked_w):
                    admitted = True
                    if not together:
                        break
        return admitted

    def _admit_at_first(self) -> bool:
        """Let in all that the first unit which is asked, from the sources down, can take. True where any came on."""
        for unit in self._down:
            admitted, taken_w = False, unit.booked_w
            asking = admission.in_order(unit, list(self._asking(unit)))
            for port in sorted(asking, key=lambda port: port.start_delay_s):
                if self._let_in(unit, port, NOTHING_W if unit.pse.admission == "drawn" else taken_w):
                    admitted = True
                    taken_w += admission.booked_w(unit, port, self.time_s)
            if admitted:
                return True
        return False

    def _let_in(self, unit: UnitState, port: PortState, taken_w: float) -> bool:
        """Switch a port on where its unit can take it beside `taken_w`; else count the refusal."""
        port.granted = admission.grant(unit, port.signature, taken_w)
        if port.granted is None:
            tries = 1 + int((self.time_s - port.ask_s) // RETRY_S)
            port.denied += tries
            port.ask_s += tries * RETRY_S
            port.refused = True
            return False
        self._arrivals += 1
        port.on, port.refused, port.arrival = True, False, self._arrivals
        port.ask_s = port.first_ask_s = NEVER
        port.since_s = LONG_AGO_S if self._beginning else self.time_s
        if port.load is not None:
            port.device_w = self._demand(unit, port, self.time_s)
        return True

    def _asking(self, unit: UnitState) -> Iterator[PortState]:
        if unit.powered:
            yield from (port for port in unit.ports.values() if not port.on and port.ask_s <= self.time_s)
