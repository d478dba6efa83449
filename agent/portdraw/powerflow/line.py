"""A run from a port to what hangs on it, ready to be solved many times: figures only, answers kept.

The formulas are those of `port_link`; what a run asks for a load is a fact that never changes, so it is kept.
"""

from __future__ import annotations

from dataclasses import replace

from portdraw.electrical.cable import Refusal
from portdraw.powerflow.port_link import PortLink, PortPower

_KEPT = 256  # answers, so that a service that runs for years keeps no more
_STEP_W = 1e-6
NO_CLASS_W = float("inf")


class Line:
    """One run. `class_pse_w` is the most that the granted class lets the port give [W], infinite without a class."""

    __slots__ = ("_points", "class_pse_w", "link", "port_limit_w")

    def __init__(self, link: PortLink, port_limit_w: float | None) -> None:
        self.link = link
        self.port_limit_w = NO_CLASS_W if port_limit_w is None else port_limit_w
        held = link.limits.class_pse_w
        self.class_pse_w = NO_CLASS_W if held is None else held
        self._points: dict[tuple[float, float | None], PortPower] = {}

    def carry(self, pd_w: float, source_v: float | None = None) -> PortPower:
        """What a load of `pd_w` [W at its input] asks, from the port's own voltage or from `source_v` [V]."""
        key = (pd_w, source_v)
        found = self._points.get(key)
        if found is None:
            link = self.link if source_v is None else self.link.at_voltage(source_v)
            found = self._held(link.carry(pd_w))
            if len(self._points) >= _KEPT:
                self._points.clear()
            self._points[key] = found
        return found

    def with_class(self, class_pse_w: float) -> Line:
        """The same run where the port granted another class."""
        limits = replace(self.link.limits, class_pse_w=class_pse_w)
        return Line(replace(self.link, limits=limits), None if self.port_limit_w == NO_CLASS_W else self.port_limit_w)

    def most_w(self, source_v: float | None = None) -> float:
        """The most watts that can ever stand at the port [W]: its limit, its class, or the top of the run."""
        volts = self.link.source_v if source_v is None else source_v
        ohms = self.link.pairset_ohm
        top_w = sum(volts**2 / (2 * ohm) if ohm > 0 else NO_CLASS_W for ohm in ohms)
        return min(self.port_limit_w, self.class_pse_w + 0.1, top_w, 99.9)

    def _held(self, power: PortPower) -> PortPower:
        """Hold the port's own limit too, the last of all reasons."""
        if power.pse_w is None or power.reason is not None or power.pse_w <= self.port_limit_w + _STEP_W:
            return power
        name = self.link.name
        said = f"{name}: {power.pse_w:.1f} W at the port, above its limit of {self.port_limit_w:g} W"
        return replace(power, reason=said, refusal=Refusal.PORT_CLASS)
