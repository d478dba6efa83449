"""The answer to "can I add this here?": offers, what they were refused for, and what is left on each leg."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from portdraw.plan.load_case import Case
from portdraw.powerflow.fit_request import CASES, NewDevice
from portdraw.powerflow.limit_state import LimitState
from portdraw.powerflow.shedding import STEP_W
from portdraw.powerflow.unit_flow import CarriedBy

NORMAL = "normal running"
THE_PORT = "the port"
NEW = "the new device"
_NAMED = 6


class Answer(StrEnum):
    """Whether a device fits. `FITS_BUT`: it breaks nothing, but something above it is too much already."""

    FITS = "fits"
    FITS_BUT = "fits, but"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Refusal:
    """What speaks against a port: in which case and state, on which leg of its unit, by which limit.

    `before_w` is what is asked of the limit without the device (None: not looked at), `need_w` with it, `allowed_w`
    the limit less the margin of the policy. `devices` go dark by it. `limit` is empty where none binds; `reason` says
    why then.
    """

    case: Case
    state: str
    leg: str
    limit: str = ""
    before_w: float | None = None
    need_w: float = 0.0
    limit_w: float = 0.0
    allowed_w: float = 0.0
    devices: tuple[str, ...] = ()
    reason: str = ""

    @property
    def already(self) -> bool:
        """Whether the limit was too much used without the device, so that this is a finding of the site itself."""
        if self.devices or self.reason or self.before_w is None or self.before_w <= self.allowed_w + STEP_W:
            return False
        return not (self.before_w <= self.limit_w + STEP_W < self.need_w)

    @property
    def sentence(self) -> str:
        """The refusal in words."""
        said = f"{self.case.value}, {self.state}" + (f", {self.leg}" if self.leg else "") + ": "
        if self.limit:
            margin = f", {self.allowed_w:.1f} W with its margin" if self.allowed_w < self.limit_w - STEP_W else ""
            without = "" if self.before_w is None else f"; {self.before_w:.1f} W without it"
            said += f"{self.limit} {self.need_w:.1f} W of {self.limit_w:.1f} W{margin}{without}"
            said += ", too much already" if self.already else ""
            said += "; " if self.devices or self.reason else ""
        if self.devices:
            more = f" and {len(self.devices) - _NAMED} more" if len(self.devices) > _NAMED else ""
            said += f"dark by it: {', '.join(self.devices[:_NAMED])}{more}"
        return said + self.reason

    @property
    def rank(self) -> tuple[int, float, int]:
        """Sorts the gravest first: the port, normal running, who goes dark, margins; of each the worst."""
        share = self.need_w / self.allowed_w if self.allowed_w > 0 else 0.0
        kind = 4 if self.already else 3 if not self.devices and not self.reason else 2
        kind = 0 if self.state == THE_PORT else 1 if self.state == NORMAL and not self.already else kind
        return (kind, -share, CASES.index(self.case))


@dataclass(frozen=True, slots=True)
class LegCase:
    """The most loaded limit above a port in one case, while AC or the feed carries its unit."""

    leg: CarriedBy
    case: Case
    limit: LimitState
    allowed_w: float

    @property
    def share(self) -> float:
        """Need against what the policy allows; 1.0 is used up."""
        return self.limit.need_w / self.allowed_w if self.allowed_w > 0 else float("inf")

    @property
    def left_w(self) -> float:
        """Watts that are left; negative where it is short."""
        return self.allowed_w - self.limit.need_w


@dataclass(frozen=True, slots=True)
class Offer:
    """Free ports of one unit that answer alike. `legs` has the most loaded limit by leg and case.

    `ring` is how far off: 0 the unit that the device stands by, 1 its zone, 2 elsewhere. `refusals` have the gravest
    first. `notes` are what the policy does not judge.
    """

    unit: str
    ports: tuple[str, ...]
    ring: int
    refusals: tuple[Refusal, ...]
    legs: tuple[LegCase, ...]
    notes: tuple[str, ...]

    @property
    def answer(self) -> Answer:
        """Whether it fits here."""
        if not self.refusals:
            return Answer.FITS
        return Answer.FITS_BUT if all(one.already for one in self.refusals) else Answer.REFUSED

    @property
    def binding(self) -> tuple[Refusal, ...]:
        """The gravest refusal of each limit and leg, without the same in other cases."""
        found: dict[tuple[str, str, bool], Refusal] = {}
        for one in self.refusals:
            what = one.limit or one.reason or one.state
            found.setdefault((what, one.leg, bool(one.devices)), one)
        return tuple(found.values())

    def worst(self, leg: CarriedBy) -> LegCase | None:
        """The most loaded limit on a leg, over all cases; None for a leg that the unit does not have."""
        return max((one for one in self.legs if one.leg is leg), key=lambda one: one.share, default=None)


@dataclass(frozen=True, slots=True)
class Fit:
    """The answer: ports that fit first, the nearest and then the least loaded in front; then those refused.

    `full` are units without a free port, `not_tried` those that the study did not get to.
    """

    wanted: NewDevice
    offers: tuple[Offer, ...]
    full: tuple[str, ...]
    not_tried: tuple[str, ...]
    assumed: tuple[str, ...]

    @property
    def answer(self) -> Answer:
        """The best answer where it is wanted: at the unit that it stands by, or anywhere where none was named."""
        found = [offer.answer for offer in self.offers if offer.ring == 0]
        return min(found, key=list(Answer).index, default=Answer.REFUSED)
