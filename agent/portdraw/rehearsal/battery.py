"""The battery of a UPS: what is left in it, and when it is flat."""

from __future__ import annotations

from dataclasses import dataclass

from portdraw.plan.site import Ups

RECHARGE_HOURS = 8.0  # from flat to full; common practice
SECONDS = 3600.0  # in an hour
EMPTY_WH = 1e-6  # times have a resolution of some 1e-7 s


@dataclass(slots=True)
class Battery:
    """What a UPS can give without input. Its watts are drawn through the UPS's efficiency."""

    full_wh: float
    efficiency: float
    left_wh: float

    @classmethod
    def of(cls, ups: Ups) -> Battery:
        """Return the full battery of a UPS: what its age has left of it."""
        full_wh = ups.battery_wh * ups.health_percent / 100
        return cls(full_wh, ups.efficiency, full_wh)

    @property
    def flat(self) -> bool:
        """True where nothing is left."""
        return self.left_wh <= EMPTY_WH

    def lasts_s(self, output_w: float) -> float:
        """Return for how long it still carries `output_w` [W at the UPS's AC output]."""
        return float("inf") if output_w <= 0 else self.left_wh * self.efficiency / output_w * SECONDS

    def drain(self, output_w: float, seconds: float) -> None:
        """Carry `output_w` [W at the UPS's AC output] for some seconds."""
        self.left_wh = max(0.0, self.left_wh - output_w / self.efficiency * seconds / SECONDS)
        if self.flat:
            self.left_wh = 0.0

    def charge_w(self) -> float:
        """Return the watts that it takes from the UPS's input while it charges."""
        return 0.0 if self.left_wh >= self.full_wh else self.full_wh / RECHARGE_HOURS

    def charge(self, seconds: float) -> None:
        """Charge for some seconds."""
        self.left_wh = min(self.full_wh, self.left_wh + self.charge_w() * seconds / SECONDS)
