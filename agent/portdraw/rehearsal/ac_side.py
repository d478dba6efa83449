"""The AC side of the emulated site: which incomers, panels, circuits and UPS are alive, and since when not."""

from __future__ import annotations

from collections.abc import Mapping

from portdraw.plan.site import Site
from portdraw.rehearsal.battery import Battery

NEVER = float("inf")


class AcSide:
    """Sources and their state. Names of circuits and UPS are unique, as the site file has it."""

    def __init__(self, site: Site):
        self._site = site
        self.lost_incomers: set[str] = set()
        self.lost_panels: set[str] = set()
        self.lost_circuits: set[str] = set()
        self.lost_ups_inputs: set[str] = set()
        self.batteries: dict[str, Battery] = {name: Battery.of(ups) for name, ups in site.ups.items()}
        self._called_s: dict[str, float] = {}  # generators that were asked to start, and when

    def at(self, time_s: float) -> None:
        """Call for generators whose panels lost their supply, and let those rest whose panels have it again."""
        for name, generator in self._site.generators.items():
            needed = any(not self._supplied(self._site.panels[panel].fed_from, time_s) for panel in generator.feeds)
            if needed:
                self._called_s.setdefault(name, time_s)
            else:
                self._called_s.pop(name, None)

    def circuit_live(self, name: str, time_s: float) -> bool:
        """Say whether a circuit has volts."""
        return name not in self.lost_circuits and self._panel_live(self._site.circuits[name].panel, time_s)

    def ups_has_input(self, name: str, time_s: float) -> bool:
        """Say whether a UPS is carried by its input; if not, by its battery."""
        return name not in self.lost_ups_inputs and self.circuit_live(self._site.ups[name].input, time_s)

    def live(self, source: str, time_s: float) -> bool:
        """Say whether a circuit or a UPS has volts at its output."""
        if source in self._site.ups:
            return self.ups_has_input(source, time_s) or not self.batteries[source].flat
        return self.circuit_live(source, time_s)

    def pass_time(self, time_s: float, seconds: float, output_w: Mapping[str, float]) -> None:
        """Drain and charge the batteries over some seconds from `time_s` on, with the watts at the UPS outputs."""
        for name, battery in self.batteries.items():
            if self.ups_has_input(name, time_s):
                battery.charge(seconds)
            elif not battery.flat:
                battery.drain(output_w[name], seconds)

    def charging_w(self, time_s: float) -> dict[str, float]:
        """Return the watts that each UPS takes to charge."""
        return {
            name: battery.charge_w() if self.ups_has_input(name, time_s) else 0.0
            for name, battery in self.batteries.items()
        }

    def next_start_s(self, time_s: float) -> float:
        """Return when the next generator begins to carry."""
        starts = (called_s + self._site.generators[name].start_s for name, called_s in self._called_s.items())
        return min((start_s for start_s in starts if start_s > time_s), default=NEVER)

    def next_flat_s(self, time_s: float, output_w: Mapping[str, float]) -> float:
        """Return when the next battery is flat at these watts."""
        return min(
            (
                time_s + battery.lasts_s(output_w[name])
                for name, battery in self.batteries.items()
                if not battery.flat and not self.ups_has_input(name, time_s)
            ),
            default=NEVER,
        )

    def _panel_live(self, name: str, time_s: float, depth: int = 0) -> bool:
        if name in self.lost_panels or depth > len(self._site.panels):
            return False
        if self._supplied(self._site.panels[name].fed_from, time_s, depth + 1):
            return True
        return any(
            name in self._site.generators[generator].feeds
            and time_s >= called_s + self._site.generators[generator].start_s
            for generator, called_s in self._called_s.items()
        )

    def _supplied(self, source: str, time_s: float, depth: int = 0) -> bool:
        if source in self._site.panels:
            return self._panel_live(source, time_s, depth)
        return source not in self.lost_incomers
